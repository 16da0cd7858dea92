//! Angles covered about an axis: the turn less its largest gap, unless the spacing explains the gap.

use std::f64::consts::TAU;

/// Directions of points about an axis, reduced to the least and greatest in each of many sectors.
#[derive(Debug, Clone)]
pub(crate) struct Sectors(Vec<(f64, f64)>);

/// Angles covered, rad: from `from` in [0, 2π) over `span` in [0, 2π].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Covered {
    pub(crate) from: f64,
    pub(crate) span: f64,
}

impl Sectors {
    pub(crate) fn new() -> Self {
        Sectors(vec![(f64::INFINITY, f64::NEG_INFINITY); COUNT])
    }

    /// Adds the direction (x, y).
    #[inline(always)]
    pub(crate) fn add(&mut self, x: f64, y: f64) {
        let turn = diamond(x, y);
        // A point on the axis has no direction; its NaN is cast to sector 0 and changes nothing.
        let sector = &mut self.0[((turn * (COUNT as f64 / 4.0)) as usize).min(COUNT - 1)];
        *sector = (sector.0.min(turn), sector.1.max(turn));
    }

    pub(crate) fn merge(&mut self, other: &Sectors) {
        for (a, b) in self.0.iter_mut().zip(&other.0) {
            *a = (a.0.min(b.0), a.1.max(b.1));
        }
    }

    /// Angles covered by the directions added.
    pub(crate) fn covered(&self) -> Covered {
        let occupied = self.0.iter().filter(|s| s.0 <= s.1);
        let ends: Vec<(f64, f64)> = occupied.map(|s| (angle(s.0), angle(s.1))).collect();
        let gap = |i: usize| {
            let next = ends[(i + 1) % ends.len()].0;
            let turn = if i + 1 == ends.len() { TAU } else { 0.0 };
            next + turn - ends[i].1
        };
        let mut gaps: Vec<(f64, usize)> = (0..ends.len()).map(|i| (gap(i), i)).collect();
        gaps.sort_by(|a, b| b.0.total_cmp(&a.0));
        let Some(&(largest, before)) = gaps.first() else {
            return Covered { from: 0.0, span: 0.0 };
        };
        if largest <= explained(&gaps[1..]) {
            return Covered { from: 0.0, span: TAU };
        }
        let from = ends[(before + 1) % ends.len()].0;
        Covered { from, span: (TAU - largest).clamp(0.0, TAU) }
    }
}

/// Largest gap that chance leaves in directions spaced like these gaps: a typical gap (half of what
/// is covered lies in smaller ones) times the growth of the largest of many random gaps.
fn explained(gaps: &[(f64, usize)]) -> f64 {
    let half = 0.5 * gaps.iter().map(|g| g.0).sum::<f64>();
    let mut sum = 0.0;
    let typical = gaps.iter().find(|g| {
        sum += g.0;
        sum >= half
    });
    typical.map_or(0.0, |g| g.0 * (1.0 + (gaps.len() as f64 + 1.0).ln()))
}

/// Direction as a number in [0, 4) that grows with the angle, without a trigonometric function.
#[inline(always)]
pub(crate) fn diamond(x: f64, y: f64) -> f64 {
    let t = y / (x.abs() + y.abs());
    match (x >= 0.0, y >= 0.0) {
        (true, true) => t,
        (true, false) => 4.0 + t,
        _ => 2.0 - t,
    }
}

/// Angle in [0, 2π] of such a number.
fn angle(turn: f64) -> f64 {
    let x = if turn < 2.0 { 1.0 - turn } else { turn - 3.0 };
    let y = if turn < 1.0 {
        turn
    } else if turn < 3.0 {
        2.0 - turn
    } else {
        turn - 4.0
    };
    y.atan2(x) + if turn > 2.0 { TAU } else { 0.0 }
}

const COUNT: usize = 1024;

#[cfg(test)]
mod tests {
    use super::*;

    fn covered(angles: impl Iterator<Item = f64>) -> Covered {
        let mut sectors = Sectors::new();
        angles.for_each(|a| sectors.add(a.cos(), a.sin()));
        sectors.covered()
    }

    #[test]
    fn a_partial_arc_keeps_its_ends() {
        let found = covered((0..=100).map(|i| 5.5 + 0.02 * f64::from(i)));
        assert!((found.from - 5.5).abs() < 1e-12 && (found.span - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_full_turn_of_few_or_many_directions_is_full() {
        for count in [4, 8, 100, 5000] {
            let step = TAU / f64::from(count);
            assert_eq!(covered((0..count).map(|i| step * f64::from(i))).span, TAU);
        }
    }

    #[test]
    fn a_gap_in_coarse_directions_is_seen() {
        let found = covered((0..5).map(|i| 0.785 * f64::from(i)));
        assert!((found.span - 4.0 * 0.785).abs() < 1e-12);
    }

    #[test]
    fn two_equal_gaps_are_not_a_full_turn() {
        let half = (0..90).map(|i| f64::from(i).to_radians());
        let found = covered(half.clone().chain(half.map(|a| a + std::f64::consts::PI)));
        assert!((found.span.to_degrees() - 269.0).abs() < 1.0);
    }
}
