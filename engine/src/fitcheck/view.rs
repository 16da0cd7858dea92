//! The scene prepared for the checks: scans in machine coordinates, their points near the part, and
//! what each point belongs to.
//!
//! Contact is wanted at the seats: their surfaces, named by id, and what grows from them along the
//! seat's own plane are taken out. A seat's surface seen by another scan is found by lying on it.
//! Beside a seat the air grows from zero: surface that hangs together with the contact, no farther
//! from it than the air asked for, behind the seat's plane, and nearest to the part where the part
//! lies in that plane, is not held against the clearance. Nothing is taken out by distance alone.

use rayon::prelude::*;

use super::budget::deviation;
use super::coverage::bridges;
use super::others::{self, Other};
use super::scene::{Limits, Mount, Scene, SceneFeature, SceneScan};
use super::tool_access::ToolLimits;
use crate::error::{Error, Result};
use crate::exchange::Part;
use crate::primitive::{Point3, Primitive, Vec3};
use crate::solid::{Hit, Mesh, Solid};

/// What a scan point belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Owner {
    /// Nothing named.
    Rest,
    /// A feature of the scene.
    Feature(u32),
    /// A seat: contact is wanted.
    Seat(u32),
    /// Beside a seat, or in a hole a bolt goes into: less air than asked is unavoidable.
    Beside,
}

/// Everything the checks share.
pub(super) struct View<'a> {
    pub(super) part: &'a Part,
    pub(super) scene: &'a Scene<'a>,
    pub(super) limits: &'a Limits,
    pub(super) solid: Solid,
    pub(super) scans: Vec<ScanView>,
    pub(super) others: Vec<Other<'a>>,
    /// Whether the part stands where its bolts go in, not where it was designed.
    pub(super) moved: bool,
}

/// One scan, prepared.
pub(super) struct ScanView {
    /// Points in machine coordinates, mm.
    pub(super) points: Vec<Point3>,
    /// Standard deviation normal to the surface, mm.
    pub(super) noise: f64,
    pub(super) resolution: f64,
    /// Points nearer to the part than the checks look, with their signed distance; ascending ids.
    pub(super) near: Vec<(u32, Hit)>,
    pub(super) owner: Vec<Owner>,
    /// Triangles that were drawn over a gap; empty if there are none.
    bridges: Vec<bool>,
}

impl<'a> View<'a> {
    /// Places the scans, finds the points near the part and who owns them.
    pub(super) fn new(
        part: &'a Part,
        scene: &'a Scene<'a>,
        mounts: &[Mount],
        limits: &'a Limits,
    ) -> Result<Self> {
        check(part, scene, mounts, limits)?;
        let solid = others::solid_of(part)?;
        let others = scene.others.iter().map(Other::new).collect::<Result<_>>()?;
        let mut view = View { part, scene, limits, solid, scans: Vec::new(), others, moved: false };
        view.scans = (0..scene.scans.len()).map(|s| view.place(s)).collect();
        for s in 0..view.scans.len() {
            view.scans[s].owner = view.owners(s, mounts);
        }
        Ok(view)
    }

    /// Clearance a feature must have, mm.
    pub(super) fn limit_of(&self, feature: Option<usize>) -> f64 {
        feature.and_then(|f| self.scene.features[f].keep_clear).unwrap_or(self.limits.clearance)
    }

    /// Mesh of the triangles (points of a cloud) of a scan chosen by the owners of their corners.
    pub(super) fn mesh(&self, scan: usize, choose: impl Fn(&[Owner]) -> bool + Sync) -> Mesh {
        let owner = &self.scans[scan].owner;
        let of = |ids: &[u32]| {
            // A triangle's three or a point's one.
            let owners = [0, 1, 2].map(|k| owner[ids[k % ids.len()] as usize]);
            choose(&owners[..ids.len()])
        };
        self.mesh_by_corners(scan, of)
    }

