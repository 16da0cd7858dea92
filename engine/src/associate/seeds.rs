//! Starting shapes that obey the constraints: what is known makes up for data too short to start from.

use std::f64::consts::PI;

use super::data::{Data, Sample};
use super::held::{Held, Hold};
use super::model::{Model, distance};
use super::pass::distances;
use super::start::{fan, subsets};
use crate::numeric::algebraic;
use crate::numeric::random::{Random, SEED};
use crate::numeric::robust::median;
use crate::primitive::{
    Cylinder, Direction, Kind, Point3, Primitive, Vec3, any_perpendicular, unit,
};

/// Axis directions to try: a fan over the half sphere, as far as the direction is not known.
pub(crate) fn axes(held: &Held, points: &[Point3]) -> Vec<Direction> {
    match held.direction {
        Hold::Free => fan(points),
        Hold::Across(u) => ring(&u, any_perpendicular(&u), RING),
        Hold::Along(a) => vec![a],
    }
}

/// Shapes put on the constraints. Where that can be done in several ways each is returned: a known
/// radius leaves the centre where it is, or the surface where the points are, on either side.
pub(crate) fn obeying<M: Model<N>, const N: usize>(
    shapes: Vec<M>,
    data: &Data<'_>,
    points: &[Point3],
) -> Vec<M> {
    let held = &data.held;
    if held.freedoms == 0 {
        return shapes;
    }
    let mut out = Vec::new();
    let mut buffer = Vec::new();
    for shape in shapes {
        let shape = shape.near(&data.middle);
        match (ROUND.contains(&M::KIND), held.sizes) {
            (true, [Some(radius), _]) => out.extend(kept_surface(held, &shape, data, radius)),
            (true, _) if held.through.is_some() => {
                out.push(resized(held.applied(shape), points, &mut buffer));
            }
            // A cone's slant can be known, not which way it opens.
            (_, [_, Some(angle)]) if M::KIND == Kind::Cone => {
                out.extend([angle, -angle].map(|angle| turned_over(&shape, angle)));
            }
            _ => {}
        }
        out.push(shape);
    }
    out.into_iter().map(|shape| held.applied(shape).near(&data.middle)).collect()
}

/// Shapes of known radius that touch planes through all points and through random triples: the
/// start for arcs too short to show their bend beside the scatter.
pub(crate) fn on_planes<M: Model<N>, const N: usize>(data: &Data<'_>, sample: &Sample) -> Vec<M> {
    let (Some(radius), true) = (data.held.sizes[0], ROUND.contains(&M::KIND)) else {
        return Vec::new();
    };
    let points = &sample.points;
    let mut out = Vec::new();
    out.extend(touching::<M, N>(data, points, radius));
    let (mut random, mut ids) = (Random::new(SEED), [0; 3]);
    if points.len() >= ids.len() {
        for _ in 0..TRIPLES {
            random.choose(points.len(), &mut ids);
            out.extend(touching::<M, N>(data, &ids.map(|i| points[i]), radius));
        }
    }
    out
}

/// Bends of the tubes that run nearest to half of the points: a short bend hardly differs from its tube,
/// which takes far fewer good points to find.
pub(crate) fn bent<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    small: &Sample,
    oriented: &Sample,
) -> Vec<M> {
    if M::KIND != Kind::Torus {
        return Vec::new();
    }
    let mut buffer = Vec::new();
    let mut half_of = |tube: &Cylinder| {
        distances(tube, &small.points, &mut buffer);
        median(&mut buffer)
    };
    let mut tubes: Vec<(f64, Cylinder)> = subsets::<Cylinder, 5>(data, oriented, 1)
        .into_iter()
        .map(|tube| (half_of(&tube), tube.near(&data.middle)))
        .filter(|tube| tube.0.is_finite())
        .collect();
    tubes.sort_by(|a, b| a.0.total_cmp(&b.0));
    tubes.iter().take(TUBES).flat_map(|tube| M::bent(&tube.1)).collect()
}

/// Lets a known point or direction of a plane or line stand in for one of few points.
pub(crate) fn stand_in<M: Model<N>, const N: usize>(held: &Held, points: &mut [Point3]) {
    if !matches!(M::KIND, Kind::Plane | Kind::Line) {
        return;
    }
    let [first, .., last] = points else { return };
    match (held.through, held.direction, M::KIND) {
        (Some(p), ..) => *last = p,
        (None, Hold::Across(u), Kind::Plane) => *last = *first + u.into_inner(),
        _ => {}
    }
}

