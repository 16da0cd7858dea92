//! Does the part sit: gap and overlap between each seat as scanned and the part's pad over it.
//!
//! From every scan point of the seat along the seat's normal to the part. Gaps are taken as medians
//! over small cells, so that no single point decides. The part is judged where it was designed to
//! be; the seat's real unevenness is in the numbers.

use std::collections::BTreeMap;

use nalgebra::{Matrix3, Vector3};

use super::budget::{Budget, independent};
use super::local::median;
use super::scene::Mount;
use super::view::{Owner, View};
use super::{Finding, Measure, Verdict};
use crate::primitive::{Direction, Point3, frame_from_axis};
use crate::region::Region;

/// Every seat of the part, with what lies under it there.
pub(super) fn seats(view: &View<'_>, mounts: &[Mount]) -> Vec<Seat> {
    let seats = (0..view.scene.features.len()).filter(|&f| is_seat(view, mounts, f));
    seats.map(|f| Seat::new(view, f)).collect()
}

/// One finding per seat.
pub(super) fn check(view: &View<'_>, seats: &[Seat]) -> Vec<Finding> {
    seats.iter().map(|s| s.finding(view)).collect()
}

/// Whether the part is meant to rest on a feature.
fn is_seat(view: &View<'_>, mounts: &[Mount], f: usize) -> bool {
    view.scene.features[f].is_seat || mounts.iter().any(|m| m.seat == Some(f))
}

/// A face that the part is meant to rest on.
pub(super) struct Seat {
    /// Index among the scene's features.
    pub(super) feature: usize,
    /// What the part meets there; `None` where no scan point lies under it.
    pub(super) met: Option<Cells>,
}

/// A seat as the part meets it.
#[derive(Clone)]
pub(super) struct Cells {
    /// Away from the machine.
    pub(super) normal: Direction,
    /// Middle of each cell on the scan and the air over it, mm; negative: overlap.
    pub(super) cells: Vec<(Point3, f64)>,
    /// Standard deviation of a cell's air by the scan's noise, mm.
    pub(super) deviation: f64,
    scan: usize,
    /// Points under the part and their mean air.
    points: usize,
    mean: f64,
}

impl Cells {
    /// Angle between part and seat, rad: slope of the plane through the cells' air (least squares); 0 where the
    /// cells lie on a line.
    pub(super) fn tilt(&self) -> f64 {
        let axes = frame_from_axis(&self.normal);
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        let middle =
            self.cells.iter().map(|c| c.0.coords).sum::<Vector3<f64>>() / self.cells.len() as f64;
        for (place, gap) in &self.cells {
            let q = axes.inverse_transform_vector(&(place.coords - middle));
            let row = Vector3::new(1.0, q.x, q.y);
            normal += row * row.transpose();
            right += row * *gap;
        }
        normal.cholesky().map_or(0.0, |c| {
            let x = c.solve(&right);
            x.y.hypot(x.z).atan()
        })
    }
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

impl Seat {
    fn new(view: &View<'_>, feature: usize) -> Self {
        let gaps = gaps(view, feature);
        let met = orientation(view, feature).filter(|_| !gaps.is_empty()).map(|(scan, normal)| {
            let side = cell_side(view, scan);
            let of = |g: Gap| (g.place, g.gap);
            Cells {
                normal,
                cells: cells(&gaps, &normal, side).into_iter().map(of).collect(),
                deviation: cell_deviation(view, scan, side),
                scan,
                points: gaps.len(),
                mean: gaps.iter().map(|g| g.gap).sum::<f64>() / gaps.len() as f64,
            }
        });
        Seat { feature, met: met.filter(|c| !c.cells.is_empty()) }
    }

    fn finding(&self, view: &View<'_>) -> Finding {
        let mut found =
            Finding::new("seat", view.scene.features[self.feature].feature.name.clone());
        found.limit = Some(view.limits.seat_tolerance);
        let worst = self.met.as_ref().and_then(|met| {
            let worst = met.cells.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
            worst.map(|w| (met, *w))
        });
        let Some((met, (place, gap))) = worst else {
            found.verdict = Verdict::Undecided;
            found.detail = format!(
                "no scan point of the seat lies under the part within {:.1} mm",
                reach(view)
            );
            found.remedy = "scan the seat where the part rests, or check the part's place".into();
            return found;
        };
        let low = met.cells.iter().map(|c| c.1).fold(f64::INFINITY, f64::min);
        let high = met.cells.iter().map(|c| c.1).fold(f64::NEG_INFINITY, f64::max);
        let chord_error = view.part.chord_error;
        let mut budget =
            Budget::of_place(view.scene, Some(met.scan), chord_error, &place, Some(&met.normal));
        budget.add("scan noise", met.deviation);
        found.value = Some(gap.abs());
        found.spend(&budget);
        found.verdict = Verdict::at_most(gap.abs(), view.limits.seat_tolerance, budget.expanded());
        found.at = Some(place + met.normal.into_inner() * gap);
        found.to = Some(place);
        found.points = Some(met.points);
        found.number("largest_gap", high.max(0.0), Measure::Length);
        found.number("largest_overlap", (-low).max(0.0), Measure::Length);
        found.number("tilt", met.tilt(), Measure::Angle);
        found.detail = format!(
            "largest overlap {:.3} mm, largest gap {:.3} mm, mean gap {:.3} mm over {} points under the part",
            (-low).max(0.0),
            high.max(0.0),
            met.mean,
            met.points
        );
        found.remedy = remedy(found.verdict, gap, &budget);
        found
    }
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
        let sum: Vector3<f64> = c.iter().map(|g| g.place.coords).sum();
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
