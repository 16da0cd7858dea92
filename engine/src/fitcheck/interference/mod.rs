//! Where part and scan overlap: each connected patch with its depth, extent and number of points.
//!
//! Scan points inside the part and scan triangles that touch it, seats taken out by name, joined
//! over the scan's triangles. The depth is that of the locally estimated surface, so a single point
//! that stands off its neighbours does not decide; such points are reported together as undecided.

mod size;

use std::collections::{BTreeMap, BTreeSet};

use super::budget::Budget;
use super::local::{Halves, Local, Patch, least_of};
use super::view::{Owner, View};
use super::{Finding, Measure, Verdict};
use crate::primitive::{Point3, unit};
use crate::solid::{Mesh, Sets};

/// One finding per patch; a passed one if there is none.
pub(super) fn check(view: &View<'_>) -> Vec<Finding> {
    let mut findings: Vec<Finding> =
        (0..view.scans.len()).flat_map(|s| Overlap::new(view, s).findings()).collect();
    if findings.is_empty() {
        let looked: usize = view.scans.iter().map(|s| s.points.len()).sum();
        let mut free = Finding::new("interference", "part");
        free.detail =
            format!("none of {looked} scan points or their triangles reach into the part");
        findings.push(free);
    }
    findings
}

/// Overlap of the part with one scan.
struct Overlap<'a> {
    view: &'a View<'a>,
    scan: usize,
    /// The scan without its seats.
    mesh: Mesh,
    /// Touching triangles, the part's first.
    pairs: Vec<(u32, u32)>,
}

/// A connected patch.
#[derive(Default)]
struct Blob {
    /// Points inside the part and their depth.
    inside: Vec<(u32, f64)>,
    pairs: Vec<(u32, u32)>,
}

/// Deepest place of a patch.
#[derive(Clone)]
struct Deepest {
    depth: f64,
    deviation: f64,
    on_part: Point3,
    on_scan: Point3,
}

impl<'a> Overlap<'a> {
    fn new(view: &'a View<'a>, scan: usize) -> Self {
        let mesh = view.mesh(scan, |o| !o.iter().any(|o| matches!(o, Owner::Seat(_))));
        // A bare point on the part's surface says nothing that its side does not.
        let is_mesh = !view.scene.scans[scan].scan.triangles().is_empty();
        let pairs = if is_mesh { view.solid.touching_pairs(&mesh) } else { Vec::new() };
        Overlap { view, scan, mesh, pairs }
    }

    fn findings(&self) -> Vec<Finding> {
        let (mut lone, mut findings) = (Vec::new(), Vec::new());
        for blob in self.blobs() {
            let supported = self.deepest(&blob);
            match supported.filter(|d| d.depth > 0.0) {
                Some(deepest) => findings.push(self.finding(&blob, &deepest)),
                None => lone.extend(blob.inside),
            }
        }
        if let Some(&(id, depth)) = lone.iter().max_by(|a, b| a.1.total_cmp(&b.1)) {
            let explained = NOISE_EXPLAINS * self.view.scans[self.scan].noise;
            if depth > explained {
                findings.push(self.lone(id, depth, lone.len()));
            }
        }
        findings
    }

    /// Patches joined over the triangles of the scan (the neighbours of a cloud).
    fn blobs(&self) -> Vec<Blob> {
        let view = &self.view.scans[self.scan];
        let scan = self.view.scene.scans[self.scan].scan;
        let inside: Vec<(u32, f64)> = view
            .near
            .iter()
            .filter(|(i, h)| h.distance < 0.0 && !matches!(view.owner[*i as usize], Owner::Seat(_)))
            .map(|(i, h)| (*i, -h.distance))
            .collect();
        let is_inside = |i: u32| inside.binary_search_by_key(&i, |x| x.0).is_ok();
        let mut sets = Sets::new(view.points.len());
        for &(i, _) in &inside {
            for &n in scan.neighbours(i).iter().filter(|&&n| is_inside(n)) {
                sets.join(i, n);
            }
        }
        for &(_, t) in &self.pairs {
            let [a, b, c] = self.mesh.triangles()[t as usize];
            sets.join(a, b);
            sets.join(a, c);
        }
        let mut blobs: BTreeMap<u32, Blob> = BTreeMap::new();
        for (i, depth) in inside {
            blobs.entry(sets.root(i)).or_default().inside.push((i, depth));
        }
        for &(p, t) in &self.pairs {
            let corner = self.mesh.triangles()[t as usize][0];
            blobs.entry(sets.root(corner)).or_default().pairs.push((p, t));
        }
        blobs.into_values().collect()
    }

