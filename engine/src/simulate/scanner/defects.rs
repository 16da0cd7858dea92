//! The faults of a real scan: noise, outliers, points that fly off at borders, spots where nothing is seen.

use std::collections::{HashMap, HashSet};

use rayon::prelude::*;

use super::super::random::{Random, SmoothField};
use super::extract::Mesh;
use super::{Scanner, SimulatedScan};
use crate::primitive::{Point3, Pose};

/// Clears what lies on target dots and shiny spots.
pub(super) fn drop_spots(mesh: &Mesh, seen: &mut [bool], scanner: &Scanner) {
    let mut random = Random::stream(scanner.seed, SPOTS);
    let visible: Vec<u32> = (0..).zip(&*seen).filter(|(_, s)| **s).map(|(i, _)| i).collect();
    let dots = scanner.dots.iter().map(|d| (*d, scanner.dot_radius));
    let mut spots: Vec<(Point3, f64)> = dots.collect();
    if !visible.is_empty() {
        for _ in 0..scanner.spots {
            let i = visible[(random.uniform() * visible.len() as f64) as usize];
            let radius = scanner.spot_radius * (0.6 + 0.8 * random.uniform());
            spots.push((mesh.points[i as usize], radius));
        }
    }
    seen.par_iter_mut().zip(&mesh.points).with_min_len(1024).for_each(|(s, p)| {
        *s = *s && !spots.iter().any(|(c, r)| (p - c).norm_squared() < r * r);
    });
}

/// Moves the points as the scanner errs and expresses them in the scanner's frame.
pub(super) fn disturb(mesh: Mesh, scanner: &Scanner, machine_from_scan: &Pose) -> SimulatedScan {
    let field = scanner
        .smooth_noise
        .map(|(sigma, length)| (sigma, SmoothField::new(scanner.seed ^ FIELD, length)));
    let border = border(&mesh, scanner.flying > 0.0);
    let scan_from_machine = machine_from_scan.inverse();
    let points = (0..mesh.points.len())
        .into_par_iter()
        .with_min_len(1024)
        .map(|i| {
            let p = mesh.points[i];
            let mut random = Random::stream(scanner.seed, i as u64);
            let mut off = scanner.noise * random.normal();
            if let Some((sigma, field)) = &field {
                off += sigma * field.at(&p);
            }
            off += gross(&mut random, scanner, border.contains(&(i as u32)));
            scan_from_machine * (p + mesh.normals[i] * off)
        })
        .collect();
    SimulatedScan {
        points,
        triangles: mesh.triangles,
        exact: mesh.points,
        normals: mesh.normals,
        machine_from_scan: *machine_from_scan,
        sigma: scanner.sigma(),
    }
}

/// Error of an outlier or of a border point that flies off, mm; 0 for most points.
fn gross(random: &mut Random, scanner: &Scanner, at_border: bool) -> f64 {
    let share = scanner.outliers.max(if at_border { scanner.flying } else { 0.0 });
    if random.uniform() >= share {
        return 0.0;
    }
    scanner.outlier_reach * (2.0 * random.uniform() - 1.0)
}

/// Corners of edges that have a triangle on one side only; nothing if they are not wanted.
fn border(mesh: &Mesh, wanted: bool) -> HashSet<u32> {
    let mut edges: HashMap<(u32, u32), u32> = HashMap::new();
    for t in mesh.triangles.iter().filter(|_| wanted) {
        for k in 0..3 {
            let (a, b) = (t[k], t[(k + 1) % 3]);
            *edges.entry((a.min(b), a.max(b))).or_default() += 1;
        }
    }
    let open = edges.into_iter().filter(|(_, n)| *n == 1);
    open.flat_map(|((a, b), _)| [a, b]).collect()
}

/// Stream number of the spots, above any point's.
const SPOTS: u64 = u64::MAX;
/// Tells the smooth field's seed from the points'.
const FIELD: u64 = 0x0f1e_1d00;
