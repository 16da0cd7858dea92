//! What a feature is to be known again by.

use crate::associate::sizes;
use crate::feature::FeatureKind;
use crate::primitive::{Direction, Point3, Pose, Primitive, Vec3};
use crate::survey::Survey;

use super::saved::SavedFeature;

/// A feature of a later scan that may be one of the saved ones.
#[derive(Debug, Clone, PartialEq)]
pub struct Landmark {
    /// What it is: plane, cylinder, hole, cone, sphere or torus; others are not looked for.
    pub kind: FeatureKind,
    /// Its shape; a hole's is its cylinder, the point where it meets its face, the axis out of the material.
    pub shape: Primitive,
    /// Middle of what was seen of it, mm.
    pub middle: Point3,
    /// Radius about the middle that holds it, mm.
    pub extent: f64,
    /// Standard deviation of its place, mm.
    pub deviation: f64,
}

impl Landmark {
    /// The primitives and holes of a survey, moved by `to_from_scan`.
    #[must_use]
    pub fn of_survey(survey: &Survey, to_from_scan: &Pose) -> Vec<Landmark> {
        let points = survey.scan.points();
        let mut all = Vec::new();
        let resolution = survey.scan.resolution();
        for p in &survey.primitives {
            let ids = p.region.ids();
            let sum: Vec3 = ids.iter().map(|&i| points[i as usize].coords).sum();
            let middle = Point3::from(sum / ids.len().max(1) as f64);
            let far = ids.iter().map(|&i| (points[i as usize] - middle).norm_squared());
            all.push(Landmark {
                kind: p.feature.kind,
                shape: p.feature.shape.transformed(to_from_scan),
                middle: to_from_scan * middle,
                extent: far.fold(0.0, f64::max).sqrt(),
                deviation: p.feature.covariance.deviation_at(&p.feature.shape.point()),
            });
        }
        for hole in &survey.holes {
            let shape = crate::primitive::Cylinder {
                point: hole.point,
                axis: hole.axis,
                radius: hole.radius,
            };
            let wall = hole.wall.map(|k| &survey.primitives[k].feature);
            all.push(Landmark {
                kind: FeatureKind::Hole,
                shape: Primitive::Cylinder(shape).transformed(to_from_scan),
                middle: to_from_scan * hole.point,
                extent: hole.radius.hypot(hole.depth),
                // A rim is known to a part of the spacing.
                deviation: wall
                    .map_or(0.2 * resolution, |w| w.covariance.deviation_at(&hole.point)),
            });
        }
        all
    }

    pub(super) fn moved(&self, pose: &Pose) -> Landmark {
        Landmark { shape: self.shape.transformed(pose), middle: pose * self.middle, ..self.clone() }
    }
}

/// Geometry that is invariant under motion: where it is, which way it faces, how large it is.
#[derive(Debug, Clone)]
pub(super) struct Geometry {
    pub(super) kind: FeatureKind,
    /// A point of it, of an axis the one nearest the middle.
    pub(super) point: Point3,
    pub(super) direction: Option<Direction>,
    /// Whether the direction's sign means something.
    pub(super) signed: bool,
    pub(super) sizes: [f64; 2],
    pub(super) extent: f64,
    pub(super) middle: Point3,
}

/// What of a place a shape fixes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fixes {
    Plane,
    Axis,
    Point,
}

impl Geometry {
    pub(super) fn of_landmark(l: &Landmark) -> Self {
        Self::new(l.kind, &l.shape, l.middle, l.extent)
    }

    pub(super) fn of_saved(f: &SavedFeature) -> Self {
        Self::new(f.kind, &f.shape, f.middle, f.extent)
    }

    fn new(kind: FeatureKind, shape: &Primitive, middle: Point3, extent: f64) -> Self {
        let direction = shape.direction();
        let along =
            |d: &Direction| shape.point() + d.into_inner() * d.dot(&(middle - shape.point()));
        let point = match (kind, &direction) {
            (FeatureKind::Plane, _) => shape.project(&middle),
            (FeatureKind::Cylinder | FeatureKind::Cone | FeatureKind::Line, Some(d)) => along(d),
            _ => shape.point(),
        };
        let signed = matches!(kind, FeatureKind::Plane | FeatureKind::Hole | FeatureKind::Cone);
        Geometry { kind, point, direction, signed, sizes: sizes(shape), extent, middle }
    }

    pub(super) fn fixes(&self) -> Fixes {
        match self.kind {
            FeatureKind::Plane => Fixes::Plane,
            FeatureKind::Cylinder | FeatureKind::Cone | FeatureKind::Line => Fixes::Axis,
            // A hole's mouth moves along its axis with its face: it counts as an axis.
            FeatureKind::Hole => Fixes::Axis,
            _ => Fixes::Point,
        }
    }

    /// Whether two may be one by kind and size.
    pub(super) fn like(&self, other: &Geometry, slack: f64) -> bool {
        let same = |k: usize| {
            let (a, b) = (self.sizes[k], other.sizes[k]);
            let slack = if k == 1 && self.kind == FeatureKind::Cone { 0.05 } else { slack };
            (a - b).abs() <= SAME_SIZE * a.max(b) + slack
        };
        let sized = match self.kind {
            // The radius of a cone is that at the point it is given by.
            FeatureKind::Cone => same(1),
            _ => same(0) && same(1),
        };
        let round = [FeatureKind::Hole, FeatureKind::Cylinder];
        // A hole may be surveyed as a bore alone, without its face.
        let kind =
            self.kind == other.kind || round.contains(&self.kind) && round.contains(&other.kind);
        kind && sized
    }
}

/// Largest size of a shape, mm; zero without one.
pub(crate) fn size_of(shape: &Primitive) -> f64 {
    sizes(shape)[0]
}

/// Relative difference up to which sizes may be one.
const SAME_SIZE: f64 = 0.05;
