//! Holes of the machine that are looked at together: those that open in one direction.

use crate::exchange::PartHole;
use crate::feature::FeatureKind;
use crate::job::{FeatureOutcome, Outcome};
use crate::primitive::{Direction, Point3, Primitive, Vec3, unit};
use crate::report::picture::look;

/// Holes of one direction, in the axes of the paper.
pub(super) struct Pattern {
    pub holes: Vec<Hole>,
    /// To the viewer.
    pub back: Direction,
    /// To the right and upwards on paper.
    pub across: [Across; 2],
}

/// A direction on paper along which places are counted.
pub(super) struct Across {
    /// In which the paper's coordinate grows.
    pub paper: Vec3,
    /// In which the places grow: against it where a machine axis does.
    pub counted: Direction,
    /// Its name; none for one that is no machine axis.
    pub axis: Option<&'static str>,
}

/// A hole of the machine where it opens, and the part's beside it.
pub(super) struct Hole {
    /// Rank in the table of features.
    pub rank: usize,
    pub mouth: Point3,
    pub radius: f64,
    pub of_part: Option<PartHole>,
}

/// Directions with two holes at least, the first hole's first.
pub(super) fn patterns(outcome: &Outcome) -> Vec<Pattern> {
    let mut groups: Vec<(Direction, Vec<Hole>)> = Vec::new();
    for (rank, f) in outcome.features.iter().enumerate() {
        let Some((axis, hole)) = hole(outcome, rank, f) else { continue };
        match groups.iter_mut().find(|g| g.0.dot(&axis) > ALIKE) {
            Some(group) => group.1.push(hole),
            None => groups.push((axis, vec![hole])),
        }
    }
    groups.retain(|g| g.1.len() > 1);
    groups.into_iter().map(|(axis, holes)| Pattern::new(axis, holes)).collect()
}

impl Pattern {
    fn new(axis: Direction, holes: Vec<Hole>) -> Self {
        let named = [("x", Vec3::x_axis()), ("y", Vec3::y_axis()), ("z", Vec3::z_axis())];
        let near = named.iter().find(|(_, a)| a.dot(&axis).abs() > ALIKE);
        let back = match near {
            Some((_, a)) if a.dot(&axis) < 0.0 => -*a,
            Some((_, a)) => *a,
            None => axis,
        };
        let camera = look(&back, 1, 1);
        let across = [camera.right, camera.up].map(|paper| {
            let along = |(_, a): &&(&'static str, Direction)| a.dot(&paper).abs() > 1.0 - 1e-9;
            match named.iter().find(along).filter(|_| near.is_some()) {
                Some((name, a)) => Across { paper, counted: *a, axis: Some(name) },
                None => {
                    let counted = unit(paper).unwrap_or(Vec3::x_axis());
                    Across { paper, counted, axis: None }
                }
            }
        });
        Pattern { holes, back, across }
    }

    /// Whether places are machine coordinates; else they are counted from the first hole.
    pub(super) fn in_axes(&self) -> bool {
        self.across.iter().all(|a| a.axis.is_some())
    }

    /// Where places are counted from.
    pub(super) fn zero(&self) -> Point3 {
        let first = || self.holes.first().map(|h| h.mouth);
        if self.in_axes() { Point3::origin() } else { first().unwrap_or(Point3::origin()) }
    }

    /// A hole's place along one of the directions, mm.
    pub(super) fn place(&self, hole: &Hole, k: usize) -> f64 {
        self.across[k].counted.dot(&(hole.mouth - self.zero()))
    }
}

fn hole(outcome: &Outcome, rank: usize, f: &FeatureOutcome) -> Option<(Direction, Hole)> {
    let (axis, mouth, radius) = match &f.feature.shape {
        _ if f.feature.kind != FeatureKind::Hole => return None,
        Primitive::Cylinder(c) => (c.axis, c.point, c.radius),
        Primitive::Circle(c) => (c.normal, c.centre, c.radius),
        _ => return None,
    };
    let off = |p: &PartHole| (p.point - mouth).cross(&axis).norm();
    let beside = |p: &&PartHole| {
        let along = (p.point - mouth).dot(&axis).abs();
        p.axis.dot(&axis).abs() > ALIKE
            && off(p) < radius.max(p.radius)
            && along < FAR * radius + p.depth
    };
    let of_part = outcome.part.iter().flat_map(|p| &p.holes).filter(beside);
    let of_part = of_part.min_by(|a, b| off(a).total_cmp(&off(b))).cloned();
    Some((axis, Hole { rank, mouth, radius, of_part }))
}

/// Cosine of five degrees: what is nearer to a direction than that is drawn along it.
const ALIKE: f64 = 0.9962;
/// How far along the axis a part's hole may be from the mouth, in radii.
const FAR: f64 = 8.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn holes_of_one_direction_are_together_with_the_parts() {
        let mut outcome = sample::outcome();
        let all = patterns(&outcome);
        let [pattern] = all.as_slice() else { panic!("{}", all.len()) };
        assert!(pattern.in_axes() && pattern.holes.len() == 2);
        // The sample's own places: 60, 60 and 170, 90; its part's holes at 60.05, 60.1 and 171.4, 90.6.
        let at = |k: usize, i: usize| pattern.place(&pattern.holes[i], k);
        assert!((at(0, 0) - 60.0).abs() < 1e-9 && (at(1, 1) - 90.0).abs() < 1e-9);
        let of_part = pattern.holes[1].of_part.as_ref().map(|h| h.point.x);
        assert_eq!(of_part, Some(171.4));
        // Turned aside by 30 degrees, places are counted from the first hole: their distance is what it was.
        let turn = crate::primitive::Pose::rotation(Vec3::x() * 0.52);
        outcome.features.iter_mut().for_each(|f| f.feature = f.feature.transformed(&turn));
        let all = patterns(&outcome);
        let [slanting] = all.as_slice() else { panic!("{}", all.len()) };
        assert!(!slanting.in_axes());
        let [x, y] = [0, 1].map(|k| slanting.place(&slanting.holes[1], k));
        assert!((x.hypot(y) - 110f64.hypot(30.0)).abs() < 1e-9, "{x} {y}");
    }
}
