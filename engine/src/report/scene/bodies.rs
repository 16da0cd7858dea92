//! Scans, parts and where a scan reaches into the part, as surfaces of the scene.

use rayon::prelude::*;

use crate::exchange::Part;
use crate::fitcheck::{Finding, Verdict};
use crate::primitive::{Point3, Pose, Vec3, any_perpendicular, unit};
use crate::scan::Scan;
use crate::solid::Solid;

use super::border::borders;
use super::pack::{Block, Grid};
use super::thin::{Spared, thin, thin_cloud};
use super::{Lines, Surface, Thing, text};
use crate::report::compose::INK;
use crate::report::picture::creases;

/// A scan with what its points belong to.
pub(super) struct Scanned<'a> {
    pub scan: &'a Scan,
    pub name: &'a str,
    pub frame_from_scan: Pose,
    /// Of each point, 0 for none.
    pub labels: Vec<i32>,
    /// How strongly labels colour it, 0 to 1.
    pub tint: f64,
    /// Share of all triangles that are shown.
    pub target: usize,
    pub index: usize,
}

/// The scan, and the borders beyond which nothing was seen.
pub(super) fn scanned(
    s: &Scanned<'_>,
    spared: &[Point3],
    (block, grid): (&mut Block, &Grid),
) -> Vec<Thing> {
    let Shown { ids, places: shown, triangles } =
        shown(s.scan, &s.frame_from_scan, s.target, spared);
    let labels: Vec<i32> = ids.iter().map(|&i| s.labels[i as usize]).collect();
    let labels = filled(&labels, &triangles);
    let is_cloud = s.scan.triangles().is_empty();
    let mut things = vec![Thing {
        group: "Scans",
        name: text::plain(s.name),
        facts: vec![how_many(s.scan, triangles.len())],
        class: "thin",
        colour: SCAN,
        shown: true,
        mesh: Some(Surface {
            kind: "scan",
            places: block.places(grid, &shown),
            triangles: block.triangles(&triangles),
            values: None,
            labels: Some(block.add(&labels, 1)),
            tint: s.tint,
            scanner: Some(s.index),
        }),
        ..Thing::default()
    }];
    if !is_cloud {
        let chain = |c: Vec<u32>| c.iter().map(|&i| shown[i as usize]).collect();
        let lines: Vec<Vec<Point3>> = borders(&triangles).into_iter().map(chain).collect();
        things.push(Thing {
            group: "Not scanned",
            name: format!("Beyond the borders of {}", text::plain(s.name)),
            facts: vec![["Meaning".into(), "nothing was seen beyond this line".into()]],
            class: "undecided",
            colour: BORDER,
            lines: Some(Lines { through: false, ..Lines::of(block, grid, &lines, 1.8) }),
            ..Thing::default()
        });
    }
    things
}

/// What is shown of a scan: its points' ids, their places in the frame, and triangles of them.
pub(super) struct Shown {
    pub ids: Vec<u32>,
    pub places: Vec<Point3>,
    pub triangles: Vec<[u32; 3]>,
}

/// A scan thinned for show, but not about the places that are to be spared; a bare point is a small triangle.
pub(super) fn shown(
    scan: &Scan,
    frame_from_scan: &Pose,
    target: usize,
    spared: &[Point3],
) -> Shown {
    let scan_from_frame = frame_from_scan.inverse();
    let places: Vec<Point3> = spared.iter().map(|p| scan_from_frame * p).collect();
    let points = scan.points();
    let (ids, corners, triangles) = if scan.triangles().is_empty() {
        let ids = thin_cloud(points, target / 3);
        let (corners, triangles) = splats(scan, &ids);
        (ids.iter().flat_map(|i| [*i; 3]).collect(), corners, triangles)
    } else {
        let about = SPARED_SPACINGS * scan.resolution();
        let left = thin(points, scan.triangles(), target, &Spared { places: &places, about });
        let corners: Vec<Point3> = left.ids.iter().map(|&i| points[i as usize]).collect();
        (left.ids, corners, left.triangles)
    };
    Shown { ids, places: corners.iter().map(|p| frame_from_scan * p).collect(), triangles }
}

/// How many triangles or points a scan has, and how many of them are shown.
pub(super) fn how_many(scan: &Scan, shown: usize) -> [String; 2] {
    match scan.triangles().len() {
        0 => ["Points".into(), format!("{}, {shown} shown", scan.points().len())],
        all => ["Triangles".into(), format!("{all}, {shown} shown")],
    }
}

