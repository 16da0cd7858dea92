//! Where the uncertainty of each check comes from: standard deviations by cause, with their share of the variance.

use crate::fitcheck::{Contribution, Finding, Measure};
use crate::job::Outcome;
use crate::primitive::{Point3, Pose};

use super::figure::letter;
use super::number::Units;
use super::table::{Table, name};
use super::text;

/// One row a check whose uncertainty was split.
pub(super) fn table(outcome: &Outcome, units: &Units) -> String {
    let caption = format!(
        "Standard deviations by cause, {}, and their share of the variance; twice the root of the sum of their \
         squares is U",
        units.length.symbol()
    );
    let heads = ["", "Check", "Of", "#U", "Largest", "Others"];
    let mut table = Table::new("budgets", &caption, &heads);
    for (i, f) in outcome.findings.iter().enumerate() {
        let mut shares = shares(f, units).into_iter();
        let (Some(largest), Some(u)) = (shares.next(), f.uncertainty) else { continue };
        table.row(&[
            letter(i),
            text::html(f.kind),
            name(&f.name),
            size(u, f, units),
            largest,
            shares.collect::<Vec<_>>().join("; "),
        ]);
    }
    table.html()
}

/// Each cause with its deviation and share, the largest first.
pub(super) fn shares(f: &Finding, units: &Units) -> Vec<String> {
    let all: f64 = f.budget.iter().map(|c| c.deviation * c.deviation).sum();
    let one = |c: &Contribution| {
        let percent = 100.0 * c.deviation * c.deviation / all;
        format!("{} {} ({percent:.0} %)", text::html(c.cause), size(c.deviation, f, units))
    };
    f.budget.iter().map(one).collect()
}

/// Where the part was checked, if not where it was designed.
pub(super) fn moved(pose: &Pose, around: &Point3, units: &Units) -> String {
    let shift = pose * around - around;
    let angle = units.angle(pose.rotation.angle(), None).value;
    format!(
        "<p class=\"moved\">Its bolts go in only with the part moved within their play: every check is made with \
         its middle moved by <span class=\"place\">{}</span> {} and the part turned by {angle} {}.</p>\n",
        units.point(&Point3::from(shift)),
        units.length.symbol(),
        units.angle.symbol()
    )
}

fn size(deviation: f64, f: &Finding, units: &Units) -> String {
    match f.measure {
        Measure::Length => units.small(deviation),
        what => format!("{} {}", units.measured(deviation, None, what).value, units.symbol(what)),
    }
}
