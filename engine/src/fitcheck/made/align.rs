//! Where the scan of a made part lies on its model: from any pose, by the model's surface.
//!
//! Starts are the sixty rotations of the icosahedron (no rotation is farther than 45 degrees from one of them) and
//! the four agreements of the principal axes. Each is moved onto the surface by steps of point to plane (Y. Chen,
//! G. Medioni 1992, "Object modelling by registration of multiple range images") with the weights of J. Tukey's
//! biweight, coarse to fine; the best few are taken to the end. A model that looks the same from two sides is told
//! by its second best pose, not guessed.

use nalgebra::{Matrix6, SMatrix, SymmetricEigen, UnitQuaternion, Vector6};
use rayon::prelude::*;

use crate::associate::Covariance;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose, Vec3, unit};
use crate::solid::Solid;

/// A model to lay scans on.
pub(super) struct Model<'a> {
    pub(super) solid: &'a Solid,
    pub(super) points: &'a [Point3],
    pub(super) triangles: &'a [[u32; 3]],
}

/// The scan on the model.
#[derive(Debug, Clone)]
pub(super) struct Aligned {
    pub(super) part_from_scan: Pose,
    /// Of the pose, as a small motion of the scan.
    pub(super) covariance: Covariance,
}

impl Model<'_> {
    /// From any pose; `noise`: of a point of the scan, mm.
    pub(super) fn find(&self, scan: &[Point3], noise: f64) -> Result<Pose> {
        let coarse = sample(scan, COARSE);
        let middle = mean(&coarse);
        let (own, its) = (axes(&self.surface_sample()), axes(&coarse));
        let flips = [[1.0, 1.0], [1.0, -1.0], [-1.0, 1.0], [-1.0, -1.0]];
        let turned = flips.map(|[a, b]| {
            let columns = [own.1.column(0) * a, own.1.column(1) * b];
            let third = columns[0].cross(&columns[1]);
            let to = nalgebra::Matrix3::from_columns(&[columns[0], columns[1], third]);
            UnitQuaternion::from_matrix(&(to * its.1.transpose()))
        });
        let starts: Vec<UnitQuaternion<f64>> =
            turned.into_iter().chain(icosahedral_rotations()).collect();
        let size = scan.iter().map(|p| (p - middle).norm()).fold(0.0, f64::max);
        let try_one = |turn: &UnitQuaternion<f64>| {
            let start = Pose::from_parts((own.0.coords - turn * middle.coords).into(), *turn);
            self.settle(start, &coarse, noise, COARSE_STEPS)
        };
        let mut tried: Vec<(f64, Pose)> = starts.par_iter().map(try_one).collect();
        tried.sort_by(|a, b| a.0.total_cmp(&b.0));
        tried.truncate(KEPT);
        let fine = sample(scan, FINE);
        let mut settled: Vec<(f64, Pose)> =
            tried.par_iter().map(|t| self.settle(t.1, &fine, noise, FINE_STEPS)).collect();
        settled.sort_by(|a, b| a.0.total_cmp(&b.0));
        let best = settled[0];
        if best.0 > LOST * size {
            return Err(Error::Join {
                reason: format!(
                    "the scan of the made part does not lie on the model: its points are {:.3} mm off in the mean; \
                     is it this part, in this unit?",
                    best.0
                ),
            });
        }
        let other = |p: &Pose| {
            let apart = |q: &Point3| ((best.1 * q) - (p * q)).norm();
            coarse.iter().map(apart).fold(0.0, f64::max) > SAME * size
        };
        if let Some(second) = settled.iter().find(|s| other(&s.1))
            && second.0 < AMBIGUOUS * best.0.max(noise).max(EXACT * size)
        {
            return Err(Error::Join {
                reason: format!(
                    "the scan of the made part lies on the model in two ways, {:.3} and {:.3} mm off in the mean; \
                     give three pairs of points in `start`",
                    best.0, second.0
                ),
            });
        }
        Ok(best.1)
    }

    /// Moves a pose to where the chosen points lie best, with its covariance; they are worth `independent` points.
    pub(super) fn refine(
        &self,
        start: Pose,
        scan: &[Point3],
        noise: f64,
        choose: &(dyn Fn(&Point3) -> bool + Sync),
        independent: f64,
    ) -> Result<Aligned> {
        let mut pose = start;
        let mut last = None;
        for _ in 0..REFINED_STEPS {
            let chosen: Vec<Point3> =
                scan.iter().copied().filter(|p| choose(&(pose * p))).collect();
            let Some(step) = self.step(&pose, &chosen, noise) else { break };
            pose = step.pose;
            let done = step.moved < 1e-9 * step.size;
            last = Some(step);
            if done {
                break;
            }
        }
        let step = last.ok_or_else(|| Error::Undetermined {
            what: "pose of the made part".into(),
            reason: "none of its points lies near the faces it is to be laid on".into(),
            remedy: "lay it on the whole model, or scan those faces".into(),
        })?;
        let eigen = SymmetricEigen::new(step.normal);
        let largest = eigen.eigenvalues.max();
        if eigen.eigenvalues.min() < FREE * largest {
            return Err(Error::Undetermined {
                what: "pose of the made part".into(),
                reason: "the faces it is laid on leave a direction or a turn free".into(),
                remedy: "lay it on the whole model, or mount it on two holes".into(),
            });
        }
        let share = (independent / step.weight).min(1.0);
        let inverse = step.normal.try_inverse().unwrap_or_else(Matrix6::zeros);
        let unscaled = inverse * (step.scale * step.scale / share);
        let mut matrix = SMatrix::<f64, 8, 8>::zeros();
        let levers = Vector6::new(1.0, 1.0, 1.0, step.size, step.size, step.size);
        for i in 0..6 {
            for k in 0..6 {
                matrix[(i, k)] = unscaled[(i, k)] / (levers[i] * levers[k]);
            }
        }
        Ok(Aligned { part_from_scan: pose, covariance: Covariance { at: step.about, matrix } })
    }

    /// Steps from a start; the mean distance in the end, far ones counted as [`FAR`]. (A plate turned over shares
    /// most of its faces with itself: a median would not tell.)
    fn settle(&self, start: Pose, scan: &[Point3], noise: f64, steps: usize) -> (f64, Pose) {
        let mut pose = start;
        for _ in 0..steps {
            let Some(step) = self.step(&pose, scan, noise) else { break };
            pose = step.pose;
            if step.moved < 1e-6 * step.size {
                break;
            }
        }
        let middle = mean(scan);
        let far = FAR * scan.iter().map(|p| (p - middle).norm()).fold(0.0, f64::max);
        let off = scan.iter().filter_map(|p| self.solid.signed(&(pose * p), f64::INFINITY));
        let sum: f64 = off.map(|h| h.distance.abs().min(far)).sum();
        (sum / scan.len().max(1) as f64, pose)
    }

    fn step(&self, pose: &Pose, scan: &[Point3], noise: f64) -> Option<Step> {
        let moved: Vec<Point3> = scan.iter().map(|p| pose * p).collect();
        let about = mean(&moved);
        let size = moved.iter().map(|p| (p - about).norm()).fold(0.0, f64::max);
        let hits = self.solid.signed_all(&moved, f64::INFINITY);
        let rows: Vec<(f64, Vector6<f64>)> = moved
            .iter()
            .zip(&hits)
            .filter_map(|(p, h)| {
                let h = h.as_ref()?;
                let normal = self.normal(h.triangle)?;
                let arm = (p - about).cross(&normal) / size;
                let row = Vector6::new(normal.x, normal.y, normal.z, arm.x, arm.y, arm.z);
                Some(((p - h.point).dot(&normal), row))
            })
            .collect();
        if rows.len() < 6 || size <= 0.0 {
            return None;
        }
        let mut off: Vec<f64> = rows.iter().map(|r| r.0.abs()).collect();
        let scale = (1.4826 * crate::numeric::robust::median(&mut off)).max(noise).max(1e-9 * size);
        let cut = BIWEIGHT * scale;
        let (mut normal, mut right, mut weight) = (Matrix6::zeros(), Vector6::zeros(), 0.0);
        for (distance, row) in &rows {
            let w = (1.0 - (distance / cut).powi(2)).max(0.0).powi(2);
            normal += row * row.transpose() * w;
            right -= row * (w * distance);
            weight += w;
        }
        // A shaft that turns freely stays as it is.
        let damped = normal + Matrix6::identity() * (1e-9 * normal.trace());
        let x = damped.cholesky()?.solve(&right);
        let (shift, turn) = (x.fixed_rows::<3>(0).into_owned(), x.fixed_rows::<3>(3) / size);
        let motion =
            Pose::from_parts((about.coords + shift).into(), UnitQuaternion::from_scaled_axis(turn))
                * Pose::translation(-about.x, -about.y, -about.z);
        let moved = shift.norm() + turn.norm() * size;
        Some(Step { pose: motion * pose, moved, size, about, normal, weight, scale })
    }

    fn normal(&self, triangle: u32) -> Option<Vec3> {
        let [a, b, c] = self.triangles[triangle as usize].map(|i| self.points[i as usize]);
        unit((b - a).cross(&(c - a))).map(|n| n.into_inner())
    }

    /// Points spread over the surface by area.
    fn surface_sample(&self) -> Vec<Point3> {
        let corners = |t: &[u32; 3]| t.map(|i| self.points[i as usize]);
        let area = |t: &[u32; 3]| {
            let [a, b, c] = corners(t);
            0.5 * (b - a).cross(&(c - a)).norm()
        };
        let all: f64 = self.triangles.iter().map(area).sum();
        let every = all / COARSE as f64;
        let (mut passed, mut out) = (0.0, Vec::new());
        for t in self.triangles {
            let own = area(t);
            let count = (((passed + own) / every).floor() - (passed / every).floor()) as usize;
            let [a, b, c] = corners(t);
            for k in 0..count {
                // Kronecker points on the triangle (M. Roberts 2018, plastic number), even without a generator.
                let (mut u, mut v) = (
                    (0.5 + 0.754_877_666 * k as f64).fract(),
                    (0.5 + 0.569_840_291 * k as f64).fract(),
                );
                if u + v > 1.0 {
                    (u, v) = (1.0 - u, 1.0 - v);
                }
                out.push(a + (b - a) * u + (c - a) * v);
            }
            passed += own;
        }
        out
    }
}

