//! Answer of one check.

use engine::fitcheck::{Finding, Measure};
use engine::primitive::Point3;

use crate::error::Fault;
use crate::kind;
use crate::pointer::grows;
use crate::text::{self, Text, fitw_str};

/// Finding about the part reaching into the machine.
pub const FITW_CHECK_INTERFERENCE: i32 = 10;
/// Finding about air to what was scanned, or to another part (negative: the depth of their overlap).
pub const FITW_CHECK_CLEARANCE: i32 = 20;
/// Finding about a bolt through both holes, about the pitch of two, or about all bolts at once.
pub const FITW_CHECK_HOLE: i32 = 30;
/// Finding about a seat, or about all seats with the part pressed down.
pub const FITW_CHECK_SEAT: i32 = 40;
/// Finding about what was not seen.
pub const FITW_CHECK_COVERAGE: i32 = 50;
/// Finding about tools at a bolt, the bolt's own way in, or the seat of its head.
pub const FITW_CHECK_TOOL_ACCESS: i32 = 60;
/// Finding about the way of the part to its seat.
pub const FITW_CHECK_INSERTION: i32 = 70;
/// Finding about air to what moves, over all of its motion; its numbers "movement_1" and on are the values of its
/// movements there.
pub const FITW_CHECK_MOTION: i32 = 80;
/// Finding about a bolt, a seat, all of them at once or air at temperature; its number "at_scan_temperature" is the value
/// before. As FITW_CHECK_SEAT it has a limit that is the largest admitted where it has a number "largest_gap" or is of all
/// seats.
pub const FITW_CHECK_THERMAL: i32 = 90;
/// Finding about how far the finished part is off its model.
pub const FITW_CHECK_MADE_PART: i32 = 100;

/// A number measures a length, mm.
pub const FITW_MEASURE_LENGTH: i32 = 10;
/// A number measures an angle, rad.
pub const FITW_MEASURE_ANGLE: i32 = 20;
/// A number measures an area, mm².
pub const FITW_MEASURE_AREA: i32 = 30;
/// A number measures a volume, mm³.
pub const FITW_MEASURE_VOLUME: i32 = 40;
/// A number is a ratio or a count.
pub const FITW_MEASURE_RATIO: i32 = 50;

/// Answer of one check. Numbers that there are none of are NaN. Texts are valid until the check is released.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_finding {
    /// sizeof(fitw_finding), set by the caller.
    pub struct_size: u32,
    /// FITW_CHECK_…; 0 for a kind that has no number yet, see `kind_name`.
    pub kind: i32,
    /// FITW_VERDICT_…
    pub verdict: i32,
    /// 0.
    pub reserved: i32,
    /// Measured value, mm (see `measure`): clearance, margin, or depth of an interference as a positive number.
    pub value_mm: f64,
    /// Its expanded uncertainty, coverage factor 2, mm.
    pub uncertainty_mm: f64,
    /// Limit that it is held against, mm.
    pub limit_mm: f64,
    /// Witness point on the part, machine coordinates, mm.
    pub at_mm: [f64; 3],
    /// Witness point on the scan or the other part, machine coordinates, mm.
    pub to_mm: [f64; 3],
    /// Longest side of the box round the place, mm.
    pub extent_mm: f64,
    /// Scan points that speak for it; -1 if not counted.
    pub points: i64,
    /// Kind as in result.json.
    pub kind_name: fitw_str,
    /// Feature or part of the scan that it is about.
    pub name: fitw_str,
    /// One sentence for people.
    pub detail: fitw_str,
    /// What would decide or mend it; empty when passed.
    pub remedy: fitw_str,
    /// FITW_MEASURE_… of value, uncertainty and limit: what is not a length is in its own unit, not mm.
    pub measure: i32,
    /// 0.
    pub reserved_2: i32,
    /// Further numbers, see fitw_check_number.
    pub number_count: usize,
    /// Shares of the uncertainty, see fitw_check_share; 0 where it was not split.
    pub share_count: usize,
}

/// A further number of a finding.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_finding_number {
    /// sizeof(fitw_finding_number), set by the caller.
    pub struct_size: u32,
    /// FITW_MEASURE_…
    pub measure: i32,
    /// The number: mm, rad, mm², mm³, or as it is.
    pub value: f64,
    /// Name as in result.json; valid until the check is released.
    pub name: fitw_str,
}

