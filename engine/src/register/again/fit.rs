//! The frame in which features of two days agree, least squares with the covariances of both days.

use nalgebra::{DMatrix, DVector, Matrix6, SMatrix, SVector, Vector6};

use super::saved::SavedFeature;
use crate::associate::{Covariance, sizes};
use crate::feature::FeatureKind;
use crate::primitive::{Direction, Point3, Pose, Primitive, Vec3, any_perpendicular};

/// How a feature differs from the saved one: its visible small motion about a point of it, and its sizes.
#[derive(Debug, Clone)]
pub(super) struct Difference {
    /// Point the motion is taken about, machine coordinates.
    pub(super) at: Point3,
    /// In the layout of [`Covariance`], invisible components zero.
    pub(super) motion: SVector<f64, 8>,
    /// Covariance of `motion`, both days.
    pub(super) covariance: SMatrix<f64, 8, 8>,
    /// Orthonormal columns: visible motions of place and direction, 8 by 3 to 6.
    pub(super) rigid: DMatrix<f64>,
}

impl Difference {
    /// What takes a saved feature to one found, which is in machine coordinates already (nearly: small motions).
    pub(super) fn new(saved: &SavedFeature, shape: &Primitive, covariance: &Covariance) -> Self {
        let at = place(saved.kind, &saved.shape, &saved.middle);
        let rigid = visible(saved.kind, saved.shape.direction());
        let mut motion = SVector::<f64, 8>::zeros();
        let there = place(saved.kind, shape, &at);
        motion.fixed_rows_mut::<3>(0).copy_from(&(there - at));
        if let (Some(a), Some(b)) = (saved.shape.direction(), shape.direction()) {
            let b = if a.dot(&b) < 0.0 { -b } else { b };
            motion.fixed_rows_mut::<3>(3).copy_from(&a.cross(&b));
        }
        let shown = &rigid * rigid.transpose() * DVector::from_column_slice(motion.as_slice());
        motion.copy_from(&shown);
        let (old, new) = (sizes(&saved.shape), sizes(shape));
        motion[6] = if saved.kind == FeatureKind::Cone { 0.0 } else { new[0] - old[0] };
        motion[7] = new[1] - old[1];
        let both = saved.covariance.about(at).matrix + covariance.about(at).matrix;
        Difference { at, motion, covariance: both, rigid }
    }

    /// Change of the visible motion with a small motion of the frame about the machine's origin.
    pub(super) fn jacobian(&self) -> SMatrix<f64, 8, 6> {
        let mut j = SMatrix::<f64, 8, 6>::zeros();
        j.fixed_view_mut::<3, 3>(0, 0).fill_with_identity();
        j.fixed_view_mut::<3, 3>(0, 3).copy_from(&-self.at.coords.cross_matrix());
        j.fixed_view_mut::<3, 3>(3, 3).fill_with_identity();
        j
    }

    /// Rows, values and weights of the visible motion: `B' m`, `B' J`, `(B' C B)^-1`.
    fn rows(&self, floor: Floor) -> (DMatrix<f64>, DVector<f64>, DMatrix<f64>) {
        let b = self.rigid.transpose();
        let columns = |m: &[f64], count: usize| DMatrix::from_column_slice(8, count, m);
        let j = &b * columns(self.jacobian().as_slice(), 6);
        let m = &b * DVector::from_column_slice(self.motion.as_slice());
        let mut covariance = columns(self.covariance.as_slice(), 8);
        for k in 0..6 {
            let floor = if k < 3 { floor.place } else { floor.turn };
            covariance[(k, k)] += floor * floor;
        }
        let small = &b * covariance * b.transpose();
        let size = small.nrows();
        let weight = small.try_inverse().unwrap_or_else(|| DMatrix::identity(size, size));
        (j, m, weight)
    }
}

/// Deviations that are added to both days' covariances, mm and rad: what no feature is known better than.
#[derive(Debug, Clone, Copy)]
pub(super) struct Floor {
    pub(super) place: f64,
    pub(super) turn: f64,
}

/// The small motion of the frame that some differences have in common.
#[derive(Debug, Clone)]
pub(super) struct Common {
    /// About the machine's origin: shift, turn.
    pub(super) motion: Vector6<f64>,
    pub(super) covariance: Matrix6<f64>,
    /// Weighted sum of squares that is left.
    pub(super) square: f64,
    /// Rows less the six freedoms.
    pub(super) freedoms: usize,
}

