//! Free swing of an open-ended spanner: the largest arc that its handle meets nothing in.

use super::around::{Around, Place, Source};
use super::outline::{Blocked, Outline, largest_gap};
use super::sizes::Spanner;
use super::{Bolted, KIND, RISES};
use crate::fitcheck::budget::Budget;
use crate::fitcheck::{Finding, Measure, Verdict};
use crate::primitive::Vec3;

/// Swing, its uncertainty from what an obstacle nearer or farther by the expanded uncertainty does to it.
pub(super) fn check(around: &Around<'_>, bolted: &Bolted<'_>) -> Finding {
    let limits = bolted.limits;
    let tool = bolted.head.spanner();
    let mut found = Finding::new(KIND, format!("{}, spanner", around.hole.name()));
    found.measure = Measure::Angle;
    found.limit = Some(limits.swing);
    let slab = (bolted.under_head, bolted.under_head + tool.thickness);
    let swing = Swing { around, tool, slab };
    let free = swing.free(limits.air, 0.0, &[]);
    let mut budget = swing.budget();
    let mm = budget.expanded();
    let least = swing.free(limits.air + mm, mm, &[]);
    let most = swing.free(limits.air - mm, -mm, &[]);
    let uncertainty = (free.0 - least.0).max(most.0 - free.0);
    // The budget of the place, scaled to what it does to the angle.
    budget.scale(if mm > 0.0 { uncertainty / mm } else { 0.0 });
    found.spend(&budget);
    found.value = Some(free.0);
    found.verdict = match limits.swing {
        needed if least.0 >= needed => Verdict::Pass,
        needed if most.0 < needed => Verdict::Fail,
        _ => Verdict::Undecided,
    };
    found.number("free_swing", free.0, Measure::Angle);
    let middle = free.1 + 0.5 * free.0;
    let (sin, cos) = middle.sin_cos();
    found.at = Some(around.frame.machine(&Vec3::new(tool.length * cos, tool.length * sin, slab.0)));
    found.detail = format!(
        "open-ended spanner with a head of {:.0} mm and a handle of {:.0} mm by {:.0} mm (sizes from memory) and \
         {:.1} mm of air: it swings freely by {:.1} degrees{}",
        2.0 * tool.head,
        tool.length,
        2.0 * tool.half_width,
        limits.air,
        free.0.to_degrees(),
        if least.0 >= SIX_POINTS { ", enough for a six-point ring" } else { "" }
    );
    found.remedy = match found.verdict {
        Verdict::Pass => String::new(),
        Verdict::Fail => {
            "use a socket, a shorter or ratchet spanner, or move what stands in its way".into()
        }
        Verdict::Undecided => format!("the uncertainty is mostly from {}", budget.largest()),
    };
    unseen(&swing, limits.air + mm, limits.swing, &mut found);
    found
}

struct Swing<'a> {
    around: &'a Around<'a>,
    tool: Spanner,
    /// Heights between which it swings.
    slab: (f64, f64),
}

impl Swing<'_> {
    /// Largest free swing and where it begins, with everything nearer by `air` and the tool thicker by
    /// `more` either way; `spheres` of a radius are further obstacles.
    fn free(&self, air: f64, more: f64, spheres: &[(Vec3, f64)]) -> (f64, f64) {
        let tool = self.wider(air);
        let (low, high) = (self.slab.0 - more, self.slab.1 + more);
        if low >= high {
            return largest_gap([]);
        }
        let meets = |(_, outline): (Source, Outline)| outline.blocks(&tool);
        let seen = self.around.outlines(low.max(RISES), high, tool.length).map(meets);
        let further = spheres.iter().map(|(at, radius)| {
            let point = Outline::between(&[Vec3::new(at.x, at.y, high); 3], low, high);
            point.map_or(Blocked::None, |p| p.blocks(&self.wider(air + radius)))
        });
        largest_gap(seen.chain(further))
    }

    /// The largest of those of everything that comes into the handle's disc, in any direction at its end.
    fn budget(&self) -> Budget {
        let (low, high) = self.slab;
        let mut sources: Vec<Source> = vec![Source::Part];
        for (source, _) in self.around.outlines(low, high, self.tool.length) {
            if !sources.contains(&source) {
                sources.push(source);
            }
        }
        let at = Vec3::new(self.tool.length, 0.0, low);
        let all =
            sources.iter().map(|&source| self.around.budget(Some(&Place { source, at }), None));
        all.max_by(|a, b| a.expanded().total_cmp(&b.expanded())).unwrap_or_default()
    }

    fn wider(&self, air: f64) -> Spanner {
        let Spanner { head, half_width, length, thickness } = self.tool;
        let half_width = (half_width + air).max(0.0);
        Spanner { head: (head + air).max(half_width), half_width, length: length + air, thickness }
    }
}

/// A passed swing that surface beyond the scans' borders could bar is undecided.
fn unseen(swing: &Swing<'_>, air: f64, needed: f64, found: &mut Finding) {
    if found.verdict != Verdict::Pass {
        return;
    }
    let reach = swing.around.view.limits.unseen_reach;
    let (low, high) = swing.slab;
    let borders = swing.around.borders(low, high, swing.tool.length + air);
    let spheres: Vec<(Vec3, f64)> = borders
        .map(|b| {
            let along = (low - b.at.z).max(b.at.z - high).max(0.0);
            (b.at, (reach * reach - along * along).max(0.0).sqrt())
        })
        .collect();
    let left = swing.free(air, 0.0, &spheres).0;
    if left < needed {
        found.verdict = Verdict::Undecided;
        found.detail += &format!(
            "; if surface goes on unseen by {reach:.1} mm beyond the scans' borders, {:.1} degrees are left",
            left.to_degrees()
        );
        found.remedy = "scan beyond the borders round this bolt".into();
    }
}

/// Swing that a six-point ring needs, rad.
const SIX_POINTS: f64 = std::f64::consts::FRAC_PI_3;
