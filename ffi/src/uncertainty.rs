//! What fits and features share: parameters, quality, covariance, expanded uncertainty.

use engine::associate::{Covariance, Quality};
use engine::primitive::{Parameter, Point3, Primitive, Table, Value};

use crate::context::ContextBox;
use crate::error::Fault;
use crate::kind;
use crate::pointer::{self, SizedOut, grows};
use crate::text::{self, Text, fitw_str};

/// Value of a parameter: a place, mm.
pub const FITW_VALUE_POINT: i32 = 10;
/// Value of a parameter: a unit direction.
pub const FITW_VALUE_DIRECTION: i32 = 20;
/// Value of a parameter: a number, in value[0].
pub const FITW_VALUE_NUMBER: i32 = 30;
/// Value of a parameter: a table of numbers, with its rows in value[0] and its columns in value[1]; see
/// fitw_fit_table_view.
pub const FITW_VALUE_TABLE: i32 = 40;

/// A named parameter of a shape, as in result.json: plane point, normal; line point, direction; circle
/// centre, normal, radius; sphere centre, radius; cylinder point, axis, radius; cone point, axis, radius,
/// half_angle; torus centre, axis, major_radius, minor_radius; of a plug-in's shape what the plug-in says.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_parameter {
    /// sizeof(fitw_parameter), set by the caller.
    pub struct_size: u32,
    /// FITW_VALUE_…
    pub value_kind: i32,
    /// FITW_QUANTITY_… of a number; 0 else.
    pub quantity: i32,
    /// 0.
    pub reserved: i32,
    /// Name; valid until the handle it was asked from is released.
    pub name: fitw_str,
    /// x, y, z, or the number and two zeros, or rows, columns and a zero.
    pub value: [f64; 3],
}

/// How good a fit is.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_quality {
    /// sizeof(fitw_quality), set by the caller.
    pub struct_size: u32,
    /// 1 if the iteration reached its answer, else 0.
    pub converged: i32,
    /// Points used.
    pub points: u64,
    /// Points left out as gross outliers.
    pub rejected: u64,
    /// Iterations.
    pub iterations: u64,
    /// Root mean square of the distances of the used points, mm.
    pub rms_mm: f64,
    /// Largest absolute distance of a used point, mm.
    pub largest_mm: f64,
    /// Largest minus smallest signed distance, mm.
    pub zone_mm: f64,
    /// Standard deviation of one point, mm.
    pub sigma_mm: f64,
    /// Extent of the data along the axis (plane: largest extent), mm.
    pub extent_mm: f64,
    /// Arc covered about the axis, rad, up to 2 pi; 2 pi for planes and lines.
    pub arc_rad: f64,
    /// Condition number of the fit; large: badly determined.
    pub condition: f64,
    /// FITW_CRITERION_… that the shape answers.
    pub criterion: i32,
    /// 0.
    pub reserved: i32,
    /// Points that decide the shape, where the criterion is another than least squares; else 0.
    pub contact_count: u64,
    /// Neighbouring shapes that the points were held against, see fitw_fit_evidence.
    pub evidence_count: u64,
    /// Standard deviation of the part of the scatter that is independent from point to point, mm.
    pub independent_mm: f64,
    /// Standard deviation of the part that neighbouring points have in common (slow noise, form), mm.
    pub smooth_mm: f64,
    /// Distance over which that part hangs together, mm; 0 where there is none.
    pub smooth_length_mm: f64,
    /// How many independent points would determine the shape as well.
    pub effective_points: f64,
}

/// How a fitted shape stands against a neighbouring one: is it that shape at all?
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_evidence {
    /// sizeof(fitw_evidence), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// The other shape, such as "cone" for a cylinder; valid until the context is released.
    pub against: fitw_str,
    /// Largest deviation of the points towards the other shape, mm.
    pub amplitude_mm: f64,
    /// Expanded uncertainty of the amplitude, coverage factor 2, mm.
    pub uncertainty_mm: f64,
    /// Probability of at least this much by chance if the fitted shape is the true one.
    pub probability: f64,
}

