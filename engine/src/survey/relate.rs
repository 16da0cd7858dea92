//! What primitives make together: holes with their faces, rims of holes whose wall was not seen, tubes, and
//! groups that share an axis, a direction or a radius.

use super::{Side, Survey, Surveyed};
use crate::associate::refit;
use crate::feature::axis_of;
use crate::primitive::{Circle, Direction, Kind, Line, Point3, Primitive, Vec3};
use crate::scan::Scan;

/// A round hole: a bore that opens in a flat face, or the rim of one whose wall was not seen.
#[derive(Debug, Clone)]
pub struct SurveyedHole {
    /// Position in [`Survey::primitives`] of the wall, if it was seen.
    pub wall: Option<usize>,
    /// Of the face it opens in, square to its axis; `None` where none was found.
    pub face: Option<usize>,
    /// Of the flat bottom, or of the face at the other end of a through hole.
    pub other_end: Option<usize>,
    /// Whether `other_end` is a face that the hole opens in, too.
    pub through: bool,
    /// Where the axis meets the face (without one: at the wall's end), mm.
    pub point: Point3,
    /// Axis, out of the material.
    pub axis: Direction,
    /// Radius, mm; of a rim alone too large by what the scan rounds or loses at edges.
    pub radius: f64,
    /// Depth of the wall that was seen, mm; zero for a rim alone.
    pub depth: f64,
}

/// A bent tube: cylinders and bends (tori) of one radius that run into one another.
#[derive(Debug, Clone, PartialEq)]
pub struct Tube {
    /// Positions in [`Survey::primitives`], in order along the tube.
    pub members: Vec<usize>,
    /// Mean radius, mm.
    pub radius: f64,
}

/// Primitives with something in common.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// What it is.
    pub kind: GroupKind,
    /// Positions in [`Survey::primitives`], ascending; of a perpendicular pair the leader of each direction.
    pub members: Vec<usize>,
    /// The common radius, mm.
    pub radius: Option<f64>,
}

/// What the members of a group have in common.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum GroupKind {
    /// One axis.
    Coaxial,
    /// One direction: of axes, or square to planes.
    Parallel,
    /// Two directions at a right angle.
    Perpendicular,
    /// One radius: cylinders, spheres, tubes.
    SameRadius,
}

impl GroupKind {
    /// `coaxial`, `parallel`, `perpendicular`, `same radius`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            GroupKind::Coaxial => "coaxial",
            GroupKind::Parallel => "parallel",
            GroupKind::Perpendicular => "perpendicular",
            GroupKind::SameRadius => "same radius",
        }
    }
}

/// The survey of a scan's primitives.
pub(super) fn related(scan: &Scan, primitives: Vec<Surveyed>) -> Survey {
    let mut holes: Vec<SurveyedHole> =
        (0..primitives.len()).filter_map(|k| hole(&primitives, k)).collect();
    holes.extend(rims(scan, &primitives));
    holes.sort_by(|a, b| b.radius.total_cmp(&a.radius));
    let tubes = tubes(&primitives);
    let claimed: usize = primitives.iter().map(|p| p.region.ids().len()).sum();
    let unclaimed = scan.points().len() - claimed;
    let groups = groups(&primitives, scan);
    Survey { scan: scan.clone(), primitives, holes, tubes, groups, unclaimed }
}

/// The hole of a bore that goes most of the way round.
fn hole(primitives: &[Surveyed], k: usize) -> Option<SurveyedHole> {
    let wall = &primitives[k];
    let Primitive::Cylinder(c) = &wall.feature.shape else { return None };
    let quality = wall.feature.quality.as_ref()?;
    if wall.side != Side::Inner || quality.arc < MOUTH_ARC {
        return None;
    }
    // Square faces at its ends, beside it or beyond a chamfer or rounding.
    let mut beside = wall.adjacent.clone();
    beside.extend(wall.adjacent.iter().flat_map(|&j| &primitives[j].adjacent).copied());
    beside.sort_unstable();
    beside.dedup();
    // Ends in whose normal the axis runs: the hole opens there where the normal points away from the wall.
    let (mut opens, mut floors) = (Vec::new(), Vec::new());
    for j in beside {
        let Primitive::Plane(plane) = &primitives[j].feature.shape else { continue };
        let cos = plane.normal.dot(&c.axis);
        if cos.abs() < SQUARE {
            continue;
        }
        let along = -plane.distance(&c.point) / cos;
        let foot = c.point + c.axis.into_inner() * along;
        let near =
            primitives[j].region.points().iter().any(|p| (p - foot).norm() < REACH * c.radius);
        if !near || along.abs() > quality.extent {
            continue;
        }
        match plane.normal.dot(&(foot - c.point)) > 0.0 {
            true => opens.push((j, foot)),
            false => floors.push((j, foot)),
        }
    }
    let largest = |list: &[(usize, Point3)]| {
        list.iter().copied().max_by(|a, b| primitives[a.0].area.total_cmp(&primitives[b.0].area))
    };
    let face = largest(&opens);
    let out = match (&face, largest(&floors)) {
        (Some((_, foot)), _) => foot - c.point,
        (None, Some((_, foot))) => c.point - foot,
        (None, None) => c.axis.into_inner(),
    };
    let axis = if out.dot(&c.axis) < 0.0 { -c.axis } else { c.axis };
    let opposite = |(_, foot): &&(usize, Point3)| (foot - c.point).dot(&axis) < 0.0;
    let beyond: Vec<(usize, Point3)> = opens.iter().filter(opposite).copied().collect();
    let through = largest(&beyond);
    let point = face.map_or(c.point + axis.into_inner() * (0.5 * quality.extent), |f| f.1);
    Some(SurveyedHole {
        wall: Some(k),
        face: face.map(|f| f.0),
        other_end: through.or(largest(&floors)).map(|f| f.0),
        through: through.is_some(),
        point,
        axis,
        radius: c.radius,
        depth: quality.extent,
    })
}

