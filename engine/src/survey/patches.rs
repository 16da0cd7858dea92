//! A scan cut into small patches: the points of one cell of a grid that face the same way.
//!
//! Everything that follows works on patches, which are some ten times fewer than points and whose
//! normals, averaged with their neighbours', are far quieter.

use nalgebra::Matrix3;
use rayon::prelude::*;

use crate::primitive::{Point3, Vec3, unit};
use crate::scan::Scan;

/// The patches of a scan.
#[derive(Debug)]
pub(super) struct Patches {
    /// Patch of each point.
    pub(super) of_point: Vec<u32>,
    /// First position of each patch in `ids`, and their end.
    start: Vec<u32>,
    ids: Vec<u32>,
    /// Mean position, mm.
    pub(super) middle: Vec<Point3>,
    /// Unit normal of the patch with its neighbours.
    pub(super) normal: Vec<Vec3>,
    near_start: Vec<u32>,
    near: Vec<u32>,
}

/// Count, mean, mean normal and scatter about the mean of some points.
#[derive(Clone, Copy)]
struct Moments {
    count: f64,
    mean: Vec3,
    normal: Vec3,
    scatter: Matrix3<f64>,
}

impl Patches {
    /// Cuts a scan into cells of the given side, mm.
    pub(super) fn new(scan: &Scan, side: f64) -> Self {
        let (points, normals) = (scan.points(), scan.normals());
        let low = points.par_iter().map(|p| p.coords).reduce(|| points[0].coords, |a, b| a.inf(&b));
        let mut keyed: Vec<(u64, u32)> = points
            .par_iter()
            .zip(normals)
            .enumerate()
            .with_min_len(CHUNK)
            .map(|(i, (p, n))| (key(&((p.coords - low) / side), n), i as u32))
            .collect();
        keyed.par_sort_unstable();
        let ids: Vec<u32> = keyed.par_iter().with_min_len(CHUNK).map(|k| k.1).collect();
        let mut start = Vec::new();
        let mut of_point = vec![0; points.len()];
        let mut last = None;
        for (i, &(key, id)) in keyed.iter().enumerate() {
            if last != Some(key) {
                start.push(i as u32);
                last = Some(key);
            }
            of_point[id as usize] = start.len() as u32 - 1;
        }
        start.push(ids.len() as u32);
        drop(keyed);
        let count = start.len() - 1;
        let (near_start, near) = adjacency(scan, &start, &ids, &of_point);
        let mut patches = Patches {
            of_point,
            start,
            ids,
            middle: Vec::new(),
            normal: Vec::new(),
            near_start,
            near,
        };
        let own: Vec<Moments> = (0..count)
            .into_par_iter()
            .with_min_len(256)
            .map(|k| Moments::of(patches.points(k as u32), points, normals))
            .collect();
        patches.middle = own.iter().map(|m| Point3::from(m.mean)).collect();
        patches.normal = (0..count as u32)
            .into_par_iter()
            .with_min_len(256)
            .map(|k| {
                let me = &own[k as usize];
                let facing = unit(me.normal).map_or(me.normal, |n| n.into_inner());
                let mut sum = *me;
                for &j in patches.near(k) {
                    let other = &own[j as usize];
                    let along = unit(other.normal).map_or(0.0, |n| n.dot(&facing));
                    if along > ALIKE {
                        sum = sum.with(other);
                    }
                }
                let axis = sum.scatter.symmetric_eigen();
                let least = axis.eigenvalues.imin();
                let n: Vec3 = axis.eigenvectors.column(least).into();
                if n.dot(&facing) < 0.0 { -n } else { n }
            })
            .collect();
        patches
    }

    pub(super) fn len(&self) -> usize {
        self.start.len() - 1
    }

    /// Points of a patch.
    pub(super) fn points(&self, patch: u32) -> &[u32] {
        &self.ids[self.start[patch as usize] as usize..self.start[patch as usize + 1] as usize]
    }

    /// Neighbouring patches.
    pub(super) fn near(&self, patch: u32) -> &[u32] {
        &self.near
            [self.near_start[patch as usize] as usize..self.near_start[patch as usize + 1] as usize]
    }
}

impl Moments {
    fn of(ids: &[u32], points: &[Point3], normals: &[Vec3]) -> Self {
        let count = ids.len() as f64;
        let (mut mean, mut normal) = (Vec3::zeros(), Vec3::zeros());
        for &i in ids {
            mean += points[i as usize].coords;
            normal += normals[i as usize];
        }
        mean /= count;
        let mut scatter = Matrix3::zeros();
        for &i in ids {
            let v = points[i as usize].coords - mean;
            scatter += v * v.transpose();
        }
        Moments { count, mean, normal, scatter }
    }

    fn with(&self, other: &Self) -> Self {
        let count = self.count + other.count;
        let apart = other.mean - self.mean;
        let mean = self.mean + apart * (other.count / count);
        let between = apart * apart.transpose() * (self.count * other.count / count);
        let scatter = self.scatter + other.scatter + between;
        Moments { count, mean, normal: self.normal + other.normal, scatter }
    }
}

/// Cell of a point and the axis its normal is nearest to.
fn key(cell: &Vec3, normal: &Vec3) -> u64 {
    let axis = normal.iamax();
    let way = (axis as u64) << 1 | u64::from(normal[axis] < 0.0);
    let at = |k: usize| (cell[k].max(0.0) as u64).min(MOST_CELLS);
    at(0) << 43 | at(1) << 23 | at(2) << 3 | way
}

/// Patches that hold neighbouring points, ascending.
fn adjacency(scan: &Scan, start: &[u32], ids: &[u32], of_point: &[u32]) -> (Vec<u32>, Vec<u32>) {
    let count = start.len() - 1;
    let lists: Vec<Vec<u32>> = (0..count.div_ceil(BLOCK))
        .into_par_iter()
        .map(|block| {
            let mut all = Vec::new();
            let mut own: Vec<u32> = Vec::new();
            for k in block * BLOCK..((block + 1) * BLOCK).min(count) {
                own.clear();
                for &i in &ids[start[k] as usize..start[k + 1] as usize] {
                    for &n in scan.neighbours(i) {
                        let other = of_point[n as usize];
                        if other != k as u32 && !own.contains(&other) {
                            own.push(other);
                        }
                    }
                }
                own.sort_unstable();
                all.push(own.len() as u32);
                all.extend_from_slice(&own);
            }
            all
        })
        .collect();
    let mut near_start = Vec::with_capacity(count + 1);
    let mut near = Vec::new();
    near_start.push(0);
    for list in lists {
        let mut at = 0;
        while at < list.len() {
            let n = list[at] as usize;
            near.extend_from_slice(&list[at + 1..at + 1 + n]);
            near_start.push(near.len() as u32);
            at += n + 1;
        }
    }
    (near_start, near)
}

/// Cosine up to which a neighbour's normal is averaged in.
const ALIKE: f64 = 0.8;
/// Cells along one axis less one.
const MOST_CELLS: u64 = (1 << 20) - 1;
const CHUNK: usize = 8192;
const BLOCK: usize = 512;
