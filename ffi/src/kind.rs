//! Kinds and states as numbers.

use std::fmt::Display;

use engine::associate::{Criterion, OptionSort};
use engine::feature::FeatureKind;
use engine::fitcheck::Verdict;
use engine::primitive::Kind;
use engine::units::{LengthUnit, Quantity};

use crate::error::Fault;

/// Unit of length: millimetre.
pub const FITW_UNIT_MM: i32 = 10;
/// Unit of length: centimetre.
pub const FITW_UNIT_CM: i32 = 20;
/// Unit of length: metre.
pub const FITW_UNIT_M: i32 = 30;
/// Unit of length: inch, 25.4 mm.
pub const FITW_UNIT_INCH: i32 = 40;

/// Numbers of an array: double.
pub const FITW_SCALAR_F64: i32 = 10;
/// Numbers of an array: float.
pub const FITW_SCALAR_F32: i32 = 20;

/// Kind: plane.
pub const FITW_KIND_PLANE: i32 = 10;
/// Kind: straight line or axis.
pub const FITW_KIND_LINE: i32 = 20;
/// Kind: circle.
pub const FITW_KIND_CIRCLE: i32 = 30;
/// Kind: sphere.
pub const FITW_KIND_SPHERE: i32 = 40;
/// Kind: cylinder.
pub const FITW_KIND_CYLINDER: i32 = 50;
/// Kind: cone.
pub const FITW_KIND_CONE: i32 = 60;
/// Kind: torus.
pub const FITW_KIND_TORUS: i32 = 70;
/// Kind of a fit: a shape of a plug-in, known by its parameters and pieces.
pub const FITW_KIND_COMPOSITE: i32 = 100;
/// Kind of a feature: point (its shape is a sphere of radius 0).
pub const FITW_KIND_POINT: i32 = 110;
/// Kind of a feature: hole (its shape is the cylinder of its wall).
pub const FITW_KIND_HOLE: i32 = 120;

/// Criterion: smallest sum of squared distances; the default.
pub const FITW_CRITERION_LEAST_SQUARES: i32 = 10;
/// Criterion: smallest largest distance.
pub const FITW_CRITERION_MINIMUM_ZONE: i32 = 20;
/// Criterion: largest shape inside the points.
pub const FITW_CRITERION_MAXIMUM_INSCRIBED: i32 = 30;
/// Criterion: smallest shape that holds the points.
pub const FITW_CRITERION_MINIMUM_CIRCUMSCRIBED: i32 = 40;

/// Verdict: the limit is met by more than the expanded uncertainty.
pub const FITW_VERDICT_PASS: i32 = 10;
/// Verdict: the limit is broken by more than the expanded uncertainty.
pub const FITW_VERDICT_FAIL: i32 = 20;
/// Verdict: in between, or not seen.
pub const FITW_VERDICT_UNDECIDED: i32 = 30;

/// Quantity of a number: length, mm.
pub const FITW_QUANTITY_LENGTH: i32 = 10;
/// Quantity of a number: angle, rad.
pub const FITW_QUANTITY_ANGLE: i32 = 20;
/// Quantity of a number: bare.
pub const FITW_QUANTITY_NUMBER: i32 = 30;

/// Sort of an option of a fitter: a number of its quantity.
pub const FITW_OPTION_NUMBER: i32 = 10;
/// Sort of an option of a fitter: a whole number.
pub const FITW_OPTION_WHOLE: i32 = 20;
/// Sort of an option of a fitter: 1 for yes, 0 for no.
pub const FITW_OPTION_SWITCH: i32 = 30;

/// Unit of a number; 0 is the millimetre where `or_mm`.
pub(crate) fn unit(number: i32, or_mm: bool, name: impl Display) -> Result<LengthUnit, Fault> {
    match number {
        0 if or_mm => Ok(LengthUnit::Millimetre),
        FITW_UNIT_MM => Ok(LengthUnit::Millimetre),
        FITW_UNIT_CM => Ok(LengthUnit::Centimetre),
        FITW_UNIT_M => Ok(LengthUnit::Metre),
        FITW_UNIT_INCH => Ok(LengthUnit::Inch),
        other => Err(Fault::argument(&name.to_string(), other, "FITW_UNIT_MM, _CM, _M or _INCH")),
    }
}

/// Whether an array holds floats; 0 is double.
pub(crate) fn is_float(number: i32, name: impl Display) -> Result<bool, Fault> {
    match number {
        0 | FITW_SCALAR_F64 => Ok(false),
        FITW_SCALAR_F32 => Ok(true),
        other => {
            Err(Fault::argument(&name.to_string(), other, "0, FITW_SCALAR_F64 or FITW_SCALAR_F32"))
        }
    }
}