    /// The same, chosen by the ids of their corners.
    pub(super) fn mesh_by_corners(
        &self,
        scan: usize,
        choose: impl Fn(&[u32]) -> bool + Sync,
    ) -> Mesh {
        let view = &self.scans[scan];
        let source = self.scene.scans[scan].scan;
        let triangles: Vec<[u32; 3]> = if source.triangles().is_empty() {
            let one = |i: &u32| choose(&[*i]);
            (0..view.points.len() as u32).filter(one).map(|i| [i; 3]).collect()
        } else {
            let real = |k: &usize| !view.bridges.get(*k).is_some_and(|b| *b);
            let all = source.triangles().iter().enumerate().filter(|(k, _)| real(k));
            all.map(|(_, t)| *t).filter(|t| choose(t)).collect()
        };
        Mesh::new(view.points.clone(), triangles)
    }

    /// Triangles of a scan but those drawn over a gap; the points of a cloud, each as a triangle.
    pub(super) fn surface(&self, scan: usize) -> Vec<[u32; 3]> {
        let all = self.scene.scans[scan].scan.triangles();
        if all.is_empty() {
            return (0..self.scans[scan].points.len() as u32).map(|i| [i; 3]).collect();
        }
        let bridges = &self.scans[scan].bridges;
        let real = all.iter().enumerate().filter(|(k, _)| !bridges.get(*k).is_some_and(|b| *b));
        real.map(|(_, t)| *t).collect()
    }

    /// Triangles of a scan that were drawn over a gap, `None` if there are none.
    pub(super) fn bridges(&self, scan: usize) -> Option<Vec<[u32; 3]>> {
        let bridges = &self.scans[scan].bridges;
        let all = self.scene.scans[scan].scan.triangles().iter().zip(bridges);
        let found: Vec<[u32; 3]> = all.filter(|(_, b)| **b).map(|(t, _)| *t).collect();
        (!found.is_empty()).then_some(found)
    }

    fn place(&self, s: usize) -> ScanView {
        let SceneScan { scan, machine_from_scan, .. } = &self.scene.scans[s];
        let points: Vec<Point3> =
            scan.points().par_iter().with_min_len(4096).map(|p| machine_from_scan * p).collect();
        let (noise, resolution) = (scan.noise(), scan.resolution());
        let hits = self.solid.signed_all(&points, self.reach(noise, resolution));
        let near = (0..).zip(hits).filter_map(|(i, h)| Some((i, h?))).collect();
        let bridges = bridges::find(&points, scan.triangles(), resolution);
        ScanView { points, noise, resolution, near, owner: Vec::new(), bridges }
    }

    /// How far the checks look in a scan of such noise and spacing, mm.
    pub(super) fn reach(&self, noise: f64, resolution: f64) -> f64 {
        let wanted = self.scene.features.iter().filter_map(|f| f.keep_clear);
        let moving = self.scene.motions.iter().filter_map(|m| m.clearance);
        let largest = wanted.chain(moving).fold(self.limits.clearance, f64::max);
        largest + 10.0 * noise + 4.0 * resolution + self.limits.seat_tolerance
    }

