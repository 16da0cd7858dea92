//! Least air between the part and every named feature, and all the rest of each scan.
//!
//! The raw least distance is exact on the meshes; it is the smallest of many noisy ones and so too
//! small. The value judged is the least distance to the locally estimated surface: each of the
//! nearest places is moved onto what its neighbours say (see `local`), then the two feet are
//! exchanged between part and surface until they rest. Both numbers are reported.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::budget::{Budget, deviation};
use super::local::{Halves, Local, Patch, least_of};
use super::view::{Owner, ScanView, View};
use super::{Finding, Measure, Verdict};
use crate::primitive::{Direction, Point3, unit};
use crate::solid::{Mesh, Sets, Solid, Witness};

/// At least one finding per feature that is no seat and has a surface, and per scan for the rest; one more for
/// each further place that is too near.
pub(super) fn check(view: &View<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for s in 0..view.scans.len() {
        for feature in groups(view, s) {
            findings.extend(Group::new(view, s, feature).map_or_else(Vec::new, |g| g.findings()));
        }
    }
    findings
}

/// Features seen in a scan, and all the rest of it.
pub(super) fn groups(view: &View<'_>, s: usize) -> Vec<Option<usize>> {
    let features = (0..view.scene.features.len()).filter(|&f| seen(view, f, s));
    features.map(Some).chain([None]).collect()
}

/// A place on the estimated surface and its distance from the part.
#[derive(Clone)]
pub(super) struct Place {
    pub(super) on_part: Point3,
    pub(super) on_scan: Point3,
    pub(super) distance: f64,
    pub(super) deviation: f64,
    pub(super) at_border: bool,
    pub(super) smooth: bool,
}

fn seen(view: &View<'_>, f: usize, s: usize) -> bool {
    let mine = Owner::Feature(f as u32);
    let feature = &view.scene.features[f];
    if feature.scan == Some(s) {
        return feature.surface.iter().any(|&i| view.scans[s].owner[i as usize] == mine);
    }
    view.scans[s].near.iter().any(|n| view.scans[s].owner[n.0 as usize] == mine)
}

/// A feature's surface in a scan, or what belongs to nothing there.
struct Group<'a> {
    view: &'a View<'a>,
    scan: usize,
    feature: Option<usize>,
    mesh: Mesh,
    /// Nearest places of mesh and part, exactly.
    raw: Witness,
    /// Which points of the scan are corners of the mesh: a point none of whose triangles is of the group is the
    /// fringe of another one.
    own: Vec<bool>,
    patch: Patch<'a>,
    limit: f64,
}

impl<'a> Group<'a> {
    /// `None` where there is nothing of it.
    fn new(view: &'a View<'a>, scan: usize, feature: Option<usize>) -> Option<Self> {
        let mesh = view.mesh(scan, |owners| belongs(owners, feature));
        let raw = view.solid.least_distance(&mesh, f64::INFINITY)?;
        let of = &view.scans[scan];
        let mut own = vec![false; of.points.len()];
        mesh.triangles().as_flattened().iter().for_each(|&i| own[i as usize] = true);
        let patch = patch_of(view, scan, feature);
        let limit = view.limit_of(feature);
        Some(Group { view, scan, feature, mesh, raw, own, patch, limit })
    }