/// Round openings in flat faces at the scan's border: holes whose wall the scanner did not see.
fn rims(scan: &Scan, primitives: &[Surveyed]) -> Vec<SurveyedHole> {
    let mut owner = vec![usize::MAX; scan.points().len()];
    for (k, p) in primitives.iter().enumerate() {
        p.region.ids().iter().for_each(|&i| owner[i as usize] = k);
    }
    let rim = |ids: &Vec<u32>| {
        if ids.len() < RIM_POINTS {
            return None;
        }
        let mut owners: Vec<usize> = ids.iter().map(|&i| owner[i as usize]).collect();
        owners.sort_unstable();
        let face = owners[owners.len() / 2];
        let own = owners.iter().filter(|o| **o == face).count();
        let Primitive::Plane(plane) = &primitives.get(face)?.feature.shape else { return None };
        let points: Vec<Point3> =
            ids.iter().map(|&i| plane.project(&scan.points()[i as usize])).collect();
        let Some(Primitive::Circle(circle)) = refit(Kind::Circle, &points, &[]) else {
            return None;
        };
        let (off, arc) = roundness(&circle, &points, plane.normal);
        // The outer border of a round face runs the other way about.
        let round = off < scan.resolution() && arc < -MOUTH_ARC && own * 10 >= ids.len() * 7;
        round.then_some(SurveyedHole {
            wall: None,
            face: Some(face),
            other_end: None,
            through: false,
            point: circle.centre,
            axis: plane.normal,
            radius: circle.radius,
            depth: 0.0,
        })
    };
    scan.boundary_loops().iter().filter_map(rim).collect()
}

/// Root mean square distance of points from a circle, and how far they go round it about a normal, rad.
fn roundness(circle: &Circle, points: &[Point3], normal: Direction) -> (f64, f64) {
    let squares: f64 = points.iter().map(|p| circle.distance(p).powi(2)).sum();
    let turn = |a: &Point3, b: &Point3| {
        let (u, v): (Vec3, Vec3) = (a - circle.centre, b - circle.centre);
        u.cross(&v).dot(&normal).atan2(u.dot(&v))
    };
    let next = points.iter().cycle().skip(1);
    let arc = points.iter().zip(next).map(|(a, b)| turn(a, b)).sum();
    ((squares / points.len() as f64).sqrt(), arc)
}

/// Chains of cylinders and bends.
fn tubes(primitives: &[Surveyed]) -> Vec<Tube> {
    let links: Vec<Vec<usize>> = (0..primitives.len())
        .map(|k| {
            let runs = |j: &&usize| runs_on(&primitives[k], &primitives[**j]);
            primitives[k].adjacent.iter().filter(runs).copied().collect()
        })
        .collect();
    let mut seen = vec![false; primitives.len()];
    let mut tubes = Vec::new();
    // From the ends first, so that each chain is walked from one of them.
    for most in [1, 2] {
        for start in 0..primitives.len() {
            if seen[start] || links[start].is_empty() || links[start].len() > most {
                continue;
            }
            let mut members = vec![start];
            seen[start] = true;
            let mut at = start;
            while let Some(&next) = links[at].iter().find(|j| !seen[**j]) {
                seen[next] = true;
                members.push(next);
                at = next;
            }
            if members.len() > 1 {
                let radii = members.iter().filter_map(|&k| primitives[k].diameter());
                let radius = radii.sum::<f64>() / (2.0 * members.len() as f64);
                tubes.push(Tube { members, radius });
            }
        }
    }
    tubes
}

/// Whether a cylinder runs into a bend of the same radius, either way.
fn runs_on(a: &Surveyed, b: &Surveyed) -> bool {
    let (cylinder, torus) = match (&a.feature.shape, &b.feature.shape) {
        (Primitive::Cylinder(c), Primitive::Torus(t)) => (c, t),
        (Primitive::Torus(t), Primitive::Cylinder(c)) => (c, t),
        _ => return false,
    };
    let near = |x: f64, y: f64| (x - y).abs() < TUBE * x.max(y);
    a.side == Side::Outer
        && b.side == Side::Outer
        && near(cylinder.radius, torus.minor_radius)
        && cylinder.axis.dot(&torus.axis).abs() < TUBE
        && near(cylinder.axis_line().distance(&torus.centre), torus.major_radius)
}

