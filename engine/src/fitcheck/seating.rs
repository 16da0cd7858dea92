//! Does the part sit: gap and overlap between each seat as scanned and the part's pad over it.
//!
//! From every scan point of the seat along the seat's normal to the part. Gaps are taken as medians
//! over small cells, so that no single point decides. The part is judged where it was designed to
//! be; the seat's real unevenness is in the numbers.

use std::collections::BTreeMap;

use super::budget::{Budget, independent};
use super::local::median;
use super::scene::Mount;
use super::view::{Owner, View};
use super::{Finding, Verdict};
use crate::primitive::{Direction, Point3, frame_from_axis};
use crate::region::Region;

/// One finding per seat.
pub(super) fn check(view: &View<'_>, mounts: &[Mount]) -> Vec<Finding> {
    let seats = (0..view.scene.features.len()).filter(|&f| is_seat(view, mounts, f));
    seats.map(|f| seat(view, f)).collect()
}

/// Whether the part is meant to rest on a feature.
pub(super) fn is_seat(view: &View<'_>, mounts: &[Mount], f: usize) -> bool {
    view.scene.features[f].is_seat || mounts.iter().any(|m| m.seat == Some(f))
}

/// A seat as the part meets it.
pub(super) struct Cells {
    /// Away from the machine.
    pub(super) normal: Direction,
    /// Middle of each cell on the scan and the air over it, mm; negative: overlap.
    pub(super) cells: Vec<(Point3, f64)>,
    /// Standard deviation of a cell's air by the scan's noise, mm.
    pub(super) deviation: f64,
}

/// Cells of a seat that has the part over it.
pub(super) fn cells_of(view: &View<'_>, f: usize) -> Option<Cells> {
    let (s, normal) = orientation(view, f)?;
    let side = cell_side(view, s);
    let found = cells(&gaps(view, f), &normal, side);
    if found.is_empty() {
        return None;
    }
    let cells = found.into_iter().map(|g| (g.place, g.gap)).collect();
    Some(Cells { normal, cells, deviation: cell_deviation(view, s, side) })
}

fn cell_side(view: &View<'_>, scan: usize) -> f64 {
    (CELL * view.scans[scan].resolution).max(CELL_LEAST)
}

fn cell_deviation(view: &View<'_>, scan: usize, side: f64) -> f64 {
    MEDIAN_LOSS * view.scans[scan].noise / independent(0.5 * side, CELL_POINTS).sqrt()
}

/// Gap at one point of a seat, positive where air is left.
struct Gap {
    place: Point3,
    gap: f64,
}

fn seat(view: &View<'_>, f: usize) -> Finding {
    let feature = &view.scene.features[f];
    let mut found = Finding::new("seat", feature.feature.name.clone());
    found.limit = Some(view.limits.seat_tolerance);
    let gaps = gaps(view, f);
    let (Some((s, normal)), false) = (orientation(view, f), gaps.is_empty()) else {
        found.verdict = Verdict::Undecided;
        found.detail =
            format!("no scan point of the seat lies under the part within {:.1} mm", reach(view));
        found.remedy = "scan the seat where the part rests, or check the part's place".into();
        return found;
    };
    let side = cell_side(view, s);
    let cells = cells(&gaps, &normal, side);
    let worst = cells.iter().max_by(|a, b| a.gap.abs().total_cmp(&b.gap.abs()));
    let Some(worst) = worst else { return found };
    let low = cells.iter().map(|c| c.gap).fold(f64::INFINITY, f64::min);
    let high = cells.iter().map(|c| c.gap).fold(f64::NEG_INFINITY, f64::max);
    let mean = gaps.iter().map(|g| g.gap).sum::<f64>() / gaps.len() as f64;

    let mut budget =
        Budget::of_place(view.scene, Some(s), view.part.chord_error, &worst.place, Some(&normal));
    budget.add("scan noise", cell_deviation(view, s, side));
    let uncertainty = budget.expanded();
    found.value = Some(worst.gap.abs());
    found.spend(&budget);
    found.verdict = Verdict::at_most(worst.gap.abs(), view.limits.seat_tolerance, uncertainty);
    found.at = Some(worst.place + normal.into_inner() * worst.gap);
    found.to = Some(worst.place);
    found.points = Some(gaps.len());
    found.detail = format!(
        "largest overlap {:.3} mm, largest gap {:.3} mm, mean gap {mean:.3} mm over {} points under the part",
        (-low).max(0.0),
        high.max(0.0),
        gaps.len()
    );
    found.remedy = remedy(found.verdict, worst.gap, &budget);
    found
}