    fn findings(&self) -> Vec<Finding> {
        let corners = self.mesh.triangles()[self.raw.triangle_b as usize];
        let everywhere = |i: u32| self.own[i as usize];
        let (solid, of) = (&self.view.solid, &self.view.scans[self.scan]);
        let place = least(solid, of, &everywhere, &self.patch, &self.raw, &corners);
        let mut findings = vec![self.finding(&place, &self.raw)];
        let (areas, patches) = self.too_near();
        let size = |ids: &[u32], found: &mut Finding| {
            let ids: Vec<u32> = ids.iter().copied().filter(|&i| self.is_too_near(i)).collect();
            found.points = Some(ids.len());
            found.extent =
                Some(extent(ids.iter().map(|&i| self.view.scans[self.scan].points[i as usize])));
            if !areas.is_empty() {
                let area = ids.iter().map(|i| areas.get(i).copied().unwrap_or(0.0)).sum();
                found.number("area", area, Measure::Area);
            }
        };
        let least_corner = |ids: &[u32]| corners.iter().any(|c| ids.binary_search(c).is_ok());
        // The place found is of the patch that its own corner is in, or of the one nearest to it.
        let main = patches.iter().position(|ids| least_corner(ids)).or_else(|| {
            let from = |ids: &Vec<u32>| {
                let points = ids.iter().map(|&i| self.view.scans[self.scan].points[i as usize]);
                points.map(|p| (p - place.on_scan).norm()).fold(f64::INFINITY, f64::min)
            };
            (0..patches.len()).min_by(|&a, &b| from(&patches[a]).total_cmp(&from(&patches[b])))
        });
        if let Some(main) = main.filter(|_| findings[0].verdict != Verdict::Pass) {
            size(&patches[main], &mut findings[0]);
        }
        let others = patches.iter().enumerate().filter(|(k, _)| Some(*k) != main);
        let further = others.filter_map(|(_, ids)| {
            let mut found = self.elsewhere(ids)?;
            size(ids, &mut found);
            Some(found)
        });
        let mut further: Vec<Finding> = further.filter(|f| f.verdict != Verdict::Pass).collect();
        further.sort_by(|a, b| a.value.unwrap_or(0.0).total_cmp(&b.value.unwrap_or(0.0)));
        if further.len() > PLACES {
            findings[0].detail +=
                &format!("; {} more places are too near, {PLACES} of them follow", further.len());
            further.truncate(PLACES);
        }
        for (k, found) in further.iter_mut().enumerate() {
            found.name += &format!(", place {}", k + 2);
        }
        findings.extend(further);
        findings
    }

    /// Patches with points nearer to the part than the limit, each in ascending order, and the area that each
    /// point stands for, mm² (none for a bare cloud). They hang together over points that only noise keeps
    /// above the limit.
    fn too_near(&self) -> (BTreeMap<u32, f64>, Vec<Vec<u32>>) {
        let of = &self.view.scans[self.scan];
        let band = LINK * self.patch.noise + 0.25 * self.patch.resolution;
        let ids: Vec<u32> = of
            .near
            .iter()
            .filter(|(i, h)| h.distance < self.limit + band && self.own[*i as usize])
            .map(|n| n.0)
            .collect();
        let mut sets = Sets::new(ids.len());
        for (k, &i) in ids.iter().enumerate() {
            for n in self.patch.scan.neighbours(i) {
                if let Ok(j) = ids.binary_search(n) {
                    sets.join(k as u32, j as u32);
                }
            }
        }
        let mut areas = BTreeMap::new();
        if self.patch.scan.is_mesh() && !ids.is_empty() {
            for t in self.mesh.triangles() {
                let corners = t.map(|i| of.points[i as usize]);
                let third =
                    (corners[1] - corners[0]).cross(&(corners[2] - corners[0])).norm() / 6.0;
                for i in t.iter().filter(|i| ids.binary_search(i).is_ok()) {
                    *areas.entry(*i).or_insert(0.0) += third;
                }
            }
        }
        let mut patches: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
        for (k, &i) in ids.iter().enumerate() {
            patches.entry(sets.root(k as u32)).or_default().push(i);
        }
        let too_near = |ids: &Vec<u32>| ids.iter().any(|&i| self.is_too_near(i));
        (areas, patches.into_values().filter(too_near).collect())
    }

    fn is_too_near(&self, i: u32) -> bool {
        self.view.scans[self.scan].hit(i).is_some_and(|h| h.distance < self.limit)
    }

