//! What stands round a bolt: part, other parts and scans in the bolt's own coordinates, and the borders beyond
//! which a scan shows nothing.

use std::borrow::Cow;

use super::Seen;
use super::flat::Flat;
use super::outline::Outline;
use crate::fitcheck::budget::{Budget, deviation};
use crate::fitcheck::holes::Pair;
use crate::fitcheck::view::View;
use crate::primitive::{Direction, Point3, Vec3, any_perpendicular, unit};

/// Coordinates of a bolt: origin where its axis meets the seat of its head, z out of the part.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    pub(super) origin: Point3,
    axes: [Direction; 3],
}

/// Whose surface it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Source {
    Part,
    Scan(usize),
    /// Another part.
    Other(usize),
}

/// A place of something round the bolt, in the bolt's coordinates.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) source: Source,
    pub(super) at: Vec3,
}

/// Part and scans round one bolt.
pub(super) struct Around<'a> {
    pub(super) view: &'a View<'a>,
    pub(super) hole: &'a Pair,
    pub(super) frame: Frame,
    bodies: Vec<Body<'a>>,
    /// Border points of the scans beyond which surface may go on unseen.
    borders: Vec<Place>,
}

struct Body<'a> {
    source: Source,
    points: Vec<Vec3>,
    triangles: Cow<'a, [[u32; 3]]>,
}

impl Frame {
    pub(super) fn new(origin: Point3, axis: Direction) -> Self {
        let x = any_perpendicular(&axis);
        Frame { origin, axes: [x, Direction::new_unchecked(axis.cross(&x)), axis] }
    }

    pub(super) fn axis(&self) -> Direction {
        self.axes[2]
    }

    pub(super) fn local(&self, p: &Point3) -> Vec3 {
        let v = p - self.origin;
        Vec3::new(v.dot(&self.axes[0]), v.dot(&self.axes[1]), v.dot(&self.axes[2]))
    }

    pub(super) fn vector(&self, v: &Vec3) -> Vec3 {
        self.axes[0].scale(v.x) + self.axes[1].scale(v.y) + self.axes[2].scale(v.z)
    }

    pub(super) fn machine(&self, p: &Vec3) -> Point3 {
        self.origin + self.vector(p)
    }
}

impl<'a> Around<'a> {
    /// All but the flat that the head sits on.
    pub(super) fn new(
        view: &'a View<'a>,
        hole: &'a Pair,
        frame: Frame,
        flat: &'a Flat,
        seen: &Seen<'_>,
    ) -> Self {
        let local = |p: &[Point3]| p.iter().map(|p| frame.local(p)).collect::<Vec<_>>();
        let mut bodies = vec![Body {
            source: Source::Part,
            points: local(&view.part.points),
            triangles: Cow::Borrowed(flat.others()),
        }];
        for (s, scan) in view.scans.iter().enumerate() {
            let mut triangles = view.surface(s);
            triangles.retain(|t| !t.iter().any(|&i| seen.spikes[s][i as usize]));
            let triangles = Cow::Owned(triangles);
            bodies.push(Body { source: Source::Scan(s), points: local(&scan.points), triangles });
        }
        for (o, other) in view.others.iter().enumerate() {
            let points = local(&other.given.part.points);
            let triangles = Cow::Borrowed(other.mesh.triangles());
            bodies.push(Body { source: Source::Other(o), points, triangles });
        }
        let mut around = Around { view, hole, frame, bodies, borders: Vec::new() };
        around.borders = around.find_borders(seen.open);
        around
    }