fn remedy(verdict: Verdict, gap: f64, budget: &Budget) -> String {
    match verdict {
        Verdict::Pass => String::new(),
        Verdict::Fail if gap > 0.0 => format!("shim of {gap:.2} mm, or lower the pad"),
        Verdict::Fail => format!("raise the pad, or mill the seat, by {:.2} mm", -gap),
        Verdict::Undecided => format!("the uncertainty is mostly from {}", budget.largest()),
    }
}

/// The scan a seat was seen in and its normal away from the machine, for a seat with a normal.
fn orientation(view: &View<'_>, f: usize) -> Option<(usize, Direction)> {
    let feature = &view.scene.features[f];
    let s = feature.scan?;
    let first = *feature.surface.first()?;
    let normal = feature.feature.shape.normal_at(&view.scans[s].points[first as usize])?;
    let out = view.outward(f)?;
    Some((s, if out > 0.0 { normal } else { -normal }))
}

/// Gaps at the seat's points that have the part over them, in every scan, clear of its edges:
/// those are rounded, by the machine or by the scan, and carry nothing.
fn gaps(view: &View<'_>, f: usize) -> Vec<Gap> {
    let feature = &view.scene.features[f];
    let (Some(out), Some(own)) = (view.outward(f), feature.scan) else { return Vec::new() };
    let fitted = &view.scene.scans[own];
    let whole = Region::new(fitted.scan, feature.surface.to_vec(), None);
    let (flat, _) = whole.trimmed_at_most(EDGE * view.scans[own].resolution);
    let own_from_machine = fitted.machine_from_scan.inverse();
    let mut all = Vec::new();
    for (s, scan) in view.scans.iter().enumerate() {
        for (i, hit) in &scan.near {
            let place = scan.points[*i as usize];
            // Another scan's point counts where the one that the seat was fitted in is flat.
            let clear = scan.owner[*i as usize] == Owner::Seat(f as u32)
                && flat.contains(if s == own {
                    *i
                } else {
                    fitted.scan.nearest(&(own_from_machine * place)).0
                });
            let normal = feature.feature.shape.normal_at(&place).filter(|_| clear);
            let Some(normal) = normal.map(|n| if out > 0.0 { n } else { -n }) else { continue };
            // From inside the part its underside lies against the normal.
            let gap = if hit.distance < 0.0 {
                view.solid.ray_cast(&place, &-normal, reach(view)).map(|t| -t)
            } else {
                view.solid.ray_cast(&place, &normal, reach(view))
            };
            all.extend(gap.map(|gap| Gap { place, gap }));
        }
    }
    all
}

/// Medians over square cells of the seat that hold enough points.
fn cells(gaps: &[Gap], normal: &Direction, side: f64) -> Vec<Gap> {
    let axes = frame_from_axis(normal);
    let mut cells: BTreeMap<(i64, i64), Vec<&Gap>> = BTreeMap::new();
    for g in gaps {
        let q = axes.inverse_transform_point(&g.place);
        let key = ((q.x / side).floor() as i64, (q.y / side).floor() as i64);
        cells.entry(key).or_default().push(g);
    }
    let fewest = if cells.values().any(|c| c.len() >= CELL_POINTS) { CELL_POINTS } else { 1 };
    let full = cells.values().filter(|c| c.len() >= fewest);
    full.map(|c| {
        let sum: nalgebra::Vector3<f64> = c.iter().map(|g| g.place.coords).sum();
        let gap = median(c.iter().map(|g| g.gap).collect());
        Gap { place: Point3::from(sum / c.len() as f64), gap }
    })
    .collect()
}

/// How far from a seat the part is looked for, mm.
pub(super) fn reach(view: &View<'_>) -> f64 {
    REACH * view.limits.seat_tolerance
}

/// Reach in tolerances: what is farther is not meant to rest here.
const REACH: f64 = 10.0;
/// Spacings from the seat's edges within which its points do not count, less on narrow seats.
const EDGE: f64 = 2.0;
/// Side of a cell in spacings, and its least in mm.
const CELL: f64 = 5.0;
const CELL_LEAST: f64 = 2.0;
/// Fewest points of a cell.
const CELL_POINTS: usize = 5;
/// Standard deviation of a median over that of a mean, normal distribution.
const MEDIAN_LOSS: f64 = 1.2533;
