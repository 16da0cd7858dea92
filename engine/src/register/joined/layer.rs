//! A scan made ready for comparison: which triangles meet in a point, and how well each place is known.

use std::collections::HashMap;

use rayon::prelude::*;

use super::Placed;
use crate::associate::Covariance;
use crate::primitive::{Direction, Point3, Pose, Vec3, unit};
use crate::scan::Scan;

/// One of the scans.
pub(super) struct Layer<'a> {
    pub(super) scan: &'a Scan,
    pub(super) all_from_this: Pose,
    pub(super) this_from_all: Pose,
    covariance: Option<&'a Covariance>,
    /// Whether its triangles count; else its points.
    pub(super) mesh: bool,
    /// Spacing and noise of the whole scan, mm.
    pub(super) resolution: f64,
    pub(super) noise: f64,
    /// Corners of its box, own coordinates.
    pub(super) low: Point3,
    pub(super) high: Point3,
    /// Triangles of each point: `fans[starts[id]..starts[id + 1]]`.
    starts: Vec<u32>,
    fans: Vec<u32>,
    /// Variance of the averaged surface at each point without that of the join, mm².
    variance: Vec<f32>,
    /// Spacing at each point, mm.
    pub(super) spacing: Vec<f32>,
}

impl<'a> Layer<'a> {
    pub(super) fn new(placed: &Placed<'a>, mesh: bool, coarsest: f64) -> Self {
        let scan = placed.scan;
        let (low, high) = super::super::pairing::bounds(scan.points());
        let (starts, fans) = if mesh { fans(scan) } else { (Vec::new(), Vec::new()) };
        let mut layer = Layer {
            scan,
            all_from_this: placed.all_from_this,
            this_from_all: placed.all_from_this.inverse(),
            covariance: placed.covariance,
            mesh,
            resolution: scan.resolution(),
            noise: scan.noise(),
            low,
            high,
            starts,
            fans,
            variance: Vec::new(),
            spacing: Vec::new(),
        };
        layer.judge(coarsest);
        layer
    }

    /// Number of triangles, or of points.
    pub(super) fn count(&self) -> usize {
        if self.mesh { self.scan.triangles().len() } else { self.scan.points().len() }
    }

    /// Middle and unit normal of a triangle or point, own coordinates.
    pub(super) fn place(&self, element: u32) -> (Point3, Vec3) {
        let (points, normals) = (self.scan.points(), self.scan.normals());
        if !self.mesh {
            return (points[element as usize], normals[element as usize]);
        }
        let corners = self.scan.triangles()[element as usize].map(|id| id as usize);
        let middle = corners.iter().map(|&id| points[id].coords).sum::<Vec3>() / 3.0;
        // Of the corners, whose normals are calmer than a small triangle's own.
        let normal = corners.iter().map(|&id| normals[id]).sum::<Vec3>();
        (middle.into(), unit(normal).map_or_else(Vec3::zeros, Direction::into_inner))
    }

    /// Triangles at a point.
    pub(super) fn fan(&self, id: u32) -> &[u32] {
        let id = id as usize;
        &self.fans[self.starts[id] as usize..self.starts[id + 1] as usize]
    }

    /// Variance of the join across the surface at a place of all's coordinates, mm².
    pub(super) fn join_variance(&self, at: &Point3, normal: &Vec3) -> f64 {
        let Some(covariance) = self.covariance else { return 0.0 };
        unit(*normal).map_or(0.0, |n| covariance.variance_along(at, &n))
    }

    /// Variance of the averaged surface at a triangle or point, mm²: own, and of the join.
    pub(super) fn variance(&self, element: u32, at: &Point3, normal: &Vec3) -> f64 {
        let own = match self.mesh {
            true => {
                let corners = self.scan.triangles()[element as usize];
                corners.iter().map(|&id| f64::from(self.variance[id as usize])).sum::<f64>() / 3.0
            }
            false => f64::from(self.variance[element as usize]),
        };
        own + self.join_variance(at, normal)
    }

