//! What of a triangle lies between two heights over the head's seat, seen along the bolt, and what a
//! tool about the bolt meets of it. Closed forms: nothing is sampled.
//!
//! A triangle cut by a slab and seen along the axis is a convex outline. A handle is a strip from
//! the axis to a circle round it; the handles that touch a convex outline clear of the tool's head
//! are one interval of angles, bounded by common tangents of the outline and the circle of half the
//! handle's width, which touch the outline in its corners.

use std::f64::consts::{PI, TAU};

use super::sizes::Spanner;
use crate::primitive::Vec3;

/// Convex outline round the axis of a tool; x and y across the axis, z along it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Outline {
    corners: [Vec3; 5],
    count: usize,
}

/// Directions in which a handle meets something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Blocked {
    /// None.
    None,
    /// From an angle on by a width, rad.
    Arc { from: f64, width: f64 },
    /// The tool's head itself does not go on.
    All,
}

impl Outline {
    /// Part of a triangle between two heights; `None` if there is none.
    pub(super) fn between(triangle: &[Vec3; 3], low: f64, high: f64) -> Option<Self> {
        let mut cut = Outline { corners: [triangle[0]; 5], count: 3 };
        cut.corners[..3].copy_from_slice(triangle);
        cut.keep(|p| p.z - low);
        cut.keep(|p| high - p.z);
        (cut.count > 0).then_some(cut)
    }

    /// Least distance from the axis, 0 if it runs through, and the place.
    pub(super) fn least_radius(&self) -> (f64, Vec3) {
        let mut best = (f64::INFINITY, self.corners[0]);
        for (p, q) in self.edges() {
            let along = (q - p).xy();
            let l = along.norm_squared();
            let t = if l > 0.0 { (-p.xy().dot(&along) / l).clamp(0.0, 1.0) } else { 0.0 };
            let at = p + (q - p) * t;
            let radius = at.xy().norm();
            if radius < best.0 {
                best = (radius, at);
            }
        }
        if self.holds(0.0, 0.0) { (0.0, self.at(0.0, 0.0)) } else { best }
    }

    /// Farthest corner from the axis.
    pub(super) fn farthest(&self) -> f64 {
        self.edges().map(|(p, _)| p.xy().norm()).fold(0.0, f64::max)
    }

    /// Directions in which a spanner's handle meets it.
    pub(super) fn blocks(&self, tool: &Spanner) -> Blocked {
        let least = self.least_radius().0;
        if least <= tool.head.max(tool.half_width) {
            return Blocked::All;
        }
        if least > tool.length {
            return Blocked::None;
        }
        // The outline is convex and clear of the axis: it is seen under less than half a turn.
        let mut reference = None;
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for p in self.within(tool.length) {
            let angle = p.y.atan2(p.x);
            let from = *reference.get_or_insert(angle);
            let turn = (angle - from + PI).rem_euclid(TAU) - PI;
            let half = (tool.half_width / p.xy().norm()).asin();
            low = low.min(turn - half);
            high = high.max(turn + half);
        }
        match reference {
            None => Blocked::None,
            Some(from) => Blocked::Arc { from: from + low, width: high - low },
        }
    }

    /// Least height inside a cylinder about the axis.
    pub(super) fn lowest(&self, radius: f64) -> Option<Vec3> {
        let mut best = self.within(radius).min_by(|a, b| a.z.total_cmp(&b.z));
        if let Some(normal) = self.normal() {
            // Where the plane is lowest inside the circle.
            let down = normal.xy() * normal.z.signum();
            let size = down.norm();
            let at = if size > 0.0 { down * (radius / size) } else { down };
            for (x, y) in [(-at.x, -at.y), (at.x, at.y)] {
                if self.holds(x, y) {
                    let p = self.at(x, y);
                    best = Some(best.filter(|b| b.z <= p.z).unwrap_or(p));
                }
            }
        }
        best
    }