    /// Deepest place of the estimated surface among the deepest points; `None` if none is believed.
    fn deepest(&self, blob: &Blob) -> Option<Deepest> {
        let view = &self.view.scans[self.scan];
        let mut order = blob.inside.clone();
        order.sort_unstable_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        order.truncate(CANDIDATES);
        let owner = order.first().map(|&(i, _)| view.owner[i as usize]);
        let patch = Patch {
            scan: self.view.scene.scans[self.scan].scan,
            points: &view.points,
            shape: match owner {
                Some(Owner::Feature(f)) => self.view.surface_shape(f as usize),
                _ => None,
            },
            noise: view.noise,
            resolution: view.resolution,
        };
        let shape_owner = owner.filter(|_| patch.shape.is_some());
        if blob.inside.is_empty() {
            return self.pierced(blob);
        }
        let on = |i: u32, local: &Local| {
            let on_scan = local.foot(&view.points[i as usize]);
            let hit = self.view.solid.signed(&on_scan, f64::INFINITY)?;
            let (depth, deviation) = (-hit.distance, local.deviation);
            Some(Deepest { depth, deviation, on_part: hit.point, on_scan })
        };
        let judge = |&(i, depth): &(u32, f64)| {
            let same = shape_owner.is_none_or(|o| view.owner[i as usize] == o);
            let local = if same { patch.local(i) } else { None };
            match local {
                Some(l) => Some(Halves { first: on(i, &l.first)?, second: on(i, &l.second)? }),
                None => {
                    let edge = self.at_edge(blob, i, depth)?;
                    Some(Halves { first: edge.clone(), second: edge })
                }
            }
        };
        let mut all: Vec<Halves<Deepest>> = order.iter().filter_map(judge).collect();
        let (best, distance) = least_of(&all, |d| -d.depth)?;
        Some(Deepest { depth: -distance, ..all.swap_remove(best).second })
    }

    /// A point where the surface is not smooth counts as it is if another of its patch is beside it.
    fn at_edge(&self, blob: &Blob, i: u32, depth: f64) -> Option<Deepest> {
        let view = &self.view.scans[self.scan];
        let scan = self.view.scene.scans[self.scan].scan;
        let mine = |n: &&u32| blob.inside.binary_search_by_key(*n, |x| x.0).is_ok();
        if scan.neighbours(i).iter().filter(mine).count() < 2 {
            return None;
        }
        let on_part = view.hit(i)?.point;
        let on_scan = view.points[i as usize];
        Some(Deepest { depth, deviation: view.noise, on_part, on_scan })
    }

    /// Depth of a patch without a scan point inside: how far corners of the part lie behind the scan,
    /// or the middle of what they share lies inside the part.
    fn pierced(&self, blob: &Blob) -> Option<Deepest> {
        let deviation = self.view.scans[self.scan].noise;
        let mut best: Option<Deepest> = None;
        let mut offer = |depth: f64, on_part: Point3, on_scan: Point3| {
            if best.as_ref().is_none_or(|b| depth > b.depth) {
                best = Some(Deepest { depth, deviation, on_part, on_scan });
            }
        };
        for &(p, t) in &blob.pairs {
            let corners = self.mesh.corners(t);
            let size =
                (0..3).map(|k| (corners[k] - corners[(k + 1) % 3]).norm()).fold(0.0, f64::max);
            for i in self.view.part.triangles[p as usize] {
                let q = self.view.part.points[i as usize];
                let Some(hit) = self.mesh.nearest(&q, size, Some(t)) else { continue };
                if self.mesh.is_behind(&q, &hit) == Some(true) {
                    offer(hit.distance, q, hit.point);
                }
            }
            let middle = nalgebra::center(&nalgebra::center(&corners[0], &corners[1]), &corners[2]);
            if let Some(hit) = self.view.solid.signed(&middle, f64::MIN_POSITIVE) {
                offer(-hit.distance, hit.point, middle);
            }
        }
        // Touching without a measurable depth is still touching.
        if best.is_none() {
            let at = self.mesh.corners(blob.pairs.first()?.1)[0];
            best = Some(Deepest { depth: f64::MIN_POSITIVE, deviation, on_part: at, on_scan: at });
        }
        best
    }

