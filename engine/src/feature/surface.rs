//! Features straight from an association: bounded plane, cylinder with ends, cone, sphere, torus, line, circle.

use super::{Feature, FeatureKind};
use crate::associate::{Fit, Quality, extent};
use crate::error::{Error, Result};
use crate::primitive::{Bounded, Extent, Kind, Plane, Primitive};
use crate::region::Region;

impl Feature {
    /// Feature of a fitted shape; `surface` is all of its region, edges included, from which its
    /// bounds are taken.
    ///
    /// # Errors
    /// [`Error::Undetermined`] for a free radius on less than 60 degrees of arc, which no noise of a
    /// hand-held scanner allows.
    pub fn associated(
        name: &str,
        fitter: &str,
        fit: Fit<Primitive>,
        surface: &Region,
    ) -> Result<Self> {
        let notes = cautions(name, &fit)?;
        Ok(Feature { notes, ..Feature::grouped(name, fitter, fit, surface) })
    }

    /// Feature of a shape fitted within a group, whose arc may be as short as the others make up for.
    #[must_use]
    pub fn grouped(name: &str, fitter: &str, fit: Fit<Primitive>, surface: &Region) -> Self {
        let notes = rejected_note(&fit.quality).into_iter().chain(fit.notes.clone()).collect();
        Feature {
            name: name.into(),
            kind: kind_of(&fit.shape),
            fitter: fitter.into(),
            pieces: pieces(&fit.shape, surface),
            shape: fit.shape,
            covariance: fit.covariance,
            quality: Some(fit.quality),
            noise: fit.noise,
            notes,
        }
    }
}

fn kind_of(shape: &Primitive) -> FeatureKind {
    match shape.kind() {
        Kind::Plane => FeatureKind::Plane,
        Kind::Line => FeatureKind::Line,
        Kind::Circle => FeatureKind::Circle,
        Kind::Sphere => FeatureKind::Sphere,
        Kind::Cylinder => FeatureKind::Cylinder,
        Kind::Cone => FeatureKind::Cone,
        Kind::Torus => FeatureKind::Torus,
        Kind::Composite => FeatureKind::Composite,
    }
}

fn pieces(shape: &Primitive, surface: &Region) -> Vec<Bounded> {
    match shape {
        Primitive::Composite(c) => c.pieces.clone(),
        Primitive::Plane(plane) => vec![bounded_plane(plane, surface)],
        other => {
            let patch = extent(other, &surface.points());
            let axis = axis_segment(&patch);
            std::iter::once(patch).chain(axis).collect()
        }
    }
}

/// A plane with the outline of its region.
fn bounded_plane(plane: &Plane, surface: &Region) -> Bounded {
    let shape = Primitive::from(*plane);
    match surface.outline(plane, OUTLINE_TOLERANCE * surface.scan().resolution()) {
        Some(loops) => Bounded { shape, extent: Extent::Outline(loops) },
        None => extent(&shape, &surface.points()),
    }
}

/// The axis of a cylinder or cone over the length that was seen.
fn axis_segment(patch: &Bounded) -> Option<Bounded> {
    let line = match &patch.shape {
        Primitive::Cylinder(s) => s.axis_line(),
        Primitive::Cone(s) => s.axis_line(),
        _ => return None,
    };
    match patch.extent {
        Extent::Patch { v, .. } => {
            Some(Bounded { shape: line.into(), extent: Extent::Segment(v.0, v.1) })
        }
        _ => None,
    }
}

/// What a person must know of a fit before using it; refuses a free radius on too short an arc.
fn cautions(name: &str, fit: &Fit<Primitive>) -> Result<Vec<String>> {
    let mut notes = Vec::new();
    let q = &fit.quality;
    if matches!(fit.shape, Primitive::Cylinder(_) | Primitive::Cone(_) | Primitive::Circle(_)) {
        let arc = q.arc.to_degrees();
        // A radius that is held has no deviation and needs no arc.
        let free = fit.covariance.size(0) > 0.0;
        if free && arc < 60.0 {
            return Err(Error::Undetermined {
                what: format!("feature \"{name}\""),
                reason: format!(
                    "{arc:.0} degrees of arc leave radius and centre open (radius ± {:.3} mm)",
                    2.0 * fit.covariance.size(0)
                ),
                remedy: "scan more of its circumference, at least 90 degrees".into(),
            });
        }
        if free && arc < 180.0 {
            notes.push(format!("{arc:.0}° of arc: trust its radius only within its uncertainty"));
        }
    }
    if let Primitive::Cylinder(c) = &fit.shape
        && q.extent < c.radius
    {
        notes.push("shorter than half its diameter: its axis direction is weak".into());
    }
    notes.extend(rejected_note(q));
    notes.extend_from_slice(&fit.notes);
    Ok(notes)
}

/// A word on outliers where they are many.
pub(super) fn rejected_note(q: &Quality) -> Option<String> {
    let all = q.points + q.rejected;
    let share = 100.0 * q.rejected as f64 / all.max(1) as f64;
    (share > 5.0).then(|| format!("{share:.0} % of {all} points rejected as outliers"))
}

/// Outline points that matter less than this many resolutions are left out.
const OUTLINE_TOLERANCE: f64 = 0.5;