    /// The same part over a scene with its scans' points taken elsewhere; of these only those of seats are near.
    pub(super) fn over<'b>(
        &'b self,
        scene: &'b Scene<'b>,
        to: impl Fn(&Point3) -> Point3 + Sync,
    ) -> Result<View<'b>> {
        let solid = others::solid_of(self.part)?;
        let scans = self.scans.iter().map(|scan| {
            let points: Vec<Point3> = scan.points.par_iter().with_min_len(4096).map(&to).collect();
            let is_seat = |i: &u32| matches!(scan.owner[*i as usize], Owner::Seat(_));
            let ids: Vec<u32> = (0..points.len() as u32).filter(is_seat).collect();
            let some: Vec<Point3> = ids.iter().map(|&i| points[i as usize]).collect();
            let hits = solid.signed_all(&some, self.reach(scan.noise, scan.resolution));
            let near = ids.into_iter().zip(hits).filter_map(|(i, h)| Some((i, h?))).collect();
            ScanView {
                owner: scan.owner.clone(),
                ..ScanView::moved(points, scan.noise, scan.resolution, near)
            }
        });
        let scans = scans.collect();
        let (part, limits, others) = (self.part, self.limits, Vec::new());
        Ok(View { part, scene, limits, solid, scans, others, moved: self.moved })
    }

    fn owners(&self, s: usize, mounts: &[Mount]) -> Vec<Owner> {
        let view = &self.scans[s];
        let mut owner = vec![Owner::Rest; view.points.len()];
        let is_seat =
            |f: usize| self.scene.features[f].is_seat || mounts.iter().any(|m| m.seat == Some(f));
        let is_bolted = |f: usize| mounts.iter().any(|m| m.hole == f);
        for f in (0..self.scene.features.len()).rev().filter(|&f| !is_seat(f)) {
            let mine = if is_bolted(f) { Owner::Beside } else { Owner::Feature(f as u32) };
            for i in self.surface_in(f, s) {
                owner[i as usize] = mine;
            }
        }
        for f in (0..self.scene.features.len()).filter(|&f| is_seat(f)) {
            self.claim_seat(f, s, &mut owner);
        }
        owner
    }

    /// Points of a feature's surface in a scan: by id in its own; in another those near the part
    /// that lie on it.
    fn surface_in(&self, f: usize, s: usize) -> Vec<u32> {
        let feature = &self.scene.features[f];
        let Some(own) = feature.scan else { return Vec::new() };
        if own == s {
            return feature.surface.to_vec();
        }
        let seen = &self.scans[own].points;
        let surface: Vec<Point3> = feature.surface.iter().map(|&i| seen[i as usize]).collect();
        let ids = (0..surface.len() as u32).map(|i| [i; 3]).collect();
        let cloud = Mesh::new(surface, ids);
        let view = &self.scans[s];
        let (along, across) =
            (2.0 * view.resolution.max(self.scans[own].resolution), |p: &Point3| {
                4.0 * self.noise_at(&[s, own], p)
            });
        let lies_on = |(i, _): &&(u32, Hit)| {
            let p = &view.points[*i as usize];
            cloud.nearest(p, along + across(p), None).is_some()
        };
        view.near.par_iter().filter(lies_on).map(|(i, _)| *i).collect()
    }

    /// All that a scan shows of a feature, far from the part and on its far side too: what lies on its shape no
    /// farther from the seen surface than that surface is thick.
    pub(super) fn all_of(&self, f: usize, s: usize) -> Vec<u32> {
        let feature = &self.scene.features[f];
        let Some(own) = feature.scan else { return Vec::new() };
        let seen = &self.scans[own].points;
        let surface: Vec<Point3> = feature.surface.iter().map(|&i| seen[i as usize]).collect();
        let ids = (0..surface.len() as u32).map(|i| [i; 3]).collect();
        let cloud = Mesh::new(surface, ids);
        let resolution = self.scans[s].resolution.max(self.scans[own].resolution);
        let shape = &feature.feature.shape;
        let thick = match shape {
            Primitive::Cylinder(c) => 2.0 * c.radius,
            Primitive::Sphere(b) => 2.0 * b.radius,
            Primitive::Torus(t) => 2.0 * t.minor_radius,
            Primitive::Plane(_)
            | Primitive::Line(_)
            | Primitive::Circle(_)
            | Primitive::Cone(_)
            | Primitive::Composite(_) => 0.0,
        };
        let lies_on = |i: &u32| {
            let p = &self.scans[s].points[*i as usize];
            let band = 4.0 * self.noise_at(&[s, own], p) + OFF_SHAPE * resolution;
            // A scan's own points are known by id; the form of a fitted shape is not that of the surface.
            let on_shape = thick > 0.0 && shape.distance(p).abs() <= band;
            let reach = if on_shape { thick + 2.0 * resolution } else { band + 2.0 * resolution };
            (on_shape || s != own) && cloud.nearest(p, reach, None).is_some()
        };
        let mut all: Vec<u32> =
            (0..self.scans[s].points.len() as u32).into_par_iter().filter(lies_on).collect();
        if s == own {
            all.extend_from_slice(feature.surface);
        }
        all
    }

    /// Noise of several scans and of their joins at a place, mm.
    pub(super) fn noise_at(&self, scans: &[usize], p: &Point3) -> f64 {
        let of = |&s: &usize| {
            let join = self.scene.scans[s].join_covariance.map_or(0.0, |c| deviation(c, p, None));
            self.scans[s].noise.powi(2) + join.powi(2)
        };
        scans.iter().map(of).sum::<f64>().sqrt()
    }

    /// Marks a seat's contact and what lies beside it.
    fn claim_seat(&self, f: usize, s: usize, owner: &mut [Owner]) {
        let view = &self.scans[s];
        let scan = self.scene.scans[s].scan;
        let shape = &self.scene.features[f].feature.shape;
        let seeds = self.surface_in(f, s);
        let Some(out) = self.outward(f) else {
            seeds.iter().for_each(|&i| owner[i as usize] = Owner::Seat(f as u32));
            return;
        };
        let height = |i: u32| out * shape.distance(&view.points[i as usize]);
        let band = |i: u32| {
            let noise = self.noise_at(&[s], &view.points[i as usize]);
            self.limits.seat_tolerance.max(4.0 * noise)
        };
        // Grown over near points only: what the part cannot touch needs no owner.
        let mut contact = seeds;
        contact.iter().for_each(|&i| owner[i as usize] = Owner::Seat(f as u32));
        let mut next = 0;
        while let Some(&i) = contact.get(next) {
            next += 1;
            for &n in scan.neighbours(i) {
                let free = matches!(owner[n as usize], Owner::Rest | Owner::Beside);
                if free && view.hit(n).is_some() && height(n).abs() <= band(n) {
                    owner[n as usize] = Owner::Seat(f as u32);
                    contact.push(n);
                }
            }
        }
        let places: Vec<Point3> = contact.iter().map(|&i| view.points[i as usize]).collect();
        let ids = (0..places.len() as u32).map(|i| [i; 3]).collect();
        let places = Mesh::new(places, ids);
        // Air as asked cannot be had nearer to the contact than that air.
        let beside_reach = self.limits.clearance + 2.0 * view.resolution + 4.0 * view.noise;
        let on_contact = |i: u32| {
            view.hit(i).is_some_and(|h| shape.distance(&h.point).abs() <= band(i))
                && places.nearest(&view.points[i as usize], beside_reach, None).is_some()
        };
        let mut beside = contact;
        let mut next = 0;
        while let Some(&i) = beside.get(next) {
            next += 1;
            for &n in scan.neighbours(i) {
                if owner[n as usize] == Owner::Rest && height(n) <= band(n) && on_contact(n) {
                    owner[n as usize] = Owner::Beside;
                    beside.push(n);
                }
            }
        }
    }

    /// Sign that makes the seat's distance positive outside the machine, from the scan's normals;
    /// `None` for a seat that is no surface or has no points.
    pub(super) fn outward(&self, f: usize) -> Option<f64> {
        let SceneFeature { feature, scan, surface, .. } = &self.scene.features[f];
        let s = (*scan)?;
        let turn = self.scene.scans[s].machine_from_scan.rotation;
        let normals = self.scene.scans[s].scan.normals();
        let agree = |&i: &u32| {
            let n: Vec3 = turn * normals[i as usize];
            Some(feature.shape.normal_at(&self.scans[s].points[i as usize])?.dot(&n))
        };
        let sum: Option<f64> = surface.iter().map(agree).sum();
        sum.filter(|s| *s != 0.0).map(f64::signum)
    }

    /// Ideal shape of a feature if it is a surface.
    pub(super) fn surface_shape(&self, f: usize) -> Option<&Primitive> {
        let shape = &self.scene.features[f].feature.shape;
        shape.normal_at(&shape.point()).map(|_| shape)
    }
}