    /// Least air of one patch; `None` where nothing of it is believed.
    fn elsewhere(&self, ids: &[u32]) -> Option<Finding> {
        let of = &self.view.scans[self.scan];
        let hits = ids.iter().filter_map(|&i| Some((i, of.hit(i)?)));
        let (i, hit) = hits.min_by(|a, b| a.1.distance.total_cmp(&b.1.distance))?;
        let raw = Witness {
            distance: hit.distance.max(0.0),
            on_a: hit.point,
            on_b: of.points[i as usize],
            ..self.raw
        };
        let mine = |i: u32| ids.binary_search(&i).is_ok();
        let place = least(&self.view.solid, of, &mine, &self.patch, &raw, &[i; 3]);
        let backed = place.smooth || edge_point(of, &self.patch, i).is_some();
        backed.then(|| self.finding(&place, &raw))
    }

    fn finding(&self, place: &Place, raw: &Witness) -> Finding {
        let (view, limit) = (self.view, self.limit);
        let mut found = Finding::new("clearance", name(view, self.scan, self.feature));
        found.limit = Some(limit);
        let along = direction(place);
        let budget = budget_of(view, self.scan, self.feature, place, along.as_ref());
        found.spend(&budget);
        found.verdict = Verdict::at_least(place.distance, limit, budget.expanded());
        found.value = Some(place.distance);
        (found.at, found.to) = (Some(place.on_part), Some(place.on_scan));
        found.number("raw_distance", raw.distance, Measure::Length);
        let shape = self.feature.is_some() && self.patch.shape.is_some();
        found.detail = detail(place, raw, shape, limit);
        judge(view, place, &budget, &mut found, limit);
        found
    }
}

/// Longest side of the box round some points, mm.
fn extent(points: impl Iterator<Item = Point3>) -> f64 {
    let grown = points.fold(None, |b: Option<(Point3, Point3)>, p| {
        Some(b.map_or((p, p), |(l, h)| (l.inf(&p), h.sup(&p))))
    });
    grown.map_or(0.0, |(low, high)| (high - low).max())
}

/// Where the surface of a feature, or the rest, is estimated.
pub(super) fn patch_of<'p>(view: &'p View<'_>, s: usize, feature: Option<usize>) -> Patch<'p> {
    Patch {
        scan: view.scene.scans[s].scan,
        points: &view.scans[s].points,
        shape: feature.and_then(|f| view.surface_shape(f)),
        noise: view.scans[s].noise,
        resolution: view.scans[s].resolution,
    }
}

/// What the distance at a place, along a direction, is uncertain by.
pub(super) fn budget_of(
    view: &View<'_>,
    s: usize,
    feature: Option<usize>,
    place: &Place,
    along: Option<&Direction>,
) -> Budget {
    let mut budget =
        Budget::of_place(view.scene, Some(s), view.part.chord_error, &place.on_part, along);
    budget.add("scan noise", place.deviation);
    if let (Some(f), Some(along)) = (feature, along) {
        let covariance = &view.scene.features[f].feature.covariance;
        budget.add("feature", deviation(covariance, &place.on_scan, Some(along)));
    }
    budget
}

/// Whether a triangle with corners of these owners is held against the group.
pub(super) fn belongs(owners: &[Owner], feature: Option<usize>) -> bool {
    let contact = |o: &Owner| matches!(o, Owner::Seat(_) | Owner::Beside);
    if owners.iter().any(contact) {
        return false;
    }
    match feature {
        Some(f) => owners.contains(&Owner::Feature(f as u32)),
        None => owners.iter().all(|o| *o == Owner::Rest),
    }
}

pub(super) fn name(view: &View<'_>, s: usize, feature: Option<usize>) -> String {
    let scan = view.scene.scans[s].name;
    match feature.map(|f| &view.scene.features[f]) {
        None => format!("rest of {scan}"),
        Some(f) if f.scan == Some(s) => f.feature.name.clone(),
        Some(f) => format!("{} in {scan}", f.feature.name),
    }
}