    /// Outlines between two heights that come nearer to the axis than `radius`.
    pub(super) fn outlines(
        &self,
        low: f64,
        high: f64,
        radius: f64,
    ) -> impl Iterator<Item = (Source, Outline)> + '_ {
        self.bodies.iter().flat_map(move |body| {
            let cut = move |t: [u32; 3]| {
                let c = t.map(|i| body.points[i as usize]);
                let (l, h) = (c[0].inf(&c[1]).inf(&c[2]), c[0].sup(&c[1]).sup(&c[2]));
                let far = |k: usize| l[k].max(-h[k]).max(0.0);
                if h.z < low || l.z > high || far(0).hypot(far(1)) > radius {
                    return None;
                }
                Some((body.source, Outline::between(&c, low, high)?))
            };
            body.triangles.iter().copied().filter_map(cut)
        })
    }

    /// Border points nearer than the unseen reach to a cylinder about the axis.
    pub(super) fn borders(&self, low: f64, high: f64, radius: f64) -> impl Iterator<Item = &Place> {
        let reach = self.view.limits.unseen_reach;
        self.borders.iter().filter(move |b| {
            let along = (low - b.at.z).max(b.at.z - high).max(0.0);
            along <= reach && (b.at.xy().norm() - radius).max(0.0).hypot(along) <= reach
        })
    }

    /// What moves something round the bolt against the bolt, along a direction of the bolt's coordinates.
    pub(super) fn budget(&self, place: Option<&Place>, along: Option<&Vec3>) -> Budget {
        let scene = self.view.scene;
        let feature = &scene.features[self.hole.feature()];
        let at = self.frame.machine(&place.map_or_else(Vec3::zeros, |p| p.at));
        let along = along.and_then(|v| unit(self.frame.vector(v)));
        let along = along.as_ref();
        let join =
            |s: usize| scene.scans[s].join_covariance.map_or(0.0, |c| deviation(c, &at, along));
        let mut budget = match place.map(|p| p.source) {
            // Parts are placed by the frame, the bolt by its scan.
            None | Some(Source::Part | Source::Other(_)) => {
                let error = match place.map(|p| p.source) {
                    Some(Source::Other(o)) => self.view.others[o].given.part.chord_error,
                    _ => self.view.part.chord_error,
                };
                Budget::of_place(scene, feature.scan, error, &at, along)
            }
            // Bolt and surface move with the frame alike, and with the join if it is one scan.
            Some(Source::Scan(s)) => {
                let mut budget = Budget::default();
                if feature.scan != Some(s) {
                    budget.add("join", join(s));
                    budget.add("join", feature.scan.map_or(0.0, join));
                }
                let apart = (at - self.frame.origin).norm();
                let error = scene.scans[s].length_error;
                budget.add("scanner", error.map_or(0.0, |e| e.deviation(apart)));
                budget.add("scan noise", LEAST_OF_MANY * self.view.scans[s].noise);
                if scene.scans[s].scan.triangles().is_empty() {
                    // Between the points of a cloud the surface may come nearer.
                    budget.add("spacing", 0.5 * self.view.scans[s].resolution / 3f64.sqrt());
                }
                budget
            }
        };
        budget.add("hole axis", deviation(&feature.feature.covariance, &at, along));
        budget
    }

    /// Open borders round the bolt that the part does not cover.
    fn find_borders(&self, open: &[(usize, u32)]) -> Vec<Place> {
        let hole = HOLE * 0.5 * self.hole.part_diameter();
        let place = |&(s, id): &(usize, u32)| {
            let at = self.frame.local(&self.view.scans[s].points[id as usize]);
            // Under the part, in the bolt's own hole, there is the bolt.
            let far = at.xy().norm() > FARTHEST || at.z > FARTHEST || at.z < -DEEPEST;
            let bolt = at.z < 0.0 && at.xy().norm() < hole;
            (!far && !bolt && !self.is_covered(&at))
                .then_some(Place { source: Source::Scan(s), at })
        };
        open.iter().filter_map(place).collect()
    }

    /// Whether the part stands between a border point and the space over the head's seat.
    fn is_covered(&self, at: &Vec3) -> bool {
        if at.z >= 0.0 {
            return false;
        }
        let reach = self.view.limits.unseen_reach;
        let from = self.frame.machine(at);
        self.view.solid.ray_cast(&from, &self.frame.axis(), reach.max(-at.z)).is_some()
    }
}

/// The least of some hundred noisy points lies about √(2 ln n) = 3 deviations before the surface: half of
/// that as a standard deviation, so that the expanded uncertainty holds it.
const LEAST_OF_MANY: f64 = 1.5;
/// Radius round the bolt, in that of the part's hole, where the bolt itself is.
const HOLE: f64 = 1.25;
/// How far from the seat of the head borders are looked at, mm: the longest spanner, and below the seat.
const FARTHEST: f64 = 700.0;
const DEEPEST: f64 = 50.0;
