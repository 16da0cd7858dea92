//! Finding the features of a job, in the coordinates of the scan each is seen in.

use super::outcome::{FeatureOutcome, ScanOutcome};
use super::run::in_feature;
use super::spec::{FeatureSpec, FrameSpec, Job, RegionSpec};
use crate::associate::{Criterion, Input, Request, fitter_by_id};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::feature::{Feature, HoleSearch, intersection, midplane};
use crate::primitive::{Kind, Point3, Pose};
use crate::region::{Grow, Region};

/// A feature with what is needed to build others on it.
struct Found {
    /// In the coordinates of the first scan, the join's uncertainty included.
    first: Feature,
    /// In its own scan's coordinates.
    own: Feature,
    scan: Option<usize>,
    surface: Option<Region>,
}

/// Finds features one after another.
pub(super) struct Finder<'a> {
    job: &'a Job,
    scans: &'a [ScanOutcome],
    context: &'a Context,
    mm: f64,
    machine_from_first: Pose,
    found: Vec<Option<Found>>,
}

impl<'a> Finder<'a> {
    pub(super) fn new(
        job: &'a Job,
        scans: &'a [ScanOutcome],
        context: &'a Context,
    ) -> Result<Self> {
        Ok(Finder {
            job,
            scans,
            context,
            mm: job.length_unit()?.to_mm(),
            machine_from_first: Pose::identity(),
            found: job.features.iter().map(|_| None).collect(),
        })
    }

    /// Features that the datum system may use: those picked in scan coordinates, and what builds on them.
    pub(super) fn find_in_scan_coordinates(&mut self) -> Result<()> {
        for k in 0..self.job.features.len() {
            if !self.needs_machine(k) {
                self.find(k)?;
            }
        }
        Ok(())
    }

    /// The rest.
    pub(super) fn find_in_machine_coordinates(&mut self, machine_from_first: &Pose) -> Result<()> {
        self.machine_from_first = *machine_from_first;
        for k in 0..self.job.features.len() {
            if self.found[k].is_none() {
                self.find(k)?;
            }
        }
        Ok(())
    }

    /// A found feature in the first scan's coordinates.
    pub(super) fn in_first_scan(&self, name: &str) -> Result<&Feature> {
        Ok(&self.get(name)?.first)
    }

    pub(super) fn into_machine(self, machine_from_first: &Pose) -> Vec<FeatureOutcome> {
        let mm = self.mm;
        let specs = self.job.features.iter();
        specs
            .zip(self.found)
            .filter_map(|(spec, found)| found.map(|f| (spec, f)))
            .map(|(spec, found)| FeatureOutcome {
                feature: found.first.transformed(machine_from_first),
                scan: found.scan,
                surface: found.surface.map(|s| s.ids().to_vec()).unwrap_or_default(),
                keep_clear: spec.keep_clear.map(|c| c * mm),
            })
            .collect()
    }

    fn needs_machine(&self, k: usize) -> bool {
        let spec = &self.job.features[k];
        let other = |name: &str| {
            self.job.features[..k]
                .iter()
                .position(|f| f.name == name)
                .map(|i| self.needs_machine(i))
        };
        let near = match &spec.region {
            Some(RegionSpec::Near { near, .. }) => Some(near),
            _ => None,
        };
        spec.frame == FrameSpec::Machine
            || spec.of.iter().flatten().chain(&spec.on).chain(near).any(|n| other(n) == Some(true))
    }

    fn get(&self, name: &str) -> Result<&Found> {
        let place = self.job.features.iter().position(|f| f.name == name);
        place.and_then(|k| self.found[k].as_ref()).ok_or_else(|| Error::UnknownName {
            kind: "feature found so far",
            name: name.into(),
            nearest: None,
        })
    }

    fn find(&mut self, k: usize) -> Result<()> {
        let spec = &self.job.features[k];
        let fraction = k as f64 / self.job.features.len() as f64;
        self.context.report(&format!("finding {}", spec.name), fraction)?;
        let found = self.find_one(spec).map_err(|e| in_feature(&spec.name, e))?;
        self.found[k] = Some(found);
        Ok(())
    }

    fn find_one(&self, spec: &FeatureSpec) -> Result<Found> {
        if let Some([a, b]) = &spec.of {
            return self.construct(spec, a, b);
        }
        let scan = match &spec.scan {
            None => 0,
            Some(name) => self.scans.iter().position(|s| s.name == *name).ok_or_else(|| {
                Error::UnknownName { kind: "scan", name: name.clone(), nearest: None }
            })?,
        };
        let (own, surface) =
            if spec.fit == "hole" { self.hole(spec, scan)? } else { self.surface(spec, scan)? };
        let outcome = &self.scans[scan];
        let mut first = own.transformed(&outcome.first_from_this);
        if let Some(join) = &outcome.join {
            first.covariance = first.carried_by(&join.covariance);
        }
        Ok(Found { first, own, scan: Some(scan), surface: Some(surface) })
    }

    fn construct(&self, spec: &FeatureSpec, a: &str, b: &str) -> Result<Found> {
        let (a, b) = (self.in_first_scan(a)?, self.in_first_scan(b)?);
        let feature = match spec.fit.as_str() {
            "midplane" => midplane(&spec.name, a, b)?,
            _ => intersection(&spec.name, a, b)?,
        };
        Ok(Found { own: feature.clone(), first: feature, scan: None, surface: None })
    }

