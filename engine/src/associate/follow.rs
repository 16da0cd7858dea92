//! Quick refits of a shape while a region grows along it: few points, few iterations, no outliers looked for.

use nalgebra::SMatrix;

use super::data::{Data, Sample};
use super::determined::{self, Deviations};
use super::model::Model;
use super::pass::Weight;
use super::solve::{Solution, solve};
use super::{Input, start};
use crate::primitive::{
    Circle, Cone, Cylinder, Kind, Line, Plane, Point3, Primitive, Sphere, Torus, Vec3,
};

/// Shape of some kind through points (mm) and their unit normals (as many, or none); `None` where
/// they do not determine it.
#[must_use]
pub fn refit(kind: Kind, points: &[Point3], normals: &[Vec3]) -> Option<Primitive> {
    match kind {
        Kind::Plane => quick::<Plane, 3>(points, normals),
        Kind::Line => quick::<Line, 4>(points, normals),
        Kind::Circle => quick::<Circle, 6>(points, normals),
        Kind::Sphere => quick::<Sphere, 4>(points, normals),
        Kind::Cylinder => quick::<Cylinder, 5>(points, normals),
        Kind::Cone => quick::<Cone, 6>(points, normals),
        Kind::Torus => quick::<Torus, 7>(points, normals),
        Kind::Composite => None,
    }
}

fn quick<M: Model<N>, const N: usize>(points: &[Point3], normals: &[Vec3]) -> Option<Primitive> {
    let normals = (!normals.is_empty()).then_some(normals);
    let input = Input { normals, ..Input::new(points) };
    let data = Data::new(M::KIND.name(), &input, M::MINIMUM).ok()?;
    let sample = data.sample(POINTS);
    let scaled = data.chosen(&sample.points);
    let start: M = fresh(&scaled, &sample)?;
    let solution = solve(&scaled, start, &Weight::One, PASSES, None).ok()?;
    let spare = (sample.points.len() * M::RESIDUALS).saturating_sub(N).max(1);
    let sigma = (solution.factor.cost / spare as f64).sqrt().max(data.rounding);
    let settled = Solution { converged: true, ..solution };
    let inverse = determined::inverse(&settled).ok()?;
    let white = SMatrix::identity() * sigma.powi(2);
    let deviations = Deviations::new(&inverse, &white, sigma);
    determined::check(&settled, &deviations, &sample, f64::INFINITY).ok()?;
    let shape = settled.shape.unscaled(&data.centre, data.scale);
    Some(shape.signed(data.mean_normal(&sample)).into())
}

/// A start from the normals alone where they give one, else from all candidates.
fn fresh<M: Model<N>, const N: usize>(data: &Data<'_>, sample: &Sample) -> Option<M> {
    let oriented = sample.oriented();
    if M::ORIENTED && oriented.points.len() >= M::ELEMENTAL {
        return M::elemental(&oriented.points, &oriented.normals);
    }
    start::least_squares::<M, N>(data, sample).ok()
}

/// Points a refit looks at.
const POINTS: usize = 384;
/// Iterations of a refit.
const PASSES: usize = 12;

#[cfg(test)]
mod tests {
    use super::*;

    fn half_pipe(length: i32) -> (Vec<Point3>, Vec<Vec3>) {
        let at = |i: i32| {
            let (sin, cos) = f64::from(i % 60 * 3).to_radians().sin_cos();
            let normal = Vec3::new(cos, sin, 0.0);
            (Point3::from(normal * 5.0 + Vec3::z() * f64::from(i / 60)), normal)
        };
        (0..60 * length).map(at).unzip()
    }

    #[test]
    fn a_growing_pipe_is_followed() {
        for length in [3, 6, 12] {
            let (points, normals) = half_pipe(length);
            let Some(Primitive::Cylinder(found)) = refit(Kind::Cylinder, &points, &normals) else {
                panic!("a cylinder of length {length}")
            };
            assert!((found.radius - 5.0).abs() < 1e-9);
            assert!((found.axis.z - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_plane_is_no_cylinder() {
        let points: Vec<_> =
            (0..100).map(|i| Point3::new(f64::from(i % 10), f64::from(i / 10), 0.0)).collect();
        let normals = vec![Vec3::z(); 100];
        assert!(refit(Kind::Cylinder, &points, &normals).is_none());
        assert!(refit(Kind::Plane, &points, &normals).is_some());
    }
}
