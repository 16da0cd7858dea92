//! How to cut a place open so that the cut shows a profile.
//!
//! Surfaces that run on (a bar, an edge, a pipe) have their normals square to the direction they
//! run in. The direction square to the witness line along which the area-weighted normals nearby
//! have the least spread is taken as the normal of the cut (principal directions of the normal
//! tensor, as in Medioni, Lee, Tang, 2000, "A Computational Framework for Segmentation and Grouping").

use nalgebra::{Matrix2, Matrix3};
use rayon::prelude::*;

use crate::primitive::{Direction, Point3, Vec3, any_perpendicular, unit};

use super::picture::Mesh;

/// Normal of a cut that holds a witness line, towards the general view's side.
///
/// Where the surfaces within `reach` (mm) of `middle` run in no direction of their own, a machine
/// axis is taken that is square to the witness within ten degrees, else the general view's own.
pub(super) fn cut_normal(
    meshes: &[Mesh<'_>],
    middle: &Point3,
    reach: f64,
    witness: &Direction,
    general: &Direction,
) -> Direction {
    let tensor: Matrix3<f64> = meshes.iter().map(|m| normal_tensor(m, middle, reach)).sum();
    let square = |d: &Vec3| unit(d - witness.into_inner() * witness.dot(d));
    let run = running(&tensor, witness);
    let near_axis = |d: Direction| AXES.into_iter().find(|a| a.dot(&d).abs() > SNAP).unwrap_or(*d);
    let facing = |d: Direction| if d.dot(general) < 0.0 { -d } else { d };
    if let Some(normal) = run.and_then(|d| square(&near_axis(d))) {
        return facing(normal);
    }
    AXES.into_iter()
        .filter(|a| a.dot(witness).abs() < 0.17)
        .max_by(|a, b| a.dot(general).abs().total_cmp(&b.dot(general).abs()))
        .and_then(|a| square(&a))
        .or_else(|| square(general).filter(|_| general.dot(witness).abs() < 0.99))
        .map_or_else(|| any_perpendicular(witness), facing)
}

/// Direction square to the witness along which the surfaces run on, if one stands out.
fn running(tensor: &Matrix3<f64>, witness: &Direction) -> Option<Direction> {
    let u = any_perpendicular(witness).into_inner();
    let v = witness.cross(&u);
    let flat = Matrix2::new(
        u.dot(&(tensor * u)),
        u.dot(&(tensor * v)),
        u.dot(&(tensor * v)),
        v.dot(&(tensor * v)),
    );
    let eigen = flat.symmetric_eigen();
    let least = usize::from(eigen.eigenvalues[1] < eigen.eigenvalues[0]);
    let (low, high) = (eigen.eigenvalues[least], eigen.eigenvalues[1 - least]);
    if high < FLAT * tensor.trace() || low > DISTINCT * high {
        return None;
    }
    let d = eigen.eigenvectors.column(least);
    unit(u * d[0] + v * d[1])
}

/// Sum of area times the square of the normal over the triangles near a place.
fn normal_tensor(mesh: &Mesh<'_>, middle: &Point3, reach: f64) -> Matrix3<f64> {
    let centre = mesh.machine_from_mesh.inverse_transform_point(middle);
    let near = |p: &Point3| (p - centre).norm_squared() < reach * reach;
    let part = |t: &[u32; 3]| -> Option<Matrix3<f64>> {
        let p = |i: usize| mesh.points.get(t[i] as usize);
        let (a, b, c) = (p(0)?, p(1)?, p(2)?);
        if !near(a) && !near(b) && !near(c) {
            return None;
        }
        let area = (b - a).cross(&(c - a));
        let size = area.norm();
        (size > 0.0).then(|| area * area.transpose() / size)
    };
    let sum = |chunk: &[[u32; 3]]| chunk.iter().filter_map(part).sum::<Matrix3<f64>>();
    let sums: Vec<Matrix3<f64>> = mesh.triangles.par_chunks(CHUNK).map(sum).collect();
    let turn = mesh.machine_from_mesh.rotation.to_rotation_matrix();
    turn.matrix() * sums.into_iter().sum::<Matrix3<f64>>() * turn.matrix().transpose()
}

const AXES: [Vec3; 3] =
    [Vec3::new(1.0, 0.0, 0.0), Vec3::new(0.0, 1.0, 0.0), Vec3::new(0.0, 0.0, 1.0)];
/// Cosine of ten degrees: nearer to a machine axis than this, the axis itself is taken.
const SNAP: f64 = 0.985;
/// Share of the normals that must lie across the witness before a direction means anything.
const FLAT: f64 = 0.03;
/// Least spread over largest at which a direction no longer stands out.
const DISTINCT: f64 = 0.6;
/// Triangles summed as one piece.
const CHUNK: usize = 1 << 15;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::primitive::Pose;
    use crate::report::picture::Paint;

    /// A gable roof whose ridge runs along (cos 20°, sin 20°, 0): its profile is seen along that.
    #[test]
    fn a_ridge_is_cut_across() {
        let (sin, cos) = 20f64.to_radians().sin_cos();
        let along = Vec3::new(cos, sin, 0.0);
        let side = Vec3::new(-sin, cos, 0.0);
        let corner = |a: f64, s: f64, z: f64| Point3::from(along * a + side * s + Vec3::z() * z);
        let points = [
            corner(-50.0, -10.0, -10.0),
            corner(50.0, -10.0, -10.0),
            corner(50.0, 0.0, 0.0),
            corner(-50.0, 0.0, 0.0),
            corner(50.0, 10.0, -10.0),
            corner(-50.0, 10.0, -10.0),
        ];
        let triangles = [[0, 1, 2], [0, 2, 3], [3, 2, 4], [3, 4, 5]];
        let mesh = Mesh {
            points: &points,
            triangles: &triangles,
            normals: None,
            machine_from_mesh: Pose::identity(),
            paint: Paint::Scan,
            point_radius: 0.0,
        };
        let general = Direction::new_normalize(Vec3::new(0.5, -0.8, 0.6));
        let normal = cut_normal(&[mesh], &Point3::origin(), 60.0, &Vec3::z_axis(), &general);
        assert!(normal.dot(&along).abs() > 1.0 - 1e-12);
        let flat = cut_normal(&[], &Point3::origin(), 60.0, &Vec3::z_axis(), &general);
        assert!((flat.into_inner() + Vec3::y()).norm() < 1e-12);
    }
}