/// Covariance of a shape as that of a small motion of it about a point, plus its sizes. Components: shift
/// x, y, z (mm); turn about x, y, z (rad); size 1; size 2 (see fitw_shape). A place p carried by the shape
/// moves by shift + turn × (p - about). Motions that do not change the shape have variance 0.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_covariance {
    /// sizeof(fitw_covariance), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Point that the motion is taken about, mm.
    pub about_mm: [f64; 3],
    /// 8 × 8, symmetric, row by row.
    pub matrix: [f64; 64],
}

/// Expanded uncertainties (coverage factor 2) of a shape at a place.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_uncertainty {
    /// sizeof(fitw_uncertainty), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Of a place carried by the shape, in the direction where it is largest, mm.
    pub position_mm: f64,
    /// Of the tilt of the shape's direction, rad; 0 for a shape without one.
    pub tilt_rad: f64,
    /// Of size 1 (see fitw_shape), mm.
    pub size_1: f64,
    /// Of size 2, mm or rad.
    pub size_2: f64,
}

grows! {
    fitw_parameter 56, fitw_quality 88, fitw_covariance 544, fitw_uncertainty 40, fitw_evidence 48
}

/// The parameters of a shape, with their names kept for handing out.
pub(crate) struct Parameters(Vec<Named>);

struct Named {
    name: Text,
    parameter: Parameter,
    /// Names of a table's columns.
    columns: Vec<Text>,
}

impl Parameters {
    pub(crate) fn new(shape: &Primitive) -> Self {
        let named = |parameter: Parameter| Named {
            name: Text::new(&parameter.name),
            columns: match &parameter.value {
                Value::Table(table) => table.columns.iter().map(|c| Text::new(&c.name)).collect(),
                Value::Point(_) | Value::Direction(_) | Value::Scalar(..) => Vec::new(),
            },
            parameter,
        };
        Parameters(shape.parameters().into_iter().map(named).collect())
    }

    pub(crate) fn len(&self) -> usize {
        self.0.len()
    }

    pub(crate) fn nth(&self, index: usize, out: *mut fitw_parameter) -> Result<(), Fault> {
        let out = SizedOut::new(out, "out")?;
        out.set(of_parameter(self.at(index)?));
        Ok(())
    }

    /// A table and the names of its columns.
    pub(crate) fn table(&self, index: usize) -> Result<(&Table, &[Text]), Fault> {
        let named = self.at(index)?;
        match &named.parameter.value {
            Value::Table(table) => Ok((table, &named.columns)),
            Value::Point(_) | Value::Direction(_) | Value::Scalar(..) => {
                let found = format!("{index}, \"{}\"", named.parameter.name);
                Err(Fault::argument("index", found, "a table: FITW_VALUE_TABLE"))
            }
        }
    }

    /// Expanded uncertainty of a parameter of `shape`.
    pub(crate) fn uncertainty(
        &self,
        index: usize,
        shape: &Primitive,
        covariance: &Covariance,
    ) -> Result<f64, Fault> {
        let Parameter { name, value } = &self.at(index)?.parameter;
        let scalar = |p: &&Named| matches!(p.parameter.value, Value::Scalar(..));
        let deviation = match (shape, value) {
            (Primitive::Composite(shape), _) => shape.deviation(index),
            (_, Value::Point(p)) => Some(covariance.deviation_at(p)),
            (_, Value::Direction(d)) => Some(covariance.tilt(d)),
            // The numbers of the standard shapes are their sizes, in order.
            (_, Value::Scalar(..)) => {
                Some(covariance.size(self.0[..index].iter().filter(scalar).count()))
            }
            (_, Value::Table(_)) => None,
        };
        let unknown = || engine::Error::Undetermined {
            what: format!("uncertainty of \"{name}\""),
            reason: match value {
                Value::Table(_) => "a table has none".into(),
                _ => "the plug-in states none".into(),
            },
            remedy: "see the uncertainty of the whole shape".into(),
        };
        Ok(COVERAGE * deviation.ok_or_else(unknown)?)
    }

    fn at(&self, index: usize) -> Result<&Named, Fault> {
        self.0.get(index).ok_or_else(|| text::past(index, self.0.len()))
    }

    pub(crate) fn named(&self, name: &str, out: *mut fitw_parameter) -> Result<(), Fault> {
        match self.0.iter().position(|p| p.parameter.name == name) {
            Some(index) => self.nth(index, out),
            None => Err(engine::Error::UnknownName {
                kind: "parameter",
                name: name.to_owned(),
                nearest: None,
            }
            .into()),
        }
    }
}

