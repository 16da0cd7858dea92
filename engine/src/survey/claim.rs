//! Each point to one primitive or to none, and each primitive fitted to its own points.

use rayon::prelude::*;

use super::grow::{Grower, Grown, KINDS, NONE};
use super::label::{depths, labels, margin, peel};
use super::{Side, Surveyed};
use crate::associate::{Fit, Input, polish};
use crate::error::Result;
use crate::feature::Feature;
use crate::primitive::{Kind, Point3, Primitive};
use crate::region::Region;
use crate::scan::Scan;

/// The primitives of what was found, sorted and numbered; those smaller than `smallest` (mm) left out.
pub(super) fn primitives(
    grower: &Grower<'_>,
    found: &[Grown],
    smallest: Option<f64>,
) -> Result<Vec<Surveyed>> {
    let scan = grower.scan;
    let mut shapes: Vec<Primitive> = found.iter().map(|g| g.shape.clone()).collect();
    let mut first = labels(grower, &shapes, &vec![true; found.len()]);
    let smooth: Vec<bool> = found.par_iter().map(|g| grower.ends_smoothly(&g.patches)).collect();
    let before = counted(&first, found.len());
    for _ in 0..PEELINGS {
        peel(scan, &shapes, &mut first);
        let better = fitted(scan, &shapes, &first, FIRST, &smooth);
        for (shape, fit) in shapes.iter_mut().zip(better) {
            if let Some(fit) = fit {
                *shape = fit.shape;
            }
        }
    }
    let left = counted(&first, found.len());
    let is_ideal: Vec<bool> = (0..found.len())
        .into_par_iter()
        .map(|k| {
            let kept = left[k] as f64 >= KEPT * before[k] as f64;
            kept || !smooth[k] || {
                let own = |i: u32| first[i as usize] == k as u32;
                !grower.is_wavy(&shapes[k], &found[k].patches, PEELED, own)
            }
        })
        .collect();
    let mut labels = labels(grower, &shapes, &is_ideal);
    peel(scan, &shapes, &mut labels);
    let fits = fitted(scan, &shapes, &labels, usize::MAX, &smooth);
    let own = listed(&labels, found.len());
    let cell = area_of_point(scan);
    let mut made: Vec<(usize, Surveyed)> = fits
        .into_par_iter()
        .zip(own)
        .enumerate()
        .filter_map(|(k, (fit, ids))| {
            let fit = fit?;
            let region = Region::new(scan, ids, None);
            let area = region.ids().len() as f64 * cell;
            let fewest = grower.limits.fewest * 8 / 5;
            let many = region.ids().len() >= fewest;
            let enough = smallest.map_or(many, |s| large(&fit.shape, area, s));
            if !enough || fit.quality.points < fewest / 2 || !bent(&fit) {
                return None;
            }
            let deepest = grower.deepest(&found[k].patches);
            let at = fit.shape.project(&grower.patches.middle[deepest as usize]);
            let side = side(scan, &fit.shape, region.ids());
            let fitter = format!("builtin.{}", fit.shape.kind().name());
            let feature = Feature::grouped("", &fitter, fit, &region);
            Some((
                k,
                Surveyed {
                    id: String::new(),
                    feature,
                    region,
                    at,
                    side,
                    adjacent: Vec::new(),
                    area,
                },
            ))
        })
        .collect();
    made.sort_by(|(_, a), (_, b)| {
        let kind = |s: &Surveyed| KINDS_SHOWN.iter().position(|k| *k == s.feature.shape.kind());
        kind(a).cmp(&kind(b)).then(rank(b).total_cmp(&rank(a)))
    });
    let mut place = vec![None; found.len()];
    made.iter().enumerate().for_each(|(n, (k, _))| place[*k] = Some(n));
    for (a, b) in grower.neighbours() {
        if let (Some(a), Some(b)) = (place[a as usize], place[b as usize]) {
            made[a].1.adjacent.push(b);
            made[b].1.adjacent.push(a);
        }
    }
    let mut counts = [0; KINDS.len()];
    let number = |(_, mut s): (usize, Surveyed)| {
        let kind = s.feature.shape.kind();
        let count = &mut counts[KINDS.iter().position(|k| *k == kind).unwrap_or(0)];
        *count += 1;
        s.id = format!("{} {count}", kind.name());
        s.feature.name.clone_from(&s.id);
        s.adjacent.sort_unstable();
        s
    };
    Ok(made.into_iter().map(number).collect())
}

impl Surveyed {
    /// Diameter of a round shape, mm: of a cone at its point, of a torus that of its tube.
    #[must_use]
    pub fn diameter(&self) -> Option<f64> {
        match &self.feature.shape {
            Primitive::Cylinder(s) => Some(2.0 * s.radius),
            Primitive::Sphere(s) => Some(2.0 * s.radius),
            Primitive::Cone(s) => Some(2.0 * s.radius),
            Primitive::Torus(s) => Some(2.0 * s.minor_radius),
            Primitive::Circle(s) => Some(2.0 * s.radius),
            Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_) => None,
        }
    }
}

/// What primitives of one kind are sorted by: area of planes and cones, radius of others.
fn rank(s: &Surveyed) -> f64 {
    match s.feature.shape.kind() {
        Kind::Plane | Kind::Cone => s.area,
        _ => s.diameter().unwrap_or(s.area),
    }
}