fn groups(primitives: &[Surveyed], scan: &Scan) -> Vec<Group> {
    let slack = 2.0 * scan.noise() + 0.05 * scan.resolution();
    let direction = |k: usize| primitives[k].feature.shape.direction();
    let angle = |a: usize, b: usize| match (direction(a), direction(b)) {
        (Some(u), Some(v)) => u.cross(&v).norm().atan2(u.dot(&v).abs()),
        _ => f64::INFINITY,
    };
    let tilt = |k: usize| {
        let f = &primitives[k].feature;
        f.shape.direction().map_or(0.0, |d| f.covariance.tilt(&d))
    };
    let room = |a: usize, b: usize| (3.0 * tilt(a).hypot(tilt(b))).clamp(ANGLE, MOST_ANGLE);
    let parallel = |a: usize, b: usize| angle(a, b) <= room(a, b);
    let axis = |k: usize| match primitives[k].feature.shape.kind() {
        Kind::Plane | Kind::Sphere => None,
        _ => axis_of(&primitives[k].feature.shape),
    };
    let coaxial = |a: usize, b: usize| {
        let (Some(u), Some(v)): (Option<Line>, Option<Line>) = (axis(a), axis(b)) else {
            return false;
        };
        let apart = (u.point - v.point).norm();
        let off = u.distance(&v.point).min(v.distance(&u.point));
        parallel(a, b) && off <= slack + apart * room(a, b)
    };
    let radius = |k: usize| primitives[k].diameter().map(|d| 0.5 * d);
    let sized = |k: usize| !matches!(primitives[k].feature.shape.kind(), Kind::Plane | Kind::Cone);
    let same = |a: usize, b: usize| match (radius(a), radius(b)) {
        (Some(r), Some(s)) if sized(a) && sized(b) => {
            let deviation = |k: usize| {
                let size = usize::from(primitives[k].feature.shape.kind() == Kind::Torus);
                primitives[k].feature.covariance.size(size)
            };
            (r - s).abs() <= (3.0 * deviation(a).hypot(deviation(b))).max(0.5 * slack).min(0.05 * r)
        }
        _ => false,
    };
    let mut out = Vec::new();
    let count = primitives.len();
    let put = |kind: GroupKind, members: Vec<usize>, out: &mut Vec<Group>| {
        let radius = (kind == GroupKind::SameRadius)
            .then(|| members.iter().filter_map(|&k| radius(k)).sum::<f64>() / members.len() as f64);
        out.push(Group { kind, members, radius });
    };
    for members in clusters(count, coaxial) {
        put(GroupKind::Coaxial, members, &mut out);
    }
    let ways = clusters(count, parallel);
    for (n, a) in ways.iter().enumerate() {
        for b in &ways[n + 1..] {
            let (a, b) = (largest(primitives, a), largest(primitives, b));
            if (angle(a, b) - std::f64::consts::FRAC_PI_2).abs() <= room(a, b) {
                put(GroupKind::Perpendicular, vec![a.min(b), a.max(b)], &mut out);
            }
        }
    }
    for members in ways {
        put(GroupKind::Parallel, members, &mut out);
    }
    for members in clusters(count, same) {
        put(GroupKind::SameRadius, members, &mut out);
    }
    out.sort_by(|a, b| a.kind.cmp(&b.kind).then_with(|| a.members.cmp(&b.members)));
    out
}

/// Sets of two and more that are alike with the first of their set.
fn clusters(count: usize, alike: impl Fn(usize, usize) -> bool) -> Vec<Vec<usize>> {
    let mut sets: Vec<Vec<usize>> = Vec::new();
    for k in 0..count {
        match sets.iter_mut().find(|set| alike(set[0], k)) {
            Some(set) => set.push(k),
            None => sets.push(vec![k]),
        }
    }
    sets.retain(|set| set.len() > 1);
    sets
}

fn largest(primitives: &[Surveyed], members: &[usize]) -> usize {
    let area = |k: &&usize| primitives[**k].area;
    members.iter().max_by(|a, b| area(a).total_cmp(&area(b))).copied().unwrap_or(0)
}

/// Arc from which on a bore is a hole, rad.
const MOUTH_ARC: f64 = 4.0;
/// Cosine from which on a face is square to an axis.
const SQUARE: f64 = 0.95;
/// Radii within which a face must come to the axis.
const REACH: f64 = 2.5;
/// Points of a rim at least.
const RIM_POINTS: usize = 12;
/// Relative difference up to which a cylinder runs into a bend.
const TUBE: f64 = 0.08;
/// Angles that always count as none and that never do, rad: 0.3 and 2 degrees.
const ANGLE: f64 = 0.005_24;
const MOST_ANGLE: f64 = 0.035;
