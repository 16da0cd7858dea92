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
    let swing = Swing::new(around, tool, slab, limits.air);
    let free = swing.free(0.0, &[]);
    let (least, most) = (swing.free(1.0, &[]), swing.free(-1.0, &[]));
    let mut budget = swing.at_end.clone();
    let mm = budget.expanded();
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
    unseen(&swing, limits.swing, &mut found);
    found
}

struct Swing<'a> {
    around: &'a Around<'a>,
    tool: Spanner,
    /// Heights between which it swings.
    slab: (f64, f64),
    air: f64,
    /// Expanded uncertainty at the bolt, mm.
    at_bolt: f64,
    /// What that at the handle's end consists of.
    at_end: Budget,
}

impl<'a> Swing<'a> {
    fn new(around: &'a Around<'a>, tool: Spanner, slab: (f64, f64), air: f64) -> Self {
        let mut sources: Vec<Source> = vec![Source::Part];
        for (source, _) in around.outlines(slab.0, slab.1, tool.length) {
            if !sources.contains(&source) {
                sources.push(source);
            }
        }
        // The largest of those of everything that comes into the handle's disc, in any direction.
        let largest = |x: f64| {
            let at = Vec3::new(x, 0.0, slab.0);
            let all =
                sources.iter().map(|&source| around.budget(Some(&Place { source, at }), None));
            all.max_by(|a, b| a.expanded().total_cmp(&b.expanded())).unwrap_or_default()
        };
        let (at_bolt, at_end) = (largest(0.0).expanded(), largest(tool.length));
        Swing { around, tool, slab, air, at_bolt, at_end }
    }

    /// Largest free swing and where it begins, with everything nearer by `sure` times its expanded uncertainty;
    /// `spheres` of a radius are further obstacles.
    fn free(&self, sure: f64, spheres: &[(Vec3, f64)]) -> (f64, f64) {
        let more = sure * self.at_end.expanded();
        let (low, high) = (self.slab.0 - more, self.slab.1 + more);
        if low >= high {
            return largest_gap([]);
        }
        let meets =
            |(_, outline): (Source, Outline)| outline.blocks(&self.wider(&outline, sure, 0.0));
        let reach = self.tool.length + self.air + more.max(0.0);
        let seen = self.around.outlines(low.max(RISES), high, reach).map(meets);
        let further = spheres.iter().map(|(at, radius)| {
            let point = Outline::between(&[Vec3::new(at.x, at.y, high); 3], low, high);
            point.map_or(Blocked::None, |p| p.blocks(&self.wider(&p, sure, *radius)))
        });
        largest_gap(seen.chain(further))
    }

    /// The tool with its air, and as much wider as an outline may be nearer.
    fn wider(&self, outline: &Outline, sure: f64, radius: f64) -> Spanner {
        let Spanner { head, half_width, length, thickness } = self.tool;
        // A rigid motion's deviation is convex along a line: between bolt and end it is at most this.
        let at = |r: f64| {
            let share = (r / length).min(1.0);
            self.at_bolt + share * (self.at_end.expanded() - self.at_bolt).max(0.0)
        };
        let (near, far) = (outline.least_radius().0, outline.farthest().min(length));
        let head = head + self.air + radius + sure * at(near);
        let more = self.air + radius + sure * at(far);
        let half_width = (half_width + more).max(0.0);
        Spanner { head: head.max(half_width), half_width, length: length + more, thickness }
    }
}

/// A passed swing that surface beyond the scans' borders could bar is undecided.
fn unseen(swing: &Swing<'_>, needed: f64, found: &mut Finding) {
    if found.verdict != Verdict::Pass {
        return;
    }
    let reach = swing.around.view.limits.unseen_reach;
    let (low, high) = swing.slab;
    let borders = swing.around.borders(low, high, swing.tool.length + swing.air);
    let spheres: Vec<(Vec3, f64)> = borders
        .map(|b| {
            let along = (low - b.at.z).max(b.at.z - high).max(0.0);
            (b.at, (reach * reach - along * along).max(0.0).sqrt())
        })
        .collect();
    let left = swing.free(1.0, &spheres).0;
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
