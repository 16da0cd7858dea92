//! Datum system (ISO 5459): a frame from features in order of precedence.
//!
//! Each datum takes the freedoms its predecessors left: the first direction becomes the axis it
//! names exactly, the second is turned perpendicular to it, and each place fixes the coordinates
//! that are still open. Directions come from the features as associated (least squares unless the
//! job says otherwise), which ISO 5459 asks to be declared.

mod frame;

use nalgebra::SVector;

use crate::associate::Covariance;
use crate::error::{Error, Result};
use crate::feature::{Feature, Uncertain, between_directions, propagate};
use crate::primitive::{Point3, Pose, Primitive};
use frame::{Axis, Spec};

/// One datum of a system.
#[derive(Debug, Clone)]
pub struct Datum<'a> {
    feature: &'a Feature,
    axis: Option<Axis>,
    sets: Option<[bool; 3]>,
}

/// The machine's own axes, found from features of a scan.
#[derive(Debug, Clone)]
pub struct DatumSystem {
    /// Takes coordinates of the (first) scan to machine coordinates.
    pub machine_from_scan: Pose,
    /// Covariance of the frame as a motion of it about the machine's origin, machine coordinates.
    pub covariance: Covariance,
    /// How far the real datum features are from square or parallel to each other.
    pub squareness: Vec<Squareness>,
    /// What each datum took, in order, for people.
    pub taken: Vec<String>,
}

/// Angle between two datum features.
#[derive(Debug, Clone, PartialEq)]
pub struct Squareness {
    /// First datum feature.
    pub a: String,
    /// Second datum feature.
    pub b: String,
    /// Angle between their directions, rad in [0, π/2].
    pub angle: f64,
    /// Deviation of that angle from the nearer of 0 and π/2, rad, signed.
    pub deviation: f64,
    /// Expanded uncertainty of the deviation (k = 2), rad.
    pub uncertainty: f64,
}

impl<'a> Datum<'a> {
    /// Datum from a plane, axis or point (features in scan coordinates).
    #[must_use]
    pub fn new(feature: &'a Feature) -> Self {
        Datum { feature, axis: None, sets: None }
    }

    /// Names the machine axis that the feature's direction becomes: `+x` … `-z`.
    ///
    /// A plane's direction is its normal out of the material, a hole's points out of its face;
    /// a later datum that is only a place gives the direction from the first placed datum to it.
    ///
    /// # Errors
    /// [`Error::Argument`] for any other text.
    pub fn axis(mut self, name: &str) -> Result<Self> {
        self.axis = Some(Axis::parse(name)?);
        Ok(self)
    }

    /// Names the coordinates it sets to zero ahead of other datums but the primary: `origin` for
    /// all it can, or letters such as `x`, `xy`. Datums passed over so give direction only.
    ///
    /// # Errors
    /// [`Error::Argument`] for any other text.
    pub fn sets(mut self, name: &str) -> Result<Self> {
        self.sets = Some(frame::parse_sets(name)?);
        Ok(self)
    }
}

impl DatumSystem {
    /// System from one to three datums, the primary first.
    ///
    /// # Errors
    /// [`Error::Datum`] naming the freedom that is left, or the datum that adds nothing.
    pub fn new(datums: &[Datum<'_>]) -> Result<Self> {
        if datums.is_empty() || datums.len() > 3 {
            return Err(Error::Datum {
                reason: format!("{} datums given, one to three needed", datums.len()),
            });
        }
        let specs: Vec<Spec<'_>> = datums
            .iter()
            .map(|d| Spec { name: &d.feature.name, axis: d.axis, sets: d.sets })
            .collect();
        let shapes: Vec<Primitive> = datums.iter().map(|d| d.feature.shape.clone()).collect();
        let (machine_from_scan, taken) = frame::frame(&specs, &shapes)?;
        Ok(DatumSystem {
            machine_from_scan,
            covariance: covariance(datums, &specs, &machine_from_scan)?,
            squareness: squareness(datums),
            taken,
        })
    }
}

/// Motion of the frame when each datum feature moves within its own uncertainty.
fn covariance(datums: &[Datum<'_>], specs: &[Spec<'_>], base: &Pose) -> Result<Covariance> {
    let inputs: Vec<Uncertain<'_>> = datums
        .iter()
        .map(|d| Uncertain { shape: &d.feature.shape, covariance: &d.feature.covariance })
        .collect();
    let back = base.inverse();
    let change = |shapes: &[Primitive]| {
        let moved = frame::frame(specs, shapes).ok()?.0 * back;
        let mut twist = SVector::<f64, 8>::zeros();
        twist.fixed_rows_mut::<3>(0).copy_from(&moved.translation.vector);
        twist.fixed_rows_mut::<3>(3).copy_from(&moved.rotation.scaled_axis());
        Some(twist)
    };
    let matrix = propagate(&inputs, change)
        .ok_or_else(|| Error::Datum { reason: "the frame jumps under its own noise".into() })?;
    Ok(Covariance { at: Point3::origin(), matrix })
}

fn squareness(datums: &[Datum<'_>]) -> Vec<Squareness> {
    let mut all = Vec::new();
    for (i, a) in datums.iter().enumerate() {
        for b in &datums[i + 1..] {
            let (Some(da), Some(db)) = (a.feature.shape.direction(), b.feature.shape.direction())
            else {
                continue;
            };
            let angle = between_directions(&da, &db);
            let nearer = if angle > QUARTER / 2.0 { QUARTER } else { 0.0 };
            let tilt = a.feature.covariance.tilt(&da).hypot(b.feature.covariance.tilt(&db));
            all.push(Squareness {
                a: a.feature.name.clone(),
                b: b.feature.name.clone(),
                angle,
                deviation: angle - nearer,
                uncertainty: 2.0 * tilt,
            });
        }
    }
    all
}

const QUARTER: f64 = std::f64::consts::FRAC_PI_2;

#[cfg(test)]
mod tests;