    fn finding(&self, blob: &Blob, deepest: &Deepest) -> Finding {
        let view = self.view;
        let along = unit(deepest.on_part - deepest.on_scan);
        let mut budget = Budget::of_place(
            view.scene,
            Some(self.scan),
            view.part.chord_error,
            &deepest.on_part,
            along.as_ref(),
        );
        budget.add("scan noise", deepest.deviation);
        let uncertainty = budget.expanded();
        let mut found = Finding::new("interference", self.name(blob));
        found.verdict = Verdict::at_most(deepest.depth, 0.0, uncertainty);
        found.value = Some(deepest.depth);
        found.spend(&budget);
        found.limit = Some(0.0);
        (found.at, found.to) = (Some(deepest.on_part), Some(deepest.on_scan));
        found.extent = Some(self.extent(blob));
        found.points = Some(blob.inside.len());
        let raw = blob.inside.iter().map(|x| x.1).fold(0.0, f64::max);
        found.detail = format!(
            "{} scan points inside the part and {} touching triangle pairs over {:.1} mm; deepest \
             {:.3} mm on the estimated surface, {raw:.3} mm at a single point",
            blob.inside.len(),
            blob.pairs.len(),
            self.extent(blob),
            deepest.depth,
        );
        let triangles = self.triangles(blob);
        if !triangles.is_empty() {
            let size = size::of(view, &self.mesh, &triangles);
            found.number("area", size.area, Measure::Area);
            found.number("volume", size.volume, Measure::Volume);
        }
        found.remedy = match found.verdict {
            Verdict::Fail => {
                format!("take {:.2} mm off the part there", deepest.depth + uncertainty)
            }
            _ => format!(
                "contact within the uncertainty, which is mostly from {}; scan again there or give it room",
                budget.largest()
            ),
        };
        found
    }

    /// Triangles of the scan that take part, ascending, and whether each touches the part's surface.
    fn triangles(&self, blob: &Blob) -> Vec<(u32, bool)> {
        if self.view.scene.scans[self.scan].scan.triangles().is_empty() {
            return Vec::new();
        }
        let crossing: BTreeSet<u32> = blob.pairs.iter().map(|p| p.1).collect();
        let inside = |i: &u32| blob.inside.binary_search_by_key(i, |x| x.0).is_ok();
        let whole = |t: &u32| {
            self.mesh.triangles()[*t as usize].iter().all(inside) && !crossing.contains(t)
        };
        let all = 0..self.mesh.triangles().len() as u32;
        let mut found: Vec<(u32, bool)> = all.filter(whole).map(|t| (t, false)).collect();
        found.extend(crossing.iter().map(|&t| (t, true)));
        found.sort_unstable();
        found
    }

    /// Points that nothing round them supports.
    fn lone(&self, id: u32, depth: f64, count: usize) -> Finding {
        let view = &self.view.scans[self.scan];
        let mut found = Finding::new(
            "interference",
            format!("isolated points of {}", self.view.scene.scans[self.scan].name),
        );
        found.verdict = Verdict::Undecided;
        found.value = Some(depth);
        found.limit = Some(0.0);
        found.at = view.hit(id).map(|h| h.point);
        found.to = Some(view.points[id as usize]);
        found.points = Some(count);
        found.detail = format!(
            "{count} scan points inside the part, the deepest {depth:.3} mm, stand off the surface \
             round them: noise spikes by all appearance, not judged"
        );
        found.remedy = "scan the place again, or delete the points if they are not real".into();
        found
    }

    /// The feature most of the points belong to, else the scan.
    fn name(&self, blob: &Blob) -> String {
        let view = &self.view.scans[self.scan];
        let corners = blob.pairs.iter().flat_map(|p| self.mesh.triangles()[p.1 as usize]);
        let ids = blob.inside.iter().map(|x| x.0).chain(corners);
        let mut votes: BTreeMap<u32, usize> = BTreeMap::new();
        let mut all = 0;
        for i in ids {
            all += 1;
            if let Owner::Feature(f) = view.owner[i as usize] {
                *votes.entry(f).or_default() += 1;
            }
        }
        match votes.into_iter().max_by_key(|v| v.1) {
            Some((f, n)) if 2 * n > all => {
                self.view.scene.features[f as usize].feature.name.clone()
            }
            _ => self.view.scene.scans[self.scan].name.to_owned(),
        }
    }

    /// Longest side of the box round the patch, mm.
    fn extent(&self, blob: &Blob) -> f64 {
        let view = &self.view.scans[self.scan];
        let touched = blob.pairs.iter().flat_map(|p| self.mesh.corners(p.1));
        let inside = blob.inside.iter().map(|x| view.points[x.0 as usize]);
        // Touching triangles of a coarse scan reach far beyond the patch: points alone, if there are.
        let points: Vec<Point3> =
            if blob.inside.is_empty() { touched.collect() } else { inside.collect() };
        let Some(first) = points.first() else { return 0.0 };
        let (low, high) = points.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)));
        (high - low).max()
    }
}

/// Deepest points looked at in each patch.
const CANDIDATES: usize = 60;
/// Depth in deviations of one point that noise on a touching surface explains.
const NOISE_EXPLAINS: f64 = 6.0;
