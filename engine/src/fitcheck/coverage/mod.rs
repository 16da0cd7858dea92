//! What the scanner did not see near the part: undecided, with place, size and a direction to scan from.
//!
//! Four ways of not seeing are looked for. A **border** of a scan, beyond which the surface may go on by
//! `unseen_reach`; a **hole**, in which it may stand out of the lid over its border by half its width, no more than
//! that reach; **bridges**, triangles that were drawn over a gap; and the part lying **behind** a surface, where it is
//! in material or where nothing was seen. Borders that another scan has seen over are none. Seats and bolt holes are
//! judged by their own checks and left out. A hole of fewer than five spacings is below what the scan shows.

pub(super) mod bridges;
mod lid;

use super::scene::Mount;
use super::view::{Owner, View};
use super::{Finding, Measure, Verdict};
use crate::primitive::{Direction, Line, Point3, Vec3, unit};
use crate::solid::Mesh;

/// One finding per unseen place near the part; a passed one if there is none.
pub(super) fn check(view: &View<'_>, mounts: &[Mount], findings: &[Finding]) -> Vec<Finding> {
    let mut found = Vec::new();
    let bolted: Vec<Bolted> = mounts.iter().filter_map(|m| Bolted::new(view, m)).collect();
    for s in 0..view.scans.len() {
        found.extend(borders(view, s, &bolted));
        found.extend(bridged(view, s));
    }
    found.extend(behind(view, findings));
    found.sort_by(|a, b| a.value.unwrap_or(0.0).total_cmp(&b.value.unwrap_or(0.0)));
    let all = found.len();
    found.truncate(MOST);
    if let Some(last) = found.last_mut().filter(|_| all > MOST) {
        last.detail += &format!("; {} more such places lie farther away", all - MOST);
    }
    if found.is_empty() {
        let mut none = Finding::new("coverage", "part");
        none.detail = format!(
            "no border or hole of a scan near enough for {:.1} mm of unseen surface to break a limit",
            view.limits.unseen_reach
        );
        found.push(none);
    }
    found
}

/// The mouth of a bolt hole and what is behind it: a bolt goes there, not the part.
struct Bolted {
    axis: Line,
    reach: f64,
}

impl Bolted {
    fn new(view: &View<'_>, mount: &Mount) -> Option<Self> {
        let shape = &view.scene.features[mount.hole].feature.shape;
        let axis = Line { point: shape.point(), direction: shape.direction()? };
        let radius = super::holes::radius_of(view, mount.hole).unwrap_or(0.0);
        Some(Bolted { axis, reach: MOUTH * radius.max(mount.part_hole.radius) })
    }
}

/// A stretch of a scan's border, or all of a hole's.
struct Gap {
    ids: Vec<u32>,
    is_hole: bool,
}

fn borders(view: &View<'_>, s: usize, bolted: &[Bolted]) -> Vec<Finding> {
    let scan = view.scene.scans[s].scan;
    let points = &view.scans[s].points;
    let mut found = Vec::new();
    for border in scan.boundary_loops() {
        let limit = asked(view, s, border);
        let reach = limit + view.limits.unseen_reach;
        let places: Vec<Point3> = border.iter().map(|&i| points[i as usize]).collect();
        if !view.solid.is_near(&places, reach) {
            continue;
        }
        let unseen: Vec<bool> = border.iter().map(|&i| is_unseen(view, s, bolted, i)).collect();
        if !unseen.contains(&true) {
            continue;
        }
        let width = width(&places);
        if is_hole(view, s, border) {
            // Mostly of a seat, or seen by another scan: not a hole of its own.
            let open = unseen.iter().filter(|u| **u).count();
            let bulge = view.limits.unseen_reach.min(0.5 * width);
            if width > HOLE * view.scans[s].resolution && 2 * open > border.len() {
                let lid = lid::over(&places);
                let gap = Gap { ids: border.clone(), is_hole: true };
                found.extend(over_lid(view, s, &gap, lid, limit + bulge));
            }
        } else {
            found.extend(
                stretches(border, &unseen)
                    .filter_map(|ids| beyond(view, s, &Gap { ids, is_hole: false }, reach)),
            );
        }
    }
    found
}

/// Largest clearance asked of what a border belongs to, mm.
fn asked(view: &View<'_>, s: usize, border: &[u32]) -> f64 {
    let of = |i: &u32| match view.scans[s].owner[*i as usize] {
        Owner::Feature(f) => view.limit_of(Some(f as usize)),
        Owner::Rest | Owner::Seat(_) | Owner::Beside => view.limits.clearance,
    };
    border.iter().map(of).fold(0.0, f64::max)
}

