//! A scan thinned to one point a cell, with the mean normal.

use rayon::prelude::*;

use crate::primitive::{Point3, Vec3};
use crate::scan::{PointIndex, Scan};

/// Points of a scan thinned to one a cell.
pub(super) struct Thinned {
    pub(super) points: Vec<Point3>,
    pub(super) normals: Vec<Vec3>,
    /// Whether the cell holds points of the border.
    pub(super) border: Vec<bool>,
    pub(super) index: PointIndex,
    /// Edge of a cell, mm.
    pub(super) edge: f64,
}

impl Thinned {
    /// Cells in which normals cancel out (both sides of a sheet, a crest) are left out.
    pub(super) fn new(scan: &Scan, edge: f64) -> Self {
        let normals = scan.normals();
        let cell = |i: u32| scan.points()[i as usize].coords.map(|x| (x / edge).floor() as i64);
        let mut keyed: Vec<([i64; 3], u32)> = (0..scan.points().len() as u32)
            .into_par_iter()
            .filter(|&i| normals[i as usize] != Vec3::zeros())
            .map(|i| (cell(i).into(), i))
            .collect();
        keyed.par_sort_unstable();
        let (mut points, mut mean, mut border) = (Vec::new(), Vec::new(), Vec::new());
        for group in keyed.chunk_by(|a, b| a.0 == b.0) {
            let count = group.len() as f64;
            let place: Vec3 = group.iter().map(|g| scan.points()[g.1 as usize].coords).sum();
            let normal: Vec3 = group.iter().map(|g| normals[g.1 as usize]).sum();
            let length = normal.norm();
            if length < LEAST_NORMAL * count {
                continue;
            }
            points.push(Point3::from(place / count));
            mean.push(normal / length);
            border.push(group.iter().any(|g| scan.is_border(g.1)));
        }
        Thinned { index: PointIndex::new(&points), points, normals: mean, border, edge }
    }
}

/// Length of the mean of a cell's unit normals below which it has no direction.
const LEAST_NORMAL: f64 = 0.5;