/// One step of point to plane.
struct Step {
    pose: Pose,
    /// How far it moved the farthest point, mm.
    moved: f64,
    size: f64,
    about: Point3,
    /// Normal matrix in shifts and in turns times `size`.
    normal: Matrix6<f64>,
    weight: f64,
    /// Robust deviation of the distances, mm.
    scale: f64,
}

/// Middle and principal axes, the longest first.
fn axes(points: &[Point3]) -> (Point3, nalgebra::Matrix3<f64>) {
    let middle = mean(points);
    let spread: nalgebra::Matrix3<f64> =
        points.iter().map(|p| (p - middle) * (p - middle).transpose()).sum();
    let eigen = SymmetricEigen::new(spread);
    let mut order = [0, 1, 2];
    order.sort_by(|&a, &b| eigen.eigenvalues[b].total_cmp(&eigen.eigenvalues[a]));
    let first = eigen.eigenvectors.column(order[0]).into_owned();
    let second = eigen.eigenvectors.column(order[1]).into_owned();
    (middle, nalgebra::Matrix3::from_columns(&[first, second, first.cross(&second)]))
}

fn mean(points: &[Point3]) -> Point3 {
    let sum: Vec3 = points.iter().map(|p| p.coords).sum();
    Point3::from(sum / points.len().max(1) as f64)
}