fn of_parameter(of: &Named) -> fitw_parameter {
    let (value_kind, quantity, value) = match &of.parameter.value {
        Value::Point(p) => (FITW_VALUE_POINT, 0, (*p).into()),
        Value::Direction(d) => (FITW_VALUE_DIRECTION, 0, d.into_inner().into()),
        Value::Scalar(x, q) => (FITW_VALUE_NUMBER, kind::of_quantity(*q), [*x, 0.0, 0.0]),
        Value::Table(t) => {
            (FITW_VALUE_TABLE, 0, [t.rows().count() as f64, t.columns.len() as f64, 0.0])
        }
    };
    let name = of.name.view();
    fitw_parameter { struct_size: 0, value_kind, quantity, reserved: 0, name, value }
}

pub(crate) fn hand_out_quality(q: &Quality, out: *mut fitw_quality) -> Result<(), Fault> {
    SizedOut::new(out, "out")?.set(fitw_quality {
        struct_size: 0,
        converged: i32::from(q.converged),
        points: q.points as u64,
        rejected: q.rejected as u64,
        iterations: q.iterations as u64,
        rms_mm: q.rms,
        largest_mm: q.largest,
        zone_mm: q.zone,
        sigma_mm: q.sigma,
        extent_mm: q.extent,
        arc_rad: q.arc,
        condition: q.condition,
        criterion: kind::of_criterion(q.criterion),
        reserved: 0,
        contact_count: q.contacts.len() as u64,
        evidence_count: q.evidence.len() as u64,
        independent_mm: q.independent,
        smooth_mm: q.smooth,
        smooth_length_mm: q.smooth_length,
        effective_points: q.effective_points,
    });
    Ok(())
}

/// Evidence `index` of a quality.
pub(crate) fn hand_out_evidence(
    c: &ContextBox,
    q: &Quality,
    index: usize,
    out: *mut fitw_evidence,
) -> Result<(), Fault> {
    let out = SizedOut::new(out, "out")?;
    let all = &q.evidence;
    let evidence = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
    out.set(fitw_evidence {
        struct_size: 0,
        reserved: 0,
        against: c.word(evidence.against),
        amplitude_mm: evidence.amplitude,
        uncertainty_mm: evidence.uncertainty,
        probability: evidence.probability,
    });
    Ok(())
}

/// The covariance about a place, or about its own for NULL.
pub(crate) fn hand_out_covariance(
    covariance: &Covariance,
    about_mm: *const f64,
    out: *mut fitw_covariance,
) -> Result<(), Fault> {
    let about = pointer::optional_three(about_mm, "about_mm")?.map(Point3::from);
    let out = SizedOut::new(out, "out")?;
    let moved = about.map_or_else(|| covariance.clone(), |p| covariance.about(p));
    let mut matrix = [0.0; 64];
    for (k, value) in matrix.iter_mut().enumerate() {
        *value = moved.matrix[(k / 8, k % 8)];
    }
    out.set(fitw_covariance { struct_size: 0, reserved: 0, about_mm: moved.at.into(), matrix });
    Ok(())
}

/// Expanded uncertainties at a place, or at the shape's own point for NULL.
pub(crate) fn hand_out_uncertainty(
    covariance: &Covariance,
    shape: &Primitive,
    place_mm: *const f64,
    out: *mut fitw_uncertainty,
) -> Result<(), Fault> {
    let place = pointer::optional_three(place_mm, "place_mm")?.map(Point3::from);
    let out = SizedOut::new(out, "out")?;
    let place = place.unwrap_or_else(|| shape.point());
    out.set(expanded(covariance, shape, &place));
    Ok(())
}

/// Expanded uncertainties of a shape at a place.
pub(crate) fn expanded(
    covariance: &Covariance,
    shape: &Primitive,
    place: &Point3,
) -> fitw_uncertainty {
    fitw_uncertainty {
        struct_size: 0,
        reserved: 0,
        position_mm: COVERAGE * covariance.deviation_at(place),
        tilt_rad: COVERAGE * shape.direction().map_or(0.0, |d| covariance.tilt(&d)),
        size_1: COVERAGE * covariance.size(0),
        size_2: COVERAGE * covariance.size(1),
    }
}

/// Coverage factor of expanded uncertainties.
const COVERAGE: f64 = 2.0;