impl ScanView {
    /// Points of a scan taken elsewhere, for what asks no more than where they are.
    pub(super) fn moved(
        points: Vec<Point3>,
        noise: f64,
        resolution: f64,
        near: Vec<(u32, Hit)>,
    ) -> Self {
        ScanView { points, noise, resolution, near, owner: Vec::new(), bridges: Vec::new() }
    }

    /// Where a point is nearest to the part, `None` if it is not near.
    pub(super) fn hit(&self, id: u32) -> Option<&Hit> {
        let at = self.near.binary_search_by_key(&id, |n| n.0).ok()?;
        Some(&self.near[at].1)
    }
}

fn check(part: &Part, scene: &Scene<'_>, mounts: &[Mount], limits: &Limits) -> Result<()> {
    let corners = part.points.len();
    if let Some(t) = part.triangles.iter().flatten().find(|&&i| i as usize >= corners) {
        return Err(Error::argument("part triangle corner", t, format!("below {corners}")));
    }
    if part.triangles.is_empty() {
        return Err(Error::argument("part triangles", 0, "at least 4"));
    }
    if let Some(p) = part.points.iter().find(|p| p.iter().any(|x| !x.is_finite())) {
        return Err(Error::argument("part point", p, "finite coordinates"));
    }
    if let Some(way) = &limits.insertion {
        if !(1..=LARGEST_COUNT).contains(&way.directions) || way.tries > LARGEST_COUNT {
            let allowed = format!("directions 1 to {LARGEST_COUNT}, tries at most that");
            let given = format!("{} and {}", way.directions, way.tries);
            return Err(Error::argument("insertion directions and tries", given, allowed));
        }
        for (what, given, count) in [
            ("feature", &way.without, scene.features.len()),
            ("other part", &way.without_others, scene.others.len()),
        ] {
            if let Some(f) = given.iter().find(|&&f| f >= count) {
                let what = format!("{what} taken off for the insertion");
                return Err(Error::argument(what, f, format!("below {count}")));
            }
        }
    }
    let way = limits.insertion.iter().map(|i| ("insertion clearance", i.clearance));
    let named = [
        ("clearance", limits.clearance),
        ("seat_tolerance", limits.seat_tolerance),
        ("unseen_reach", limits.unseen_reach),
    ];
    let kept = scene.features.iter().filter_map(|f| Some(("keep_clear", f.keep_clear?)));
    let tools = limits.tools.iter().flat_map(ToolLimits::numbers);
    for (name, value) in named.into_iter().chain(kept).chain(tools).chain(way) {
        if !(value.is_finite() && value >= 0.0) {
            return Err(Error::argument(name, value, "zero or more, mm"));
        }
    }
    for (f, feature) in scene.features.iter().enumerate() {
        let Some(s) = feature.scan else { continue };
        let Some(scan) = scene.scans.get(s) else {
            let allowed = format!("below {}", scene.scans.len());
            return Err(Error::argument(format!("scan of feature {f}"), s, allowed));
        };
        let points = scan.scan.points().len();
        if let Some(i) = feature.surface.iter().find(|&&i| i as usize >= points) {
            let name = format!("surface point of {}", feature.feature.name);
            return Err(Error::argument(name, i, format!("below {points}")));
        }
    }
    let features = scene.features.len();
    for m in mounts {
        if let Some(f) = [Some(m.hole), m.seat].into_iter().flatten().find(|&f| f >= features) {
            return Err(Error::argument("feature of a mount", f, format!("below {features}")));
        }
    }
    Ok(())
}

/// Most straight directions, and most moves, tried for the way in: minutes on a large scan.
const LARGEST_COUNT: usize = 1_000_000;
/// How far a point of a feature may be off its fitted shape, in spacings, beside the noise.
const OFF_SHAPE: f64 = 0.25;