pub(crate) fn of_kind(kind: Kind) -> i32 {
    match kind {
        Kind::Plane => FITW_KIND_PLANE,
        Kind::Line => FITW_KIND_LINE,
        Kind::Circle => FITW_KIND_CIRCLE,
        Kind::Sphere => FITW_KIND_SPHERE,
        Kind::Cylinder => FITW_KIND_CYLINDER,
        Kind::Cone => FITW_KIND_CONE,
        Kind::Torus => FITW_KIND_TORUS,
        Kind::Composite => FITW_KIND_COMPOSITE,
        _ => 0,
    }
}

pub(crate) fn kind(number: i32, name: impl Display) -> Result<Kind, Fault> {
    Ok(match number {
        FITW_KIND_PLANE => Kind::Plane,
        FITW_KIND_LINE => Kind::Line,
        FITW_KIND_CIRCLE => Kind::Circle,
        FITW_KIND_SPHERE => Kind::Sphere,
        FITW_KIND_CYLINDER => Kind::Cylinder,
        FITW_KIND_CONE => Kind::Cone,
        FITW_KIND_TORUS => Kind::Torus,
        other => {
            return Err(Fault::argument(
                &name.to_string(),
                other,
                "FITW_KIND_PLANE to FITW_KIND_TORUS",
            ));
        }
    })
}

pub(crate) fn of_feature(kind: FeatureKind) -> i32 {
    match kind {
        FeatureKind::Plane => FITW_KIND_PLANE,
        FeatureKind::Line => FITW_KIND_LINE,
        FeatureKind::Circle => FITW_KIND_CIRCLE,
        FeatureKind::Point => FITW_KIND_POINT,
        FeatureKind::Sphere => FITW_KIND_SPHERE,
        FeatureKind::Cylinder => FITW_KIND_CYLINDER,
        FeatureKind::Cone => FITW_KIND_CONE,
        FeatureKind::Torus => FITW_KIND_TORUS,
        FeatureKind::Hole => FITW_KIND_HOLE,
        FeatureKind::Composite => FITW_KIND_COMPOSITE,
        _ => 0,
    }
}

pub(crate) fn criterion(number: i32, name: impl Display) -> Result<Criterion, Fault> {
    Ok(match number {
        0 | FITW_CRITERION_LEAST_SQUARES => Criterion::LeastSquares,
        FITW_CRITERION_MINIMUM_ZONE => Criterion::MinimumZone,
        FITW_CRITERION_MAXIMUM_INSCRIBED => Criterion::MaximumInscribed,
        FITW_CRITERION_MINIMUM_CIRCUMSCRIBED => Criterion::MinimumCircumscribed,
        other => return Err(Fault::argument(&name.to_string(), other, "0 or FITW_CRITERION_…")),
    })
}

/// 0 for one that has no number yet.
pub(crate) fn of_criterion(criterion: Criterion) -> i32 {
    match criterion {
        Criterion::LeastSquares => FITW_CRITERION_LEAST_SQUARES,
        Criterion::MinimumZone => FITW_CRITERION_MINIMUM_ZONE,
        Criterion::MaximumInscribed => FITW_CRITERION_MAXIMUM_INSCRIBED,
        Criterion::MinimumCircumscribed => FITW_CRITERION_MINIMUM_CIRCUMSCRIBED,
        _ => 0,
    }
}

pub(crate) fn of_verdict(verdict: Verdict) -> i32 {
    match verdict {
        Verdict::Pass => FITW_VERDICT_PASS,
        Verdict::Fail => FITW_VERDICT_FAIL,
        Verdict::Undecided => FITW_VERDICT_UNDECIDED,
    }
}

/// FITW_OPTION_… and FITW_QUANTITY_… of an option.
pub(crate) fn of_option(sort: OptionSort) -> (i32, i32) {
    match sort {
        OptionSort::Number(quantity) => (FITW_OPTION_NUMBER, of_quantity(quantity)),
        OptionSort::Whole => (FITW_OPTION_WHOLE, FITW_QUANTITY_NUMBER),
        OptionSort::Switch => (FITW_OPTION_SWITCH, FITW_QUANTITY_NUMBER),
    }
}

pub(crate) fn of_quantity(quantity: Quantity) -> i32 {
    match quantity {
        Quantity::Length => FITW_QUANTITY_LENGTH,
        Quantity::Angle => FITW_QUANTITY_ANGLE,
        Quantity::Number => FITW_QUANTITY_NUMBER,
    }
}
