//! Finding the features of a job, in the coordinates of the scan each is seen in.

use std::cell::OnceCell;
use std::sync::Arc;

use super::known::{Place, references};
use super::outcome::{FeatureOutcome, GroupOutcome, ScanOutcome};
use super::run::in_feature;
use super::spec::{FeatureSpec, FrameSpec, HoldSpec, Job, OptionSpec, RegionSpec};
use crate::associate::{
    ConstraintCost, Criterion, Fitter, Input, Member, NoiseModel, OptionSort, Request, fit_group,
};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::feature::{Feature, HoleSearch, intersection, midplane};
use crate::plugin::Registry;
use crate::primitive::{Kind, Point3, Pose};
use crate::region::{Grow, Region};
use crate::survey::{Survey, SurveyOptions};
use crate::units::Quantity;

/// A feature with what is needed to build others on it.
struct Found {
    /// In the coordinates of the first scan, the join's uncertainty included.
    first: Feature,
    /// In its own scan's coordinates.
    own: Feature,
    scan: Option<usize>,
    surface: Option<Region>,
    /// What it is held to, in the first scan's coordinates.
    held: Option<HoldSpec>,
    cost: Option<ConstraintCost>,
}

/// Points of a feature that waits for the others of its group.
struct Waiting {
    scan: usize,
    surface: Region,
    used: Region,
}

/// Finds features one after another.
pub(super) struct Finder<'a> {
    job: &'a Job,
    scans: &'a [ScanOutcome],
    registry: &'a Registry,
    context: &'a Context,
    mm: f64,
    rad: f64,
    machine_from_first: Pose,
    found: Vec<Option<Found>>,
    /// Noise of each scan, once its features have shown it.
    noise: Vec<Option<NoiseModel>>,
    waiting: Vec<Option<Waiting>>,
    groups: Vec<GroupOutcome>,
    /// Survey of each scan, once a feature names one of its primitives.
    surveys: Vec<OnceCell<Survey>>,
}