    /// What neighbours do not explain of a point's height, squared, and the mean square distance to them, mm².
    fn roughness(&self, id: u32) -> (Option<f64>, f64) {
        let (points, around) = (self.scan.points(), self.scan.neighbours(id));
        if around.is_empty() {
            return (None, self.resolution.powi(2));
        }
        let (p, count) = (points[id as usize], around.len() as f64);
        let ways: Vec3 = around.iter().map(|&i| points[i as usize] - p).sum();
        let square: f64 = around.iter().map(|&i| (points[i as usize] - p).norm_squared()).sum();
        let height = self.scan.normals()[id as usize].dot(&ways) / count;
        // The mean of the neighbours has noise of its own.
        let alone = height.powi(2) * count / (count + 1.0);
        let nearest = if self.mesh { 1.0 } else { CLOUD_SPACING };
        ((!self.scan.is_border(id)).then_some(alone), square / count * nearest * nearest)
    }

    /// Judges every point by the cell of space it lies in.
    fn judge(&mut self, coarsest: f64) {
        let points = self.scan.points();
        let side = CELL * coarsest.max(f64::MIN_POSITIVE);
        let cell = |p: &Point3| [p.x, p.y, p.z].map(|c| (c / side).floor() as i64);
        let all: Vec<(Option<f64>, f64)> =
            (0..points.len() as u32).into_par_iter().map(|id| self.roughness(id)).collect();
        let mut cells: HashMap<[i64; 3], Sums> = HashMap::new();
        let mut whole = Sums::default();
        for (p, r) in points.iter().zip(&all) {
            cells.entry(cell(p)).or_default().add(r);
            whole.add(r);
        }
        let (usual_height, usual_square) = (whole.height(0.0, 0.0), whole.square(0.0, 0.0));
        let patch = (2.0 * coarsest).powi(2).max(f64::MIN_POSITIVE);
        let judged: Vec<(f32, f32)> = (0..points.len() as u32)
            .into_par_iter()
            .map(|id| {
                let sums = &cells[&cell(&points[id as usize])];
                let square = sums.square(PRIOR, usual_square);
                let height = sums.height(PRIOR, usual_height) + BETWEEN * square;
                let border = if self.near_border(id) { BORDER * BORDER } else { 1.0 };
                ((border * height * square / patch) as f32, square.sqrt() as f32)
            })
            .collect();
        (self.variance, self.spacing) = judged.into_iter().unzip();
    }

    fn near_border(&self, id: u32) -> bool {
        let scan = self.scan;
        scan.is_border(id) || scan.neighbours(id).iter().any(|&i| scan.is_border(i))
    }
}

/// Sums over the points of a cell.
#[derive(Default)]
struct Sums {
    inner: f64,
    heights: f64,
    points: f64,
    squares: f64,
}

impl Sums {
    fn add(&mut self, (height, square): &(Option<f64>, f64)) {
        if let Some(h) = height {
            self.inner += 1.0;
            self.heights += h;
        }
        self.points += 1.0;
        self.squares += square;
    }

    /// Mean, together with `weight` points that have the usual value.
    fn height(&self, weight: f64, usual: f64) -> f64 {
        (self.heights + weight * usual) / (self.inner + weight).max(1.0)
    }

    fn square(&self, weight: f64, usual: f64) -> f64 {
        (self.squares + weight * usual) / (self.points + weight).max(1.0)
    }
}

/// Triangles by point: counted, then placed.
fn fans(scan: &Scan) -> (Vec<u32>, Vec<u32>) {
    let corners = scan.triangles().as_flattened();
    let mut starts = vec![0_u32; scan.points().len() + 1];
    corners.iter().for_each(|&id| starts[id as usize + 1] += 1);
    for k in 1..starts.len() {
        starts[k] += starts[k - 1];
    }
    let mut next = starts.clone();
    let mut fans = vec![0; corners.len()];
    for (k, &id) in corners.iter().enumerate() {
        let place = &mut next[id as usize];
        fans[*place as usize] = (k / 3) as u32;
        *place += 1;
    }
    (starts, fans)
}

/// Side of the cells that quality is averaged in, in spacings of the coarsest scan: some hundred of its points.
const CELL: f64 = 12.0;
/// Points of usual quality that are added to each cell, so that a few odd ones do not decide.
const PRIOR: f64 = 20.0;
/// How many times as uncertain a scan's border counts.
const BORDER: f64 = 2.0;
/// What is not known of the surface between points, squared, as a share of the squared spacing: it decides where
/// there is no noise.
const BETWEEN: f64 = 1e-4;
/// Spacing over the root mean square distance of the twelve nearest on a square grid: `sqrt(12 / 28)`.
const CLOUD_SPACING: f64 = 0.655;