impl Common {
    /// Of the differences named; a freedom that they leave is held by a spread of a metre and a radian.
    pub(super) fn new(all: &[Difference], of: &[usize], floor: Floor) -> Self {
        let mut normal = Matrix6::<f64>::zeros();
        let mut right = Vector6::<f64>::zeros();
        let mut square = 0.0;
        let mut rows = 0;
        for k in 0..6 {
            normal[(k, k)] = if k < 3 { 1e-6 } else { 1.0 };
        }
        for &k in of {
            let (j, m, w) = all[k].rows(floor);
            let jw = j.transpose() * &w;
            let add = &jw * &j;
            normal += Matrix6::from_fn(|r, c| add[(r, c)]);
            let add = &jw * &m;
            right += Vector6::from_fn(|r, _| add[r]);
            square += (m.transpose() * &w * &m)[0];
            rows += j.nrows();
        }
        let covariance = normal.try_inverse().unwrap_or_else(Matrix6::identity);
        let motion = covariance * right;
        Common {
            motion,
            covariance,
            square: (square - motion.dot(&right)).max(0.0),
            freedoms: rows.saturating_sub(6),
        }
    }

    /// Its covariance about the machine's origin.
    pub(super) fn spread(&self) -> Covariance {
        let mut covariance = Covariance::zero(Point3::origin());
        covariance.matrix.fixed_view_mut::<6, 6>(0, 0).copy_from(&self.covariance);
        covariance
    }

    /// The frame's motion as a pose.
    pub(super) fn pose(&self) -> Pose {
        let turn =
            nalgebra::UnitQuaternion::from_scaled_axis(self.motion.fixed_rows::<3>(3).into_owned());
        Pose::from_parts(self.motion.fixed_rows::<3>(0).into_owned().into(), turn)
    }
}

/// Motions that the given shapes do not hold, one of them, about `middle` with turns times `radius`; none if they
/// hold all.
pub(super) fn free_motion(
    shapes: &[(FeatureKind, Option<Direction>, Point3)],
    middle: &Point3,
    radius: f64,
) -> Option<Vector6<f64>> {
    let mut normal = Matrix6::<f64>::zeros();
    for (kind, direction, point) in shapes {
        let b = visible(*kind, *direction).transpose();
        let mut j = DMatrix::<f64>::zeros(8, 6);
        let lever = -(point - middle).cross_matrix() / radius;
        for r in 0..3 {
            j[(r, r)] = 1.0;
            j[(r + 3, r + 3)] = 1.0;
            for c in 0..3 {
                j[(r, c + 3)] = lever[(r, c)];
            }
        }
        let j = b * j;
        let add = j.transpose() * &j;
        normal += Matrix6::from_fn(|r, c| add[(r, c)]);
    }
    let eigen = normal.symmetric_eigen();
    let least = eigen.eigenvalues.imin();
    (eigen.eigenvalues[least] < FREE).then(|| eigen.eigenvectors.column(least).into_owned())
}

/// Where a shape is, as seen from a place: on the plane or axis the nearest point, else the centre.
pub(super) fn place(kind: FeatureKind, shape: &Primitive, near: &Point3) -> Point3 {
    match (shape, shape.direction()) {
        (Primitive::Plane(s), _) => s.project(near),
        (Primitive::Line(_) | Primitive::Cylinder(_) | Primitive::Cone(_), Some(d)) => {
            // A hole is at its mouth.
            let near = if kind == FeatureKind::Hole { &shape.point() } else { near };
            shape.point() + d.into_inner() * d.dot(&(near - shape.point()))
        }
        _ => shape.point(),
    }
}

/// Orthonormal columns of the motions of place and direction that change a shape.
fn visible(kind: FeatureKind, direction: Option<Direction>) -> DMatrix<f64> {
    let mut columns: Vec<SVector<f64, 8>> = Vec::new();
    let mut put = |block: usize, v: Vec3| {
        let mut column = SVector::<f64, 8>::zeros();
        column.fixed_rows_mut::<3>(3 * block).copy_from(&v);
        columns.push(column);
    };
    match direction {
        None => [Vec3::x(), Vec3::y(), Vec3::z()].into_iter().for_each(|v| put(0, v)),
        Some(d) => {
            let e = any_perpendicular(&d).into_inner();
            let f = d.cross(&e);
            let centred = matches!(kind, FeatureKind::Circle | FeatureKind::Torus);
            if kind == FeatureKind::Plane || centred {
                put(0, d.into_inner());
            }
            if kind != FeatureKind::Plane {
                put(0, e);
                put(0, f);
            }
            put(1, e);
            put(1, f);
        }
    }
    DMatrix::from_fn(8, columns.len(), |r, c| columns[c][r])
}

/// Share of a motion, squared, that a feature must show for it to be held.
const FREE: f64 = 1e-3;