    fn edges(&self) -> impl Iterator<Item = (Vec3, Vec3)> + '_ {
        (0..self.count).map(|i| (self.corners[i], self.corners[(i + 1) % self.count]))
    }

    /// Corners of the part within a circle: own ones inside, and where edges cross it.
    fn within(&self, radius: f64) -> impl Iterator<Item = Vec3> + '_ {
        self.edges().flat_map(move |(p, q)| {
            let (from, along) = (p.xy(), (q - p).xy());
            let own = (from.norm() <= radius).then_some(p);
            let (a, b, c) =
                (along.norm_squared(), from.dot(&along), from.norm_squared() - radius * radius);
            let root = (b * b - a * c).max(0.0).sqrt();
            let crosses = a > 0.0 && b * b >= a * c;
            let crossing = move |sign: f64| {
                let t = (-b + sign * root) / a;
                (crosses && (0.0..=1.0).contains(&t)).then(|| p + (q - p) * t)
            };
            own.into_iter().chain(crossing(-1.0)).chain(crossing(1.0))
        })
    }

    /// Whether it covers a place seen along the axis; an edge-on outline covers nothing.
    fn holds(&self, x: f64, y: f64) -> bool {
        let side = |(p, q): (Vec3, Vec3)| (q.x - p.x) * (y - p.y) - (q.y - p.y) * (x - p.x);
        let (mut left, mut right) = (false, false);
        for s in self.edges().map(side) {
            left |= s > 0.0;
            right |= s < 0.0;
        }
        left != right
    }

    /// Place of its plane over x, y.
    fn at(&self, x: f64, y: f64) -> Vec3 {
        let a = self.corners[0];
        let z = self.normal().map_or(a.z, |n| a.z - (n.x * (x - a.x) + n.y * (y - a.y)) / n.z);
        Vec3::new(x, y, z)
    }

    /// Normal of an outline that is not edge-on.
    fn normal(&self) -> Option<Vec3> {
        let from = self.corners[0];
        let pairs = self.edges().map(|(p, q)| (p - from).cross(&(q - from)));
        let sum: Vec3 = pairs.sum();
        (sum.z != 0.0).then_some(sum)
    }

    /// Cuts off where `side` is negative.
    fn keep(&mut self, side: impl Fn(&Vec3) -> f64) {
        let before = *self;
        self.count = 0;
        for (p, q) in before.edges() {
            let (a, b) = (side(&p), side(&q));
            if a >= 0.0 {
                self.push(p);
            }
            if (a > 0.0 && b < 0.0) || (a < 0.0 && b > 0.0) {
                self.push(p + (q - p) * (a / (a - b)));
            }
        }
    }

    fn push(&mut self, p: Vec3) {
        // A triangle cut by two parallel planes has at most five corners.
        if let Some(place) = self.corners.get_mut(self.count) {
            *place = p;
            self.count += 1;
        }
    }
}