/// Whether a primitive measures so much across.
fn large(shape: &Primitive, area: f64, smallest: f64) -> bool {
    let across = match shape {
        Primitive::Cylinder(s) => 2.0 * s.radius,
        Primitive::Sphere(s) => 2.0 * s.radius,
        Primitive::Torus(s) => 2.0 * s.minor_radius,
        _ => area.sqrt(),
    };
    across.min(area.sqrt()) >= smallest
}

/// Whether a round shape is bent by more than its uncertainty: its radius is known to a few per cent.
fn bent(fit: &Fit<Primitive>) -> bool {
    let known = |k: usize, radius: f64| 2.0 * fit.covariance.size(k) <= KNOWN * radius;
    match &fit.shape {
        Primitive::Cylinder(s) => known(0, s.radius),
        Primitive::Sphere(s) => known(0, s.radius),
        Primitive::Cone(s) => known(0, s.radius),
        Primitive::Torus(s) => known(0, s.major_radius) && known(1, s.minor_radius),
        Primitive::Plane(_)
        | Primitive::Line(_)
        | Primitive::Circle(_)
        | Primitive::Composite(_) => true,
    }
}

/// Number of points of each label.
fn counted(labels: &[u32], count: usize) -> Vec<usize> {
    let mut own = vec![0; count];
    labels.iter().filter(|l| **l != NONE).for_each(|&l| own[l as usize] += 1);
    own
}

/// Points of each label, ascending.
fn listed(labels: &[u32], count: usize) -> Vec<Vec<u32>> {
    let mut own = vec![Vec::new(); count];
    for (i, &label) in labels.iter().enumerate().filter(|l| *l.1 != NONE) {
        own[label as usize].push(i as u32);
    }
    own
}

/// Least squares of each shape to its points away from the edges, about `most` of them; `None` where they
/// do not determine it.
fn fitted(
    scan: &Scan,
    shapes: &[Primitive],
    labels: &[u32],
    most: usize,
    smooth: &[bool],
) -> Vec<Option<Fit<Primitive>>> {
    let depths = depths(scan, labels, smooth);
    let fit = |(shape, ids): (&Primitive, Vec<u32>)| {
        let label = labels[*ids.first()? as usize];
        // An outlier among the neighbours is no edge, nor is a surface that this one runs into smoothly.
        let inner = |i: &u32| {
            let p = &scan.points()[*i as usize];
            let near = scan.neighbours(*i);
            let normal = || shape.normal_at(p);
            let smooth = |l: u32| {
                let other = shapes[l as usize].normal_at(p);
                other.zip(normal()).is_some_and(|(a, b)| a.dot(&b).abs() > SMOOTH)
            };
            let mut none = 0;
            for &j in near {
                match labels[j as usize] {
                    NONE => none += 1,
                    l if l != label && !smooth(l) => return false,
                    _ => {}
                }
            }
            none * OUTLIERS <= near.len()
        };
        let margin = margin(&ids, &depths);
        let inner = |i: &u32| depths[*i as usize] >= margin && inner(i);
        let step = (ids.len() / most).max(1);
        let mut core: Vec<u32> = ids.iter().copied().step_by(step).filter(inner).collect();
        if core.len() < CORE {
            core = ids;
        }
        let points: Vec<Point3> = core.iter().map(|&i| scan.points()[i as usize]).collect();
        let normals: Vec<_> = core.iter().map(|&i| scan.normals()[i as usize]).collect();
        let mut input = Input::new(&points);
        input.normals = Some(&normals);
        polish(&input, shape).ok()
    };
    shapes.par_iter().zip(listed(labels, shapes.len())).map(fit).collect()
}

/// Side on which the material is: normals point out of it.
fn side(scan: &Scan, shape: &Primitive, ids: &[u32]) -> Side {
    if shape.kind() == Kind::Plane {
        return Side::Flat;
    }
    let step = (ids.len() / 500).max(1);
    let along = |&i: &u32| {
        let out = shape.normal_at(&scan.points()[i as usize])?;
        Some(out.dot(&scan.normals()[i as usize]))
    };
    let sum: f64 = ids.iter().step_by(step).filter_map(along).sum();
    if sum >= 0.0 { Side::Outer } else { Side::Inner }
}

/// Area that a point usually stands for, mm²: that of a hexagon of the scan's spacing.
fn area_of_point(scan: &Scan) -> f64 {
    scan.resolution().powi(2) * 3f64.sqrt() / 2.0
}

/// Order in which kinds are numbered and shown.
const KINDS_SHOWN: [Kind; 5] = [Kind::Plane, Kind::Cylinder, Kind::Cone, Kind::Sphere, Kind::Torus];
/// Largest expanded uncertainty of a radius in units of the radius.
const KNOWN: f64 = 0.1;
/// One neighbour in so many may belong to nothing away from edges.
const OUTLIERS: usize = 4;
/// Cosine of the angle up to which surfaces run into one another smoothly.
const SMOOTH: f64 = 0.97;
/// Times that shapes are fitted to what is left of their points.
const PEELINGS: usize = 3;
/// Share of its points that an ideal shape keeps where it is surrounded by smooth surface, else its waves must be
/// smaller than this part of the noise.
const KEPT: f64 = 0.9;
const PEELED: f64 = 0.22;
/// Points that a first fit looks at.
const FIRST: usize = 4000;
/// Points away from edges from which on the others are left out of the fit.
const CORE: usize = 60;