/// The nearest place of the estimated surface; the raw one where nothing better is known.
pub(super) fn least(
    solid: &Solid,
    view: &ScanView,
    own: &dyn Fn(u32) -> bool,
    patch: &Patch<'_>,
    raw: &Witness,
    corners: &[u32; 3],
) -> Place {
    let band = raw.distance + band(patch);
    let mut near: Vec<(f64, u32)> = view
        .near
        .iter()
        .filter(|(i, h)| h.distance <= band && own(*i))
        .map(|(i, h)| (h.distance, *i))
        .collect();
    near.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    near.truncate(CANDIDATES);
    let seed = *corners
        .iter()
        .min_by(|&&a, &&b| {
            let d = |i: u32| (view.points[i as usize] - raw.on_b).norm_squared();
            d(a).total_cmp(&d(b)).then(a.cmp(&b))
        })
        .unwrap_or(&corners[0]);
    let raw_place = || {
        let deep = view.hit(seed).map_or(0.0, |h| h.distance.min(0.0));
        both(Place {
            on_part: raw.on_a,
            on_scan: raw.on_b,
            distance: raw.distance + deep,
            deviation: patch.noise,
            at_border: patch.scan.is_border(seed),
            smooth: false,
        })
    };
    // An estimate is nearer than every scanned place only by noise and by the bow of the surface
    // between points; nearer still, it was carried beyond what was seen.
    let seen = near.first().map_or(raw.distance, |n| n.0.min(raw.distance));
    let floor = seen - self::band(patch);
    let carried = |h: &Halves<Place>| h.first.distance < floor || h.second.distance < floor;
    let rest = |start: &Point3, seed: u32| rest(solid, patch, start, seed).filter(|h| !carried(h));
    let first = rest(&raw.on_b, seed).unwrap_or_else(raw_place);
    let others = near.par_iter().map(|&(_, i)| {
        let start = view.points[i as usize];
        // Where the surface is not smooth the point itself counts, with its own noise.
        rest(&start, i).or_else(|| edge_point(view, patch, i).map(both))
    });
    let mut places = vec![first];
    places.extend(others.collect::<Vec<_>>().into_iter().flatten());
    let (best, distance) = least_of(&places, |p| p.distance).unwrap_or((0, raw.distance));
    Place { distance, ..places.swap_remove(best).second }
}

/// A point at an edge as it is; `None` for one that hangs together with too little to be believed.
fn edge_point(view: &ScanView, patch: &Patch<'_>, i: u32) -> Option<Place> {
    let hit = view.hit(i)?;
    if !is_backed(patch, i) {
        return None;
    }
    Some(Place {
        on_part: hit.point,
        on_scan: view.points[i as usize],
        distance: hit.distance,
        deviation: EDGE_LOSS * patch.noise,
        at_border: patch.scan.is_border(i),
        smooth: false,
    })
}

/// Whether a point hangs together with enough near it to be believed where the surface is not smooth.
pub(super) fn is_backed(patch: &Patch<'_>, i: u32) -> bool {
    let own = patch.points[i as usize];
    let reach = EDGE_SUPPORT * patch.noise + patch.resolution;
    let backed = |n: &&u32| (patch.points[**n as usize] - own).norm() <= reach;
    patch.scan.neighbours(i).iter().filter(backed).count() >= 2
}

/// By how much raw distances may differ from the least one and still decide, mm.
pub(super) fn band(patch: &Patch<'_>) -> f64 {
    BAND * patch.noise + 0.25 * patch.resolution
}

/// Feet exchanged between part and surface until they rest, for each half of the neighbours.
fn rest(solid: &Solid, patch: &Patch<'_>, start: &Point3, seed: u32) -> Option<Halves<Place>> {
    let local = patch.local(seed)?;
    Some(Halves {
        first: rest_on(solid, patch, start, &local.first)?,
        second: rest_on(solid, patch, start, &local.second)?,
    })
}