/// Whether what lies beyond a border point was seen by no other scan and is nobody's seat.
fn is_unseen(view: &View<'_>, s: usize, bolted: &[Bolted], i: u32) -> bool {
    let place = view.scans[s].points[i as usize];
    if matches!(view.scans[s].owner[i as usize], Owner::Seat(_) | Owner::Beside)
        || bolted.iter().any(|b| b.axis.distance(&place) < b.reach)
    {
        return false;
    }
    let others = (0..view.scans.len()).filter(|&t| t != s);
    !others.into_iter().any(|t| {
        let scan = view.scene.scans[t].scan;
        let (nearest, distance) =
            scan.nearest(&(view.scene.scans[t].machine_from_scan.inverse() * place));
        let within = 2.0 * view.scans[t].resolution.max(view.scans[s].resolution)
            + 4.0 * view.noise_at(&[s, t], &place);
        distance <= within && !scan.is_border(nearest)
    })
}

/// A loop with the surface on its left encloses a hole where it runs clockwise seen from outside.
fn is_hole(view: &View<'_>, s: usize, border: &[u32]) -> bool {
    let points = &view.scans[s].points;
    let place = |k: usize| points[border[k % border.len()] as usize];
    let origin = place(0);
    let area: Vec3 =
        (1..border.len()).map(|k| (place(k) - origin).cross(&(place(k + 1) - origin))).sum();
    area.dot(&outward(view, s, border)) < 0.0
}

/// Mean normal of the surface at some points, machine coordinates, of any length.
fn outward(view: &View<'_>, s: usize, ids: &[u32]) -> Vec3 {
    let turn = view.scene.scans[s].machine_from_scan.rotation;
    let normals = view.scene.scans[s].scan.normals();
    turn * ids.iter().map(|&i| normals[i as usize]).sum::<Vec3>()
}

/// Unbroken stretches of a loop where nothing more was seen.
fn stretches<'a>(border: &'a [u32], unseen: &'a [bool]) -> impl Iterator<Item = Vec<u32>> + 'a {
    let n = border.len();
    let start = (0..n).find(|&k| !unseen[k]).unwrap_or(0);
    let mut at = 0;
    std::iter::from_fn(move || {
        while at < n && !unseen[(start + at) % n] {
            at += 1;
        }
        let from = at;
        while at < n && unseen[(start + at) % n] {
            at += 1;
        }
        (at > from).then(|| (from..at).map(|k| border[(start + k) % n]).collect())
    })
}

/// The border as far as it is near the part.
fn beyond(view: &View<'_>, s: usize, gap: &Gap, reach: f64) -> Option<Finding> {
    let points = &view.scans[s].points;
    let near: Vec<(u32, Point3, f64)> = gap
        .ids
        .iter()
        .filter_map(|&i| {
            let hit = view.solid.signed(&points[i as usize], reach)?;
            (hit.distance < reach).then_some((i, hit.point, hit.distance))
        })
        .collect();
    let &(id, on_part, distance) = near.iter().min_by(|a, b| a.2.total_cmp(&b.2))?;
    let ids: Vec<u32> = near.iter().map(|n| n.0).collect();
    let mut found = finding(view, s, &Gap { ids, is_hole: gap.is_hole }, distance);
    (found.at, found.to) = (Some(on_part), Some(points[id as usize]));
    found.detail = format!(
        "the scan ends {distance:.2} mm from the part, over {:.1} mm; what lies beyond was not seen",
        found.extent.unwrap_or(0.0)
    );
    Some(found)
}

/// A hole whose lid is near the part.
fn over_lid(
    view: &View<'_>,
    s: usize,
    gap: &Gap,
    (corners, triangles): (Vec<Point3>, Vec<[u32; 3]>),
    reach: f64,
) -> Option<Finding> {
    let lid = Mesh::new(corners, triangles);
    let witness = view.solid.least_distance(&lid, reach)?;
    if witness.distance >= reach {
        return None;
    }
    let mut found = finding(view, s, gap, witness.distance);
    (found.at, found.to) = (Some(witness.on_a), Some(witness.on_b));
    found.detail = format!(
        "a hole of the scan, {:.1} mm wide, {:.2} mm from the part: no surface was seen in it",
        found.extent.unwrap_or(0.0),
        witness.distance
    );
    Some(found)
}

fn finding(view: &View<'_>, s: usize, gap: &Gap, distance: f64) -> Finding {
    let points = &view.scans[s].points;
    let places: Vec<Point3> = gap.ids.iter().map(|&i| points[i as usize]).collect();
    let of = if gap.is_hole { "hole in" } else { "border of" };
    let mut found = Finding::new("coverage", format!("{of} {}", view.scene.scans[s].name));
    found.verdict = Verdict::Undecided;
    found.value = Some(distance);
    found.extent = Some(width(&places));
    found.points = Some(gap.ids.len());
    found.remedy = match unit(outward(view, s, &gap.ids)) {
        Some(normal) => {
            found.number("scan_from_x", normal.x, Measure::Ratio);
            found.number("scan_from_y", normal.y, Measure::Ratio);
            found.number("scan_from_z", normal.z, Measure::Ratio);
            format!("scan there from {}", words(&normal))
        }
        None => "scan there from another side".into(),
    };
    found
}