    fn hole(&self, spec: &FeatureSpec, scan: usize) -> Result<(Feature, Region)> {
        let face = self.get(spec.on.as_deref().unwrap_or_default())?;
        let (Some(region), true) = (&face.surface, face.scan == Some(scan)) else {
            return Err(Error::Construction {
                what: format!("hole \"{}\"", spec.name),
                reason: format!(
                    "its face \"{}\" must be fitted in the same scan (\"{}\")",
                    face.own.name, self.scans[scan].name
                ),
            });
        };
        let search = HoleSearch {
            name: &spec.name,
            face: &face.own,
            face_region: region,
            pick: self.pick(spec, scan)?,
            largest_radius: spec.reach.map(|r| r * self.mm),
        };
        search.find(&self.request(spec)?)
    }

    fn surface(&self, spec: &FeatureSpec, scan: usize) -> Result<(Feature, Region)> {
        let id = fitter_id(&spec.fit);
        let fitter = fitter_by_id(&id).ok_or_else(|| Error::UnknownName {
            kind: "fitter",
            name: spec.fit.clone(),
            nearest: super::read::nearest(&spec.fit, FITS),
        })?;
        let (surface, used) = self.points(spec, scan, fitter.kind())?;
        let (points, normals) = (used.points(), used.normals());
        let input = Input {
            normals: Some(&normals),
            pick: used.pick(),
            noise: Some(self.scans[scan].scan.noise()),
            ..Input::new(&points)
        };
        let fit = fitter.fit(&input, &self.request(spec)?)?;
        Ok((Feature::associated(&spec.name, &id, fit, &surface)?, surface))
    }

    /// All points of the surface, and those that the fit uses.
    fn points(&self, spec: &FeatureSpec, scan: usize, kind: Kind) -> Result<(Region, Region)> {
        let cloud = &self.scans[scan].scan;
        if let Some(region) = &spec.region {
            let all = self.region(region, spec, scan)?;
            let used = spec.trim.map_or_else(|| all.clone(), |t| all.trimmed(t * self.mm));
            return Ok((all, used));
        }
        let mut grow = Grow::along(cloud, kind)?;
        if let Some(reach) = spec.reach {
            grow.distance = reach * self.mm;
        }
        let whole = cloud.grow_untrimmed(self.pick(spec, scan)?, &grow)?;
        let used = match spec.trim {
            Some(trim) => whole.trimmed(trim * self.mm),
            None => whole.trimmed_at_most(grow.trim).0,
        };
        if used.ids().is_empty() {
            return Err(Error::EmptyRegion {
                reason: format!(
                    "trim leaves nothing of {} points; make it smaller",
                    whole.ids().len()
                ),
            });
        }
        Ok((whole, used))
    }

    fn region(&self, region: &RegionSpec, spec: &FeatureSpec, scan: usize) -> Result<Region> {
        let cloud = &self.scans[scan].scan;
        let own_from_frame = self.own_from_frame(spec, scan);
        match region {
            RegionSpec::All(_) => Ok(Region::all(cloud)),
            RegionSpec::Sphere { sphere: [x, y, z, r] } => {
                let centre = own_from_frame * (Point3::new(*x, *y, *z) * self.mm);
                Region::in_sphere(cloud, centre, r * self.mm)
            }
            RegionSpec::Box { r#box: [low, high] } => {
                let frame_from_own = own_from_frame.inverse();
                let (low, high) = (Point3::from(*low) * self.mm, Point3::from(*high) * self.mm);
                Region::in_box_of(cloud, &frame_from_own, low, high)
            }
            RegionSpec::Near { near, within } => {
                let other = self.get(near)?;
                let own_from_first = self.scans[scan].first_from_this.inverse();
                let shape = other.first.shape.transformed(&own_from_first);
                Region::near(cloud, &shape, within * self.mm)
            }
        }
    }

    /// A pick in the scan's own coordinates, mm.
    fn pick(&self, spec: &FeatureSpec, scan: usize) -> Result<Point3> {
        let at = spec.at.ok_or_else(|| Error::Job {
            place: format!("[[feature]] \"{}\"", spec.name),
            reason: "needs `at`".into(),
        })?;
        Ok(self.own_from_frame(spec, scan) * (Point3::from(at) * self.mm))
    }

    fn own_from_frame(&self, spec: &FeatureSpec, scan: usize) -> Pose {
        let own_from_first = self.scans[scan].first_from_this.inverse();
        match spec.frame {
            FrameSpec::Scan => own_from_first,
            FrameSpec::Machine => own_from_first * self.machine_from_first.inverse(),
        }
    }

    fn request(&self, spec: &FeatureSpec) -> Result<Request> {
        let criterion = match spec.criterion.as_deref() {
            None | Some("least-squares") => Criterion::LeastSquares,
            Some(other) => {
                return Err(Error::argument("criterion", other, "least-squares"));
            }
        };
        Ok(Request { criterion, context: Some(self.context.clone()), ..Request::default() })
    }
}

fn fitter_id(fit: &str) -> String {
    if fit.contains('.') { fit.into() } else { format!("builtin.{fit}") }
}

/// Values of `fit` that need no plug-in.
const FITS: [&str; 10] = [
    "plane",
    "line",
    "circle",
    "sphere",
    "cylinder",
    "cone",
    "torus",
    "hole",
    "intersection",
    "midplane",
];