/// A part with its edges; `values` with their scale colour it.
pub(super) fn part(
    part: &Part,
    kind: &'static str,
    values: Option<(&[f64], usize)>,
    (block, grid): (&mut Block, &Grid),
) -> Thing {
    let values = values.filter(|(v, _)| v.len() == part.points.len());
    let none = Spared { places: &[], about: 0.0 };
    let left = thin(&part.points, &part.triangles, part.triangles.len(), &none);
    let shown: Vec<Point3> = left.ids.iter().map(|&i| part.points[i as usize]).collect();
    let edges = creases(&part.points, &part.triangles);
    let edges = Lines { through: false, named: false, ..Lines::of(block, grid, &edges, 1.1) };
    let values = values.map(|(values, scale)| {
        let shown: Vec<f64> = left.ids.iter().map(|&i| values[i as usize]).collect();
        [block.lengths(&shown), scale]
    });
    Thing {
        shown: true,
        colour: INK,
        facts: vec![["Triangles".into(), part.triangles.len().to_string()]],
        mesh: Some(Surface {
            kind,
            places: block.places(grid, &shown),
            triangles: block.triangles(&left.triangles),
            values,
            labels: None,
            tint: 0.0,
            scanner: None,
        }),
        lines: Some(edges),
        ..Thing::default()
    }
}

/// Where a scan reaches into the part, at the findings of interference that did not pass: its triangles there with a
/// corner inside.
pub(super) fn overlap(
    findings: &[Finding],
    solid: Option<&Solid>,
    s: &Scanned<'_>,
    (block, grid): (&mut Block, &Grid),
) -> Option<Thing> {
    let at = |f: &Finding| Some((f.at.or(f.to)?, f.extent?));
    let open = |f: &&Finding| f.kind == "interference" && f.verdict != Verdict::Pass;
    let places: Vec<(Point3, f64)> = findings.iter().filter(open).filter_map(at).collect();
    let (solid, false) = (solid?, places.is_empty()) else { return None };
    let moved: Vec<Point3> = s.scan.points().par_iter().map(|p| s.frame_from_scan * p).collect();
    let near = |p: &Point3| places.iter().any(|(at, extent)| (p - at).norm() <= *extent);
    let inside: Vec<bool> = moved.par_iter().map(|p| near(p) && solid.contains(p)).collect();
    let touched = |t: &&[u32; 3]| t.iter().any(|&i| inside[i as usize]);
    let triangles: Vec<[u32; 3]> = s.scan.triangles().iter().filter(touched).copied().collect();
    if triangles.is_empty() {
        return None;
    }
    let none = Spared { places: &[], about: 0.0 };
    let left = thin(&moved, &triangles, MOST_OVERLAP, &none);
    let shown: Vec<Point3> = left.ids.iter().map(|&i| moved[i as usize]).collect();
    Some(Thing {
        group: "Overlap",
        name: format!("{} inside the part", text::plain(s.name)),
        facts: vec![["Scan triangles".into(), triangles.len().to_string()]],
        class: "fail",
        colour: OVERLAP,
        shown: true,
        mesh: Some(Surface {
            kind: "overlap",
            places: block.places(grid, &shown),
            triangles: block.triangles(&left.triangles),
            values: None,
            labels: None,
            tint: 0.0,
            scanner: Some(s.index),
        }),
        ..Thing::default()
    })
}

/// Labels for show: a point of none whose neighbours mostly have one takes it, so that what a fit left out here and there
/// does not speckle its surface.
fn filled(labels: &[i32], triangles: &[[u32; 3]]) -> Vec<i32> {
    let mut votes: Vec<Vec<i32>> = vec![Vec::new(); labels.len()];
    for t in triangles {
        for k in 0..3 {
            let at = t[k] as usize;
            if labels[at] == 0 {
                votes[at].extend([t[(k + 1) % 3], t[(k + 2) % 3]].map(|i| labels[i as usize]));
            }
        }
    }
    let most = |(label, votes): (&i32, &mut Vec<i32>)| {
        votes.sort_unstable();
        // More than half of them have what stands in the middle, or none has.
        let middle = votes.get(votes.len() / 2).copied().unwrap_or(*label);
        let same = votes.iter().filter(|v| **v == middle).count();
        if 2 * same > votes.len() { middle } else { *label }
    };
    labels.iter().zip(&mut votes).map(most).collect()
}

/// A small triangle facing along the normal at each point of a cloud.
fn splats(scan: &Scan, ids: &[u32]) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let thinned = (scan.points().len() as f64 / ids.len().max(1) as f64).sqrt();
    let radius = scan.resolution() * thinned;
    let corners = ids.iter().flat_map(|&i| {
        let normal = unit(scan.normals()[i as usize]).unwrap_or(Vec3::z_axis());
        let u = any_perpendicular(&normal).into_inner() * radius;
        let v = normal.cross(&u);
        let p = scan.points()[i as usize];
        // An equilateral triangle about the point.
        [p + u, p - u * 0.5 + v * 0.866, p - u * 0.5 - v * 0.866]
    });
    let triangles = (0..ids.len() as u32).map(|k| [3 * k, 3 * k + 1, 3 * k + 2]);
    (corners.collect(), triangles.collect())
}

/// Spacings of the scan round a witness within which all of its triangles are kept.
const SPARED_SPACINGS: f64 = 4.0;
/// Triangles of the overlap that are shown at most.
const MOST_OVERLAP: usize = 20_000;
const SCAN: [u8; 3] = [170, 172, 170];
const BORDER: [u8; 3] = [150, 96, 0];
const OVERLAP: [u8; 3] = [120, 16, 72];