/// About `count` of the points, evenly through their order.
fn sample(points: &[Point3], count: usize) -> Vec<Point3> {
    points.iter().copied().step_by(points.len().div_ceil(count).max(1)).collect()
}

/// The sixty rotations of the icosahedron, made by its turns about a corner and about a face.
fn icosahedral_rotations() -> Vec<UnitQuaternion<f64>> {
    let golden = (1.0 + 5f64.sqrt()) / 2.0;
    let turn = |axis: [f64; 3], by: f64| {
        let axis = nalgebra::Unit::new_normalize(Vec3::from(axis));
        UnitQuaternion::from_axis_angle(&axis, by)
    };
    let makers = [
        turn([0.0, 1.0, golden], std::f64::consts::TAU / 5.0),
        turn([1.0, 1.0, 1.0], std::f64::consts::TAU / 3.0),
    ];
    let mut all = vec![UnitQuaternion::identity()];
    let mut next = 0;
    while next < all.len() {
        for maker in makers {
            let made = maker * all[next];
            if all.iter().all(|q| q.angle_to(&made) > 0.1) {
                all.push(made);
            }
        }
        next += 1;
    }
    all
}

/// Points of a first try and of the best few.
const COARSE: usize = 600;
const FINE: usize = 4000;
const COARSE_STEPS: usize = 25;
const FINE_STEPS: usize = 60;
const REFINED_STEPS: usize = 40;
/// Starts that are taken to the end.
const KEPT: usize = 8;
/// Share of the scan's size by which two poses differ.
const SAME: f64 = 0.02;
/// Distance, as a share of the scan's size, from which it no longer matters how far off a point is.
const FAR: f64 = 0.05;
/// A second pose with a mean distance of less than this many times the best leaves open which it is.
const AMBIGUOUS: f64 = 1.5;
/// Mean distance, as a share of the scan's size, that no scan is better than.
const EXACT: f64 = 1e-5;
/// Mean distance, as a share of the scan's size, from which the scan is of something else.
const LOST: f64 = 0.01;
/// Smallest eigenvalue over the largest below which a direction is free.
const FREE: f64 = 1e-6;
/// Cut of the biweight in deviations (95 % efficiency on normal noise).
const BIWEIGHT: f64 = 4.685;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_icosahedron_has_sixty_rotations() {
        assert_eq!(icosahedral_rotations().len(), 60);
    }
}
