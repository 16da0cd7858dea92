//! What one pair of features says of a pose: residual, its change with a small motion, its weight.

use nalgebra::{Matrix3, Matrix6, Vector6};

use super::super::pairing::Scaling;
use super::SameFeature;
use crate::associate::Covariance;
use crate::primitive::{Direction, Kind, Line, Point3, Pose, Primitive, Vec3, any_perpendicular};

/// Equations of one pair at a pose.
pub(super) struct Look {
    /// Small motion from the shape of `to` to the moved one of `from`: its components across and along
    /// the direction, shift before turn; zero where the shape does not show it.
    pub(super) residual: Vector6<f64>,
    /// Covariance of `residual`.
    pub(super) covariance: Matrix6<f64>,
    /// Its inverse among the components that are seen.
    weight: Matrix6<f64>,
    /// Change of `residual` with a small scaled motion of `from`.
    jacobian: Matrix6<f64>,
    /// Changes of `jacobian` with a tilt about either direction across, times the tilt's deviation.
    tilted: [Matrix6<f64>; 2],
    pub(super) seen: [bool; 6],
}

/// Sums of several pairs.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    pub(super) matrix: Matrix6<f64>,
    /// The part of `matrix` that tilts within their uncertainty may fake.
    pub(super) noise: Matrix6<f64>,
    pub(super) right: Vector6<f64>,
    /// Chi-square.
    pub(super) square: f64,
    pub(super) equations: usize,
}

impl Look {
    pub(super) fn new(pair: &SameFeature, pose: &Pose, scaling: &Scaling) -> Self {
        let moved = pair.from.transformed(pose);
        let at = foot(&pair.to, &pair.to_covariance.at);
        let seen = seen(pair.to.kind()).unwrap_or([false; 6]);
        let basis = basis(pair.to.direction());
        let shift = basis * (foot(&moved, &at) - at);
        let turn = basis * turn(pair, &moved);
        let mask = |v: Vector6<f64>| Vector6::from_fn(|k, _| if seen[k] { v[k] } else { 0.0 });
        let covariance = {
            let sum = motion_covariance(&pair.to_covariance, &at)
                + motion_covariance(&pair.from_covariance.transformed(pose), &at);
            let turned = twice(&basis);
            turned * sum * turned.transpose()
        };
        let full = carried(&basis, &at, scaling);
        let tilted = [0, 1].map(|k| {
            // Rows of the basis turned about one of them.
            let turned = twice(&Vec3::ith(k, 1.0).cross_matrix()) * full;
            masked(turned, &seen) * covariance[(3 + k, 3 + k)].max(0.0).sqrt()
        });
        Look {
            residual: mask(Vector6::new(shift.x, shift.y, shift.z, turn.x, turn.y, turn.z)),
            weight: inverse_of_seen(&covariance, &seen),
            covariance,
            jacobian: masked(full, &seen),
            tilted: if pair.to.direction().is_some() { tilted } else { [Matrix6::zeros(); 2] },
            seen,
        }
    }

    /// Squared residual over its uncertainty.
    pub(super) fn square(&self) -> f64 {
        self.residual.dot(&(self.weight * self.residual))
    }

    pub(super) fn equations(&self) -> usize {
        self.seen.iter().filter(|s| **s).count()
    }
}

impl Sums {
    pub(super) fn add(&mut self, look: &Look) {
        let scaled = look.jacobian.transpose() * look.weight;
        self.matrix += scaled * look.jacobian;
        self.right += scaled * look.residual;
        self.noise +=
            look.tilted.iter().map(|t| t.transpose() * look.weight * t).sum::<Matrix6<f64>>();
        self.square += look.square();
        self.equations += look.equations();
    }
}

/// Components (shift across, across, along; turn alike) of a motion that a kind of shape shows.
pub(super) fn seen(kind: Kind) -> Option<[bool; 6]> {
    match kind {
        Kind::Plane => Some([false, false, true, true, true, false]),
        Kind::Line | Kind::Cylinder | Kind::Cone => Some([true, true, false, true, true, false]),
        Kind::Circle | Kind::Torus => Some([true, true, true, true, true, false]),
        Kind::Sphere => Some([true, true, true, false, false, false]),
        Kind::Composite => None,
    }
}