/// Known radius on the centre of the shape's own, and with the surface kept where the points are.
fn kept_surface<M: Model<N>, const N: usize>(
    held: &Held,
    shape: &M,
    data: &Data<'_>,
    radius: f64,
) -> Vec<M> {
    let known: Primitive = (*shape).into();
    let (centre, direction) = (known.point(), held.direction.nearest(known.direction()));
    let out = data.middle - centre;
    let across = out - direction.into_inner() * direction.dot(&out);
    let across = if M::KIND == Kind::Sphere { out } else { across };
    let Some(e) = unit(across) else { return Vec::new() };
    let foot = centre + e.into_inner() * shape.sizes()[0];
    let at = |side: f64| M::with(foot + e.into_inner() * side, direction, [radius, 0.0]);
    vec![at(-radius), at(radius)]
}

/// The shape with the radius that half of the points are inside of.
fn resized<M: Model<N>, const N: usize>(shape: M, points: &[Point3], buffer: &mut Vec<f64>) -> M {
    let known: Primitive = shape.into();
    let direction = known.direction().unwrap_or(Vec3::z_axis());
    let point = M::with(known.point(), direction, [0.0, 0.0]);
    let (frame, constants) = (point.frame(), point.constants());
    buffer.clear();
    buffer.extend(points.iter().map(|p| distance::<M, N>(&constants, frame.local(p))));
    M::with(known.point(), direction, [median(buffer), 0.0])
}

fn turned_over<M: Model<N>, const N: usize>(shape: &M, angle: f64) -> M {
    let known: Primitive = (*shape).into();
    M::with(known.point(), known.direction().unwrap_or(Vec3::z_axis()), [shape.sizes()[0], angle])
}

/// Shapes that touch the plane through some points at their middle, on both sides.
fn touching<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    points: &[Point3],
    radius: f64,
) -> Vec<M> {
    let Some(principal) = algebraic::principal(points) else { return Vec::new() };
    let [along, _, across] = principal.directions;
    let (Some(along), Some(across)) = (unit(along), unit(across)) else { return Vec::new() };
    let mut out = Vec::new();
    let mut put = |axis: Direction, e: Vec3| {
        for side in [-radius, radius] {
            out.push(M::with(principal.mean + e * side, axis, [radius, 0.0]));
        }
    };
    match (M::KIND, data.held.direction) {
        (Kind::Sphere, _) => put(across, across.into_inner()),
        // A circle bends about its chord any way.
        (Kind::Circle, _) => {
            for e in ring(&along, across, HALF_RING) {
                put(Direction::new_normalize(along.cross(&e)), e.into_inner());
            }
        }
        (_, Hold::Along(a)) => {
            if let Some(e) = unit(across.into_inner() - a.into_inner() * a.dot(&across)) {
                put(a, e.into_inner());
            }
        }
        (_, Hold::Across(u)) => {
            if let Some(axis) = unit(across.cross(&u)) {
                put(axis, across.into_inner());
            }
        }
        (_, Hold::Free) => {
            for axis in ring(&across, along, HALF_RING) {
                put(axis, across.into_inner());
            }
        }
    }
    out
}

/// Directions perpendicular to an axis over half a turn, from `first`.
fn ring(axis: &Direction, first: Direction, count: usize) -> Vec<Direction> {
    let second = axis.cross(&first);
    let at = |i: usize| {
        let (sin, cos) = (PI * i as f64 / count as f64).sin_cos();
        Direction::new_normalize(first.into_inner() * cos + second * sin)
    };
    (0..count).map(at).collect()
}

/// Shapes whose first size alone makes them round.
const ROUND: [Kind; 3] = [Kind::Circle, Kind::Sphere, Kind::Cylinder];
/// Directions tried perpendicular to a known one.
const RING: usize = 48;
/// Directions tried in the plane of some points.
const HALF_RING: usize = 8;
/// Tubes that are bent.
const TUBES: usize = 8;
/// Random triples that planes are laid through.
const TRIPLES: usize = 100;