impl<'a> Finder<'a> {
    pub(super) fn new(
        job: &'a Job,
        scans: &'a [ScanOutcome],
        registry: &'a Registry,
        context: &'a Context,
    ) -> Result<Self> {
        Ok(Finder {
            job,
            scans,
            registry,
            context,
            mm: job.length_unit()?.to_mm(),
            rad: job.angle_unit()?.to_rad(),
            machine_from_first: Pose::identity(),
            found: job.features.iter().map(|_| None).collect(),
            noise: scans.iter().map(|_| None).collect(),
            waiting: job.features.iter().map(|_| None).collect(),
            groups: Vec::new(),
            surveys: scans.iter().map(|_| OnceCell::new()).collect(),
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

    /// The same features again, each with what all of them showed of their scan's noise: a small one
    /// cannot show slow noise of its own.
    pub(super) fn find_again_with_known_noise(&mut self) -> Result<()> {
        self.learn_noise();
        self.find_in_scan_coordinates()
    }

    /// Keeps what the features showed of their scans' noise, and forgets the features.
    fn learn_noise(&mut self) {
        let records = |scan| {
            let of_scan = self.found.iter().flatten().filter(move |f| f.scan == Some(scan));
            of_scan.filter_map(|f| f.own.noise.as_ref())
        };
        self.noise = (0..self.scans.len()).map(|s| NoiseModel::pooled(records(s))).collect();
        self.found.iter_mut().for_each(|f| *f = None);
        self.waiting.iter_mut().for_each(|w| *w = None);
        self.groups.clear();
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

    /// All features, picked in nearly machine coordinates, as far as they are there; of the others the reason.
    pub(super) fn find_what_is_there(
        &mut self,
        machine_from_first: &Pose,
    ) -> Result<Vec<Option<Error>>> {
        self.machine_from_first = *machine_from_first;
        let mut reasons = Vec::new();
        for round in 0..2 {
            if round > 0 {
                self.learn_noise();
            }
            reasons.clear();
            for k in 0..self.job.features.len() {
                reasons.push(match self.find(k) {
                    Ok(()) => None,
                    Err(e @ (Error::Cancelled | Error::Internal(_))) => return Err(e),
                    Err(e) => Some(e),
                });
            }
        }
        Ok(reasons)
    }

    /// A found feature in the first scan's coordinates.
    pub(super) fn in_first_scan(&self, name: &str) -> Result<&Feature> {
        Ok(&self.get(name)?.first)
    }

    /// Features in machine coordinates, and what the groups cost.
    pub(super) fn into_machine(
        mut self,
        machine_from_first: &Pose,
    ) -> (Vec<FeatureOutcome>, Vec<GroupOutcome>) {
        let mm = self.mm;
        let specs = self.job.features.iter();
        let features = specs
            .zip(std::mem::take(&mut self.found))
            .filter_map(|(spec, found)| found.map(|f| (spec, f)))
            .map(|(spec, found)| (spec, found.first.transformed(machine_from_first), found))
            .map(|(spec, feature, found)| FeatureOutcome {
                scanner: self.scanner(&feature, found.scan),
                feature,
                scan: found.scan,
                surface: found.surface.map(|s| s.ids().to_vec()).unwrap_or_default(),
                keep_clear: spec.keep_clear.map(|c| c * mm),
                held: found.held.map(|h| h.moved(machine_from_first, mm)),
                cost: found.cost,
            })
            .collect();
        (features, self.groups)
    }

    /// Standard deviation of a feature's distance from the machine's origin by the scanner's error, mm;
    /// without a datum system the origin is nobody's.
    fn scanner(&self, feature: &Feature, scan: Option<usize>) -> f64 {
        let error = scan.and_then(|s| self.scans[s].length_error);
        let length = feature.shape.point().coords.norm();
        match (error, &self.job.datum) {
            (Some(error), Some(_)) => error.deviation(length),
            _ => 0.0,
        }
    }

    /// Whether it, or one of its group, waits for the machine's frame.
    fn needs_machine(&self, k: usize) -> bool {
        let features = &self.job.features;
        match self.job.group_of(&features[k].name) {
            None => self.itself_needs_machine(k),
            Some(group) => (0..features.len()).any(|i| {
                self.job.group_of(&features[i].name) == Some(group) && self.itself_needs_machine(i)
            }),
        }
    }

    fn itself_needs_machine(&self, k: usize) -> bool {
        let spec = &self.job.features[k];
        let other = |name: &str| {
            self.job.features[..k]
                .iter()
                .position(|f| f.name == name)
                .map(|i| self.needs_machine(i))
        };
        spec.frame == FrameSpec::Machine || references(spec).any(|n| other(n) == Some(true))
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
        if let Some(group) = self.job.group_of(&spec.name) {
            let waiting = self.collect(spec).map_err(|e| in_feature(&spec.name, e))?;
            self.waiting[k] = Some(waiting);
            return self.find_group(group);
        }
        let found = self.find_one(spec).map_err(|e| in_feature(&spec.name, e))?;
        self.found[k] = Some(found);
        Ok(())
    }

    /// Points of a feature of a group.
    fn collect(&self, spec: &FeatureSpec) -> Result<Waiting> {
        let scan = self.scan_of(spec)?;
        let fitter = self.fitter(spec)?;
        let (surface, used) = self.points(spec, scan, fitter.kind())?;
        Ok(Waiting { scan, surface, used })
    }

    /// Fits a group once all its features have their points.
    fn find_group(&mut self, group: usize) -> Result<()> {
        let spec = &self.job.groups[group];
        let place = |e: Error| Error::Job {
            place: format!("[[group]] \"{}\"", spec.name),
            reason: e.to_string(),
        };
        let index = |name: &String| self.job.features.iter().position(|f| f.name == *name);
        let ids: Vec<usize> = spec.features.iter().filter_map(index).collect();
        let taken: Vec<&Waiting> = ids.iter().filter_map(|&k| self.waiting[k].as_ref()).collect();
        if taken.len() < spec.features.len() {
            return Ok(());
        }
        let data: Vec<_> = taken.iter().map(|w| (w.used.points(), w.used.normals())).collect();
        let mut members = Vec::new();
        for ((&k, w), (points, normals)) in ids.iter().zip(&taken).zip(&data) {
            let kind = self.fitter(&self.job.features[k])?.kind();
            let noise = Some(self.scans[w.scan].scan.noise());
            let input = Input { normals: Some(normals), noise, ..Input::new(points) };
            members.push(Member { kind, input });
        }
        let request = Request { context: Some(self.context.clone()), ..Request::default() };
        let fitted =
            fit_group(&members, spec.relation.relation(), &request).map_err(|e| match e {
                Error::Cancelled | Error::Internal(_) => e,
                e => place(e),
            })?;
        let mut done = Vec::new();
        for ((&k, w), fit) in ids.iter().zip(&taken).zip(fitted.members) {
            let feature = &self.job.features[k];
            let id = fitter_id(&feature.fit);
            let own = Feature::grouped(&feature.name, &id, fit, &w.surface);
            done.push((k, self.in_first(own, w.scan, Some(w.surface.clone()))));
        }
        for (k, found) in done {
            self.found[k] = Some(found);
        }
        self.groups.push(GroupOutcome {
            name: spec.name.clone(),
            relation: spec.relation.relation(),
            features: spec.features.clone(),
            cost: fitted.cost,
        });
        Ok(())
    }

    fn scan_of(&self, spec: &FeatureSpec) -> Result<usize> {
        let Some(name) = &spec.scan else { return Ok(0) };
        self.scans.iter().position(|s| s.name == *name).ok_or_else(|| Error::UnknownName {
            kind: "scan",
            name: name.clone(),
            nearest: None,
        })
    }

    fn fitter(&self, spec: &FeatureSpec) -> Result<Arc<dyn Fitter>> {
        self.registry.fitter(&fitter_id(&spec.fit)).map_err(|e| match e {
            Error::UnknownName { kind, .. } => {
                let plugins = self.registry.fitters().iter().map(|f| f.id());
                let known = FITS.into_iter().chain(plugins);
                let name = spec.fit.clone();
                Error::UnknownName { kind, nearest: super::read::nearest(&name, known), name }
            }
            refused => refused,
        })
    }

    /// The feature's options in mm and rad.
    fn options(&self, spec: &FeatureSpec, fitter: &dyn Fitter) -> Vec<(String, f64)> {
        let unit = |name: &str| {
            let option = fitter.options().iter().find(|o| o.name == name);
            match option.map(|o| o.sort) {
                Some(OptionSort::Number(Quantity::Length)) => self.mm,
                Some(OptionSort::Number(Quantity::Angle)) => self.rad,
                _ => 1.0,
            }
        };
        let value = |name: &str, value: &OptionSpec| match value {
            OptionSpec::Switch(yes) => f64::from(u8::from(*yes)),
            OptionSpec::Number(x) => x * unit(name),
        };
        spec.options.iter().map(|(name, x)| (name.clone(), value(name, x))).collect()
    }

    fn in_first(&self, own: Feature, scan: usize, surface: Option<Region>) -> Found {
        let outcome = &self.scans[scan];
        let own = outcome.length_error.map_or(own.clone(), |e| own.with_length_error(&e));
        let mut first = own.transformed(&outcome.first_from_this);
        if let Some(spread) = &outcome.spread {
            first.covariance = first.carried_by(spread);
        }
        Found { first, own, scan: Some(scan), surface, held: None, cost: None }
    }

    fn find_one(&self, spec: &FeatureSpec) -> Result<Found> {
        if let Some([a, b]) = &spec.of {
            return self.construct(spec, a, b);
        }
        let scan = self.scan_of(spec)?;
        if spec.fit == "hole" {
            let (own, surface) = self.hole(spec, scan)?;
            return Ok(self.in_first(own, scan, Some(surface)));
        }
        let (own, surface, cost) = self.surface(spec, scan)?;
        let first_from_frame = self.scans[scan].first_from_this * self.own_from_frame(spec, scan);
        let held = spec.hold.as_ref().map(|h| h.moved(&first_from_frame, self.mm));
        Ok(Found { held, cost, ..self.in_first(own, scan, Some(surface)) })
    }

    fn construct(&self, spec: &FeatureSpec, a: &str, b: &str) -> Result<Found> {
        let (a, b) = (self.in_first_scan(a)?, self.in_first_scan(b)?);
        let feature = match spec.fit.as_str() {
            "midplane" => midplane(&spec.name, a, b)?,
            _ => intersection(&spec.name, a, b)?,
        };
        Ok(Found {
            own: feature.clone(),
            first: feature,
            scan: None,
            surface: None,
            held: None,
            cost: None,
        })
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
            noise_model: self.noise[scan].as_ref(),
        };
        search.find(&self.request(spec)?)
    }

    fn surface(
        &self,
        spec: &FeatureSpec,
        scan: usize,
    ) -> Result<(Feature, Region, Option<ConstraintCost>)> {
        let fitter = self.fitter(spec)?;
        let (surface, used) = self.points(spec, scan, fitter.kind())?;
        let (points, normals) = (used.points(), used.normals());
        let input = Input {
            normals: Some(&normals),
            pick: used.pick(),
            noise: Some(self.scans[scan].scan.noise()),
            noise_model: self.noise[scan].as_ref(),
            resolution: Some(self.scans[scan].scan.resolution()),
            ..Input::new(&points)
        };
        let mut request = self.holding(spec, scan, self.request(spec)?)?;
        request.options = self.options(spec, &*fitter);
        let fit = fitter.fit(&input, &request)?;
        let cost = fit.cost;
        let id = fitter_id(&spec.fit);
        Ok((Feature::associated(&spec.name, &id, fit, &surface)?, surface, cost))
    }

    /// The request with what the feature is held to; a reference brings its own tilt.
    fn holding(&self, spec: &FeatureSpec, scan: usize, mut request: Request) -> Result<Request> {
        let Some(hold) = &spec.hold else { return Ok(request) };
        let own_from_first = self.scans[scan].first_from_this.inverse();
        let place = Place {
            mm: self.mm,
            rad: self.rad,
            own_from_frame: self.own_from_frame(spec, scan),
            own_from_first,
        };
        let reference = match hold.reference() {
            None => None,
            // Of one scan, its join is common to both; of another, it turns one against the other.
            Some(name) => {
                let found = self.get(name)?;
                let tilt = if found.scan == Some(scan) {
                    found.own.covariance.rotation()
                } else {
                    found.first.transformed(&own_from_first).covariance.rotation()
                };
                request.reference_tilt = Some(tilt);
                Some(&found.first)
            }
        };
        request.constraints = hold.constraints(&place, reference)?;
        Ok(request)
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
        let whole = match &spec.surveyed {
            Some(surveyed) => {
                let at = self.own_from_frame(spec, scan) * (Point3::from(surveyed.near) * self.mm);
                surveyed
                    .find(self.survey(scan)?, kind, &at, self.job.length_unit()?)?
                    .region
                    .clone()
            }
            None => cloud.grow_untrimmed(self.pick(spec, scan)?, &grow)?,
        };
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

    /// The survey of a scan, made when first asked for.
    fn survey(&self, scan: usize) -> Result<&Survey> {
        let made = &self.surveys[scan];
        if let Some(survey) = made.get() {
            return Ok(survey);
        }
        let options = SurveyOptions { context: Some(self.context.clone()), ..Default::default() };
        let survey = Survey::of(&self.scans[scan].scan, &options)?;
        Ok(made.get_or_init(|| survey))
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
        let name = spec.criterion.as_deref();
        let criterion = name.map_or(Some(Criterion::LeastSquares), Criterion::by_name);
        let criterion = criterion.ok_or_else(|| {
            let allowed = Criterion::ALL.map(Criterion::name).join(", ");
            Error::argument("criterion", name.unwrap_or_default(), allowed)
        })?;
        Ok(Request { criterion, context: Some(self.context.clone()), ..Request::default() })
    }
}

pub(super) fn fitter_id(fit: &str) -> String {
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