fn rest_on(solid: &Solid, patch: &Patch<'_>, start: &Point3, local: &Local) -> Option<Place> {
    let mut on_scan = local.foot(start);
    let mut hit = solid.signed(&on_scan, f64::INFINITY)?;
    for _ in 0..EXCHANGES {
        let next = local.foot(&hit.point);
        if !local.holds(&next) || (next - on_scan).norm() <= SETTLED * patch.resolution {
            break;
        }
        let next_hit = solid.signed(&next, f64::INFINITY)?;
        if next_hit.distance >= hit.distance {
            break;
        }
        (on_scan, hit) = (next, next_hit);
    }
    Some(Place {
        on_part: hit.point,
        on_scan,
        distance: hit.distance,
        deviation: local.deviation,
        at_border: local.at_border,
        smooth: true,
    })
}

fn both(place: Place) -> Halves<Place> {
    Halves { first: place.clone(), second: place }
}

pub(super) fn direction(place: &Place) -> Option<Direction> {
    unit(place.on_part - place.on_scan)
}

pub(super) fn detail(place: &Place, raw: &Witness, shape: bool, limit: f64) -> String {
    let how = match (place.smooth, shape) {
        (true, true) => "to the fitted shape, offset by the local form",
        (true, false) => "to a surface through the neighbouring points",
        (false, _) => "to the nearest scan point itself (an edge, or too few neighbours)",
    };
    let mut text = format!(
        "least air {:.3} mm {how}; smallest raw distance {:.3} mm",
        place.distance, raw.distance
    );
    let gap = place.distance - raw.distance;
    if raw.distance < limit && gap > SPIKE * place.deviation.max(f64::MIN_POSITIVE) && gap > 0.0 {
        text += ", which single points standing off their surface explain";
    }
    text
}

/// Turns a pass at the scan's border into undecided where little unseen surface would break it, and
/// says what would help.
pub(super) fn judge(
    view: &View<'_>,
    place: &Place,
    budget: &Budget,
    found: &mut Finding,
    limit: f64,
) {
    if place.at_border {
        let spare = place.distance - limit;
        found.detail += "; the scan ends there, what lies beyond was not seen";
        if found.verdict == Verdict::Pass && spare < view.limits.unseen_reach {
            found.verdict = Verdict::Undecided;
            found.remedy = format!(
                "scan beyond ({:.1}, {:.1}, {:.1}): {spare:.1} mm of unseen surface could break the limit",
                place.on_scan.x, place.on_scan.y, place.on_scan.z
            );
            return;
        }
    }
    found.remedy = match found.verdict {
        Verdict::Pass => String::new(),
        Verdict::Fail => format!("move the part's surface there away by {:.2} mm", {
            limit - place.distance + budget.expanded()
        }),
        Verdict::Undecided => format!(
            "the uncertainty is mostly from {}; make that smaller, or {:.2} mm more room",
            budget.largest(),
            limit - place.distance + budget.expanded()
        ),
    };
}

/// Raw distances within this many deviations of the least are looked at.
const BAND: f64 = 6.0;
/// Most places looked at.
const CANDIDATES: usize = 400;
/// Deviations above the limit over which a patch hangs together.
const LINK: f64 = 6.0;
/// Most further places of one surface that are listed.
const PLACES: usize = 12;
/// Most exchanges of feet.
const EXCHANGES: usize = 20;
/// Movement of a foot, in spacings, below which it rests.
const SETTLED: f64 = 1e-9;
/// Deviations by which the raw distance must fall short to be called a spike in the text.
const SPIKE: f64 = 5.0;
/// A neighbour this many deviations and one spacing away backs a point at an edge.
const EDGE_SUPPORT: f64 = 3.0;
/// Deviations by which the nearest of the few single points along an edge comes out too near.
const EDGE_LOSS: f64 = 1.5;