/// Triangles that were drawn over a gap and come nearer than the limit.
fn bridged(view: &View<'_>, s: usize) -> Option<Finding> {
    let triangles = view.bridges(s)?;
    let count = triangles.len();
    let mesh = Mesh::new(view.scans[s].points.clone(), triangles);
    let limit = view.limits.clearance;
    let witness = view.solid.least_distance(&mesh, limit).filter(|w| w.distance < limit)?;
    let mut found = Finding::new("coverage", format!("bridges in {}", view.scene.scans[s].name));
    found.verdict = Verdict::Undecided;
    found.value = Some(witness.distance);
    (found.at, found.to) = (Some(witness.on_a), Some(witness.on_b));
    found.detail = format!(
        "{count} long triangles of the scan stand steep on the surface at their corners: drawn over a gap \
         by all appearance, not judged; the nearest is {:.2} mm from the part",
        witness.distance
    );
    found.remedy = "scan what lies there, or delete the triangles if there is nothing".into();
    Some(found)
}

/// Corners of the part that lie behind the nearest surface, away from every overlap that was found.
fn behind(view: &View<'_>, findings: &[Finding]) -> Option<Finding> {
    let corners = &view.part.points;
    // A seat is there: a corner on it or in it is the seat's matter, not behind what lies farther off.
    let mut nearest: Vec<Option<(f64, Point3, bool)>> = vec![None; corners.len()];
    for s in 0..view.scans.len() {
        let mesh = view.mesh(s, |_| true);
        let seat = |t: u32| {
            let owners = mesh.triangles()[t as usize].map(|i| view.scans[s].owner[i as usize]);
            owners.iter().any(|o| matches!(o, Owner::Seat(_) | Owner::Beside))
        };
        for (best, hit) in nearest.iter_mut().zip(mesh.sides(corners)) {
            let Some(hit) = hit else { continue };
            if best.is_none_or(|b| hit.distance.abs() < b.0.abs()) {
                *best = Some((hit.distance, hit.point, seat(hit.triangle)));
            }
        }
    }
    let tolerance = |p: &Point3| {
        let all: Vec<usize> = (0..view.scans.len()).collect();
        view.limits.seat_tolerance.max(6.0 * view.noise_at(&all, p))
    };
    let explained = |p: &Point3, depth: f64| {
        let overlaps = findings.iter().filter(|f| f.kind == "interference");
        overlaps
            .filter_map(|f| Some((f.to?, f.extent? + f.value?)))
            .any(|(place, size)| (p - place).norm() <= size + depth)
    };
    let hidden: Vec<(usize, f64, Point3)> = nearest
        .iter()
        .enumerate()
        .filter_map(|(k, n)| n.filter(|n| !n.2).map(|(d, on, _)| (k, d, on)))
        .filter(|&(k, d, _)| d < -tolerance(&corners[k]) && !explained(&corners[k], -d))
        .collect();
    let &(k, distance, on_scan) = hidden.iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let places: Vec<Point3> = hidden.iter().map(|h| corners[h.0]).collect();
    let mut found = Finding::new("coverage", "behind a scanned surface");
    found.verdict = Verdict::Undecided;
    found.value = Some(distance);
    found.extent = Some(width(&places));
    (found.at, found.to) = (Some(corners[k]), Some(on_scan));
    found.detail = format!(
        "{} corners of the part lie behind the surface nearest to them, up to {:.2} mm, and no overlap says so: \
         in the machine's material, or where nothing was seen",
        hidden.len(),
        -distance
    );
    found.remedy = "scan the back of that surface; or the part is in the wrong place".into();
    Some(found)
}

/// Longest side of the box round some points, mm.
fn width(points: &[Point3]) -> f64 {
    let Some(first) = points.first() else { return 0.0 };
    let (low, high) = points.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)));
    (high - low).max()
}

/// The machine's axis that a direction is nearest to, and the direction itself.
fn words(d: &Direction) -> String {
    let k = d.iamax();
    let sign = if d[k] < 0.0 { '-' } else { '+' };
    format!("{sign}{} ({:.2}, {:.2}, {:.2})", ['x', 'y', 'z'][k], d.x, d.y, d.z)
}

/// Radii of a bolt hole within which a border is its own: a chamfer and the scan's rounding of the mouth.
const MOUTH: f64 = 1.5;
/// Width in spacings below which a hole is below what the scan shows (three to five spacings by common
/// experience).
const HOLE: f64 = 5.0;
/// Most places that are listed.
const MOST: usize = 12;