/// Largest free turn among blocked directions and where it begins, rad; a full turn if none is blocked.
pub(super) fn largest_gap(blocked: impl IntoIterator<Item = Blocked>) -> (f64, f64) {
    let mut arcs: Vec<(f64, f64)> = Vec::new();
    for b in blocked {
        match b {
            Blocked::None => {}
            Blocked::All => return (0.0, 0.0),
            Blocked::Arc { from, width } => {
                let from = from.rem_euclid(TAU);
                arcs.push((from, from + width));
            }
        }
    }
    arcs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let Some(&(first, _)) = arcs.first() else { return (TAU, 0.0) };
    // From the first arc's beginning once round; an arc over the end of the round counts at its
    // beginning too.
    let mut end = arcs.iter().map(|a| a.1 - TAU).fold(first, f64::max);
    let mut best = (0.0, first);
    for &(from, to) in arcs.iter().chain(std::iter::once(&(first + TAU, first + TAU))) {
        if from - end > best.0 {
            best = (from - end, end);
        }
        end = end.max(to);
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spanner() -> Spanner {
        Spanner { head: 14.0, half_width: 5.0, length: 150.0, thickness: 8.0 }
    }

    fn outline(corners: [[f64; 3]; 3]) -> Outline {
        Outline::between(&corners.map(Vec3::from), -1.0, 1.0).expect("in the slab")
    }

    #[test]
    fn a_slab_cuts_a_triangle_into_what_lies_in_it() {
        let triangle = [[10.0, 0.0, -3.0], [10.0, 0.0, 3.0], [40.0, 5.0, 0.0]].map(Vec3::from);
        assert_eq!(Outline::between(&triangle, -1.0, 1.0).expect("in it").count, 5);
        assert!(Outline::between(&triangle, 3.5, 4.0).is_none());
        // Cut at z = 2: the corner (10, 0, 3) and two points a third of the way down its edges.
        let top = Outline::between(&triangle, 2.0, 4.0).expect("the tip");
        assert_eq!((top.count, top.least_radius().0), (3, 10.0));
    }

    #[test]
    fn the_axis_through_a_face_is_distance_zero_at_the_right_height() {
        let around = outline([[-5.0, -5.0, 0.2], [5.0, -5.0, 0.2], [0.0, 9.0, 0.9]]);
        let (radius, at) = around.least_radius();
        assert_eq!(radius, 0.0);
        // The height rises by 0.7 over 14.
        assert!((at.z - (0.2 + 0.7 * 5.0 / 14.0)).abs() < 1e-12);
        assert_eq!(around.blocks(&spanner()), Blocked::All);
    }

    #[test]
    fn a_point_blocks_the_angle_of_the_handle_on_either_side() {
        let point = outline([[60.0, 0.0, 0.0]; 3]);
        let half = (5.0f64 / 60.0).asin();
        let Blocked::Arc { from, width } = point.blocks(&spanner()) else { panic!("an arc") };
        assert!((from + half).abs() < 1e-12 && (width - 2.0 * half).abs() < 1e-12);
        assert_eq!(outline([[151.0, 0.0, 0.0]; 3]).blocks(&spanner()), Blocked::None);
        assert_eq!(outline([[13.0, 0.0, 0.0]; 3]).blocks(&spanner()), Blocked::All);
    }

    #[test]
    fn arcs_of_outlines_agree_with_trying_every_angle() {
        let tool = spanner();
        let mut random = crate::numeric::random::Random::new(5);
        let mut uniform = || (random.bits() >> 11) as f64 / (1u64 << 53) as f64;
        let mut arcs = 0;
        for _ in 0..400 {
            let (x, y) = (300.0 * uniform() - 150.0, 300.0 * uniform() - 150.0);
            let mut corner = || [x + 80.0 * uniform(), y + 80.0 * uniform(), 0.0];
            let corners = [corner(), corner(), corner()];
            let found = outline(corners).blocks(&tool);
            let Blocked::Arc { from, width } = found else { continue };
            arcs += 1;
            for k in 0..720 {
                let angle = f64::from(k) * TAU / 720.0;
                let into = (angle - from).rem_euclid(TAU);
                // Not where the tried points cannot tell.
                if (into - width).abs() < 0.02 || !(0.02..=TAU - 0.02).contains(&into) {
                    continue;
                }
                assert_eq!(touches(&corners, angle, &tool), into < width, "{corners:?} {angle}");
            }
        }
        assert!(arcs > 100, "{arcs}");
    }

    /// By many points of the triangle, each tried against the handle.
    fn touches(corners: &[[f64; 3]; 3], angle: f64, tool: &Spanner) -> bool {
        let (sin, cos) = angle.sin_cos();
        let [a, b, c] = corners.map(Vec3::from);
        (0..=60).any(|i| {
            (0..=60 - i).any(|j| {
                let p = a + (b - a) * (f64::from(i) / 60.0) + (c - a) * (f64::from(j) / 60.0);
                let (along, across) = (p.x * cos + p.y * sin, p.y * cos - p.x * sin);
                along >= 0.0 && across.abs() <= tool.half_width && p.xy().norm() <= tool.length
            })
        })
    }

    #[test]
    fn lowest_place_in_a_cylinder_lies_where_the_plane_dips() {
        // The plane z = 0.01 x over a large triangle: lowest in a circle of 7 at x = -7.
        let plane = |x: f64, y: f64| [x, y, 0.01 * x];
        let large = outline([plane(-90.0, -90.0), plane(90.0, -90.0), plane(0.0, 90.0)]);
        let p = large.lowest(7.0).expect("inside");
        assert!((p - Vec3::new(-7.0, 0.0, -0.07)).norm() < 1e-12, "{p}");
        let flat = outline([[-90.0, -90.0, 0.3], [90.0, -90.0, 0.3], [0.0, 90.0, 0.3]]);
        assert_eq!(flat.lowest(7.0).map(|p| p.z), Some(0.3));
        assert!(
            outline([[8.0, 0.0, 0.0], [20.0, 1.0, 0.0], [20.0, -1.0, 0.5]]).lowest(7.0).is_none()
        );
        // An edge through the circle: the lowest place is where it leaves.
        let edge = outline([[-10.0, 3.0, -0.5], [10.0, 3.0, 0.5], [10.0, 3.0, 0.5]]);
        let p = edge.lowest(5.0).expect("crosses");
        assert!((p - Vec3::new(-4.0, 3.0, -0.2)).norm() < 1e-12, "{p}");
    }

    #[test]
    fn the_largest_gap_goes_over_the_end_of_the_round() {
        let arc = |from: f64, width: f64| Blocked::Arc { from, width };
        assert_eq!(largest_gap([Blocked::None]), (TAU, 0.0));
        assert_eq!(largest_gap([arc(1.0, 0.5), Blocked::All]).0, 0.0);
        let (gap, from) = largest_gap([arc(1.0, 0.5)]);
        assert!((gap - (TAU - 0.5)).abs() < 1e-12 && (from - 1.5).abs() < 1e-12);
        // 6.0 to 6.5 goes over the end (to 0.217): what is free lies between 0.3 + 0.2 and 6.
        let (gap, from) = largest_gap([arc(6.0, 0.5), arc(0.1, 0.4), arc(3.0, 0.1)]);
        assert!((gap - 2.9).abs() < 1e-12 && (from - 3.1).abs() < 1e-12);
        // Over all of the others.
        assert!(largest_gap([arc(6.0, 6.2), arc(0.1, 0.4)]).0 < 0.1);
    }
}