/// What an uncertainty has from one cause.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_finding_share {
    /// sizeof(fitw_finding_share), set by the caller.
    pub struct_size: u32,
    /// FITW_MEASURE_… of the finding's value.
    pub measure: i32,
    /// Standard deviation; shares add up as squares, doubled they are the expanded uncertainty.
    pub deviation: f64,
    /// Cause as in result.json; valid until the check is released.
    pub cause: fitw_str,
}

grows! { fitw_finding 168, fitw_finding_number 32, fitw_finding_share 32 }

/// What stands behind a finding.
pub(crate) struct FindingBox {
    pub(crate) finding: Finding,
    kind: Text,
    name: Text,
    detail: Text,
    remedy: Text,
    numbers: Vec<Text>,
    causes: Vec<Text>,
}

impl FindingBox {
    pub(crate) fn new(finding: Finding) -> Self {
        FindingBox {
            kind: Text::new(finding.kind),
            name: Text::new(&finding.name),
            detail: Text::new(&finding.detail),
            remedy: Text::new(&finding.remedy),
            numbers: finding.numbers.iter().map(|n| Text::new(n.name)).collect(),
            causes: finding.budget.iter().map(|c| Text::new(c.cause)).collect(),
            finding,
        }
    }

    pub(crate) fn hand_out(&self) -> fitw_finding {
        let f = &self.finding;
        let number = |value: Option<f64>| value.unwrap_or(f64::NAN);
        let place = |p: Option<Point3>| p.map_or([f64::NAN; 3], Into::into);
        fitw_finding {
            struct_size: 0,
            kind: of_kind(f.kind),
            verdict: kind::of_verdict(f.verdict),
            reserved: 0,
            value_mm: number(f.value),
            uncertainty_mm: number(f.uncertainty),
            limit_mm: number(f.limit),
            at_mm: place(f.at),
            to_mm: place(f.to),
            extent_mm: number(f.extent),
            points: f.points.map_or(-1, |n| i64::try_from(n).unwrap_or(i64::MAX)),
            kind_name: self.kind.view(),
            name: self.name.view(),
            detail: self.detail.view(),
            remedy: self.remedy.view(),
            measure: of_measure(f.measure),
            reserved_2: 0,
            number_count: f.numbers.len(),
            share_count: f.budget.len(),
        }
    }

    pub(crate) fn number(&self, index: usize) -> Result<fitw_finding_number, Fault> {
        let all = &self.finding.numbers;
        let named = all.get(index).zip(self.numbers.get(index));
        let (n, name) = named.ok_or_else(|| text::past_in("number", index, all.len()))?;
        Ok(fitw_finding_number {
            struct_size: 0,
            measure: of_measure(n.measure),
            value: n.value,
            name: name.view(),
        })
    }

    pub(crate) fn share(&self, index: usize) -> Result<fitw_finding_share, Fault> {
        let all = &self.finding.budget;
        let named = all.get(index).zip(self.causes.get(index));
        let (c, cause) = named.ok_or_else(|| text::past_in("share", index, all.len()))?;
        Ok(fitw_finding_share {
            struct_size: 0,
            measure: of_measure(self.finding.measure),
            deviation: c.deviation,
            cause: cause.view(),
        })
    }
}

fn of_kind(name: &str) -> i32 {
    match name {
        "interference" => FITW_CHECK_INTERFERENCE,
        "clearance" => FITW_CHECK_CLEARANCE,
        "hole" => FITW_CHECK_HOLE,
        "seat" => FITW_CHECK_SEAT,
        "coverage" => FITW_CHECK_COVERAGE,
        "tool access" => FITW_CHECK_TOOL_ACCESS,
        "insertion" => FITW_CHECK_INSERTION,
        "made part" => FITW_CHECK_MADE_PART,
        "motion" => FITW_CHECK_MOTION,
        "thermal" => FITW_CHECK_THERMAL,
        _ => 0,
    }
}

fn of_measure(measure: Measure) -> i32 {
    match measure {
        Measure::Length => FITW_MEASURE_LENGTH,
        Measure::Angle => FITW_MEASURE_ANGLE,
        Measure::Area => FITW_MEASURE_AREA,
        Measure::Volume => FITW_MEASURE_VOLUME,
        Measure::Ratio => FITW_MEASURE_RATIO,
    }
}