/// Whether of a kind its axis alone counts.
pub(super) fn is_axis(kind: Kind) -> bool {
    matches!(kind, Kind::Line | Kind::Cylinder | Kind::Cone)
}

/// The line of a shape of which the axis alone counts.
pub(super) fn axis(shape: &Primitive) -> Option<Line> {
    let direction = shape.direction()?;
    is_axis(shape.kind()).then(|| Line { point: shape.point(), direction })
}

/// The place of a shape that is nearest to a point, as far as it shows one.
pub(super) fn foot(shape: &Primitive, p: &Point3) -> Point3 {
    match (axis(shape), shape) {
        (Some(axis), _) => axis.project(p),
        (None, Primitive::Plane(plane)) => plane.project(p),
        (None, other) => other.point(),
    }
}

/// Turn from the direction of `to` to that of the moved `from`, the shorter way if it has no sign.
fn turn(pair: &SameFeature, moved: &Primitive) -> Vec3 {
    let (Some(to), Some(from)) = (pair.to.direction(), moved.direction()) else {
        return Vec3::zeros();
    };
    let (cross, cos) = (to.cross(&from), to.dot(&from));
    if cos >= 0.0 {
        return cross;
    }
    if !directed(pair) {
        return -cross;
    }
    // Beyond a right angle the sine falls again: the residual must not.
    let across = cross.try_normalize(f64::MIN_POSITIVE);
    across.unwrap_or_else(|| any_perpendicular(&to).into_inner()) * (2.0 - cross.norm())
}

/// Whether the direction of a pair has a sign.
pub(super) fn directed(pair: &SameFeature) -> bool {
    pair.directed || pair.to.kind() == Kind::Cone
}

/// Rows: two directions across and the direction itself.
fn basis(direction: Option<Direction>) -> Matrix3<f64> {
    let Some(d) = direction else { return Matrix3::identity() };
    let across = any_perpendicular(&d);
    Matrix3::from_rows(&[across.transpose(), d.cross(&across).transpose(), d.transpose()])
}

fn twice(m: &Matrix3<f64>) -> Matrix6<f64> {
    let mut out = Matrix6::zeros();
    out.fixed_view_mut::<3, 3>(0, 0).copy_from(m);
    out.fixed_view_mut::<3, 3>(3, 3).copy_from(m);
    out
}

/// Components of the motion of a place with a small scaled motion.
fn carried(basis: &Matrix3<f64>, at: &Point3, scaling: &Scaling) -> Matrix6<f64> {
    let mut carried = Matrix6::identity();
    let lever = -(at - scaling.middle).cross_matrix() / scaling.radius;
    carried.fixed_view_mut::<3, 3>(0, 3).copy_from(&lever);
    carried.fixed_view_mut::<3, 3>(3, 3).fill_diagonal(1.0 / scaling.radius);
    twice(basis) * carried
}

fn masked(mut rows: Matrix6<f64>, seen: &[bool; 6]) -> Matrix6<f64> {
    for (k, _) in seen.iter().enumerate().filter(|(_, seen)| !**seen) {
        rows.row_mut(k).fill(0.0);
    }
    rows
}

fn motion_covariance(covariance: &Covariance, at: &Point3) -> Matrix6<f64> {
    covariance.about(*at).matrix.fixed_view::<6, 6>(0, 0).into_owned()
}

fn inverse_of_seen(covariance: &Matrix6<f64>, seen: &[bool; 6]) -> Matrix6<f64> {
    let inside = Matrix6::from_fn(|r, c| match (seen[r] && seen[c], r == c) {
        (true, true) => covariance[(r, c)] + if r < 3 { LEAST_SHIFT } else { LEAST_TURN },
        (true, false) => covariance[(r, c)],
        (false, true) => 1.0,
        (false, false) => 0.0,
    });
    let inverse = inside.try_inverse().unwrap_or_else(Matrix6::zeros);
    Matrix6::from_fn(|r, c| if seen[r] && seen[c] { inverse[(r, c)] } else { 0.0 })
}

/// Variances that are added to all, so that an exact shape has a finite weight: mm² and rad².
const LEAST_SHIFT: f64 = 1e-10;
const LEAST_TURN: f64 = 1e-14;
