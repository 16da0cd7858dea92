//! `[datum] again`: the datum system of an earlier run found again, by the recipes that it was saved with.

use serde::{Deserialize, Serialize};
use serde_json::{Value as Json, json};

use super::find::Finder;
use super::outcome::{AgainOutcome, FeatureOutcome, ScanOutcome};
use super::read::{CONSTRUCTIONS, wrong};
use super::result::Units;
use super::run::Folder;
use super::spec::{
    DatumSpec, FeatureSpec, FrameSpec, Head, HoldSpec, Job, JoinStart, OutputSpec, SurveyedSpec,
};
use crate::context::Context;
use crate::datum::{Datum, DatumSystem};
use crate::error::Result;
use crate::feature::{Feature, FeatureKind};
use crate::plugin::Registry;
use crate::primitive::{Point3, Pose, Vec3};
use crate::register::{
    AgainOptions, Change, Changes, LOOKED_FOR_WITHIN, Placed, SavedDatum, SavedFeature, SavedRule,
};

/// How a feature was fitted, mm, rad, machine coordinates.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Recipe {
    fit: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    at: Option<[f64; 3]>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    on: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    of: Option<[String; 2]>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    criterion: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    trim: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    reach: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    hold: Option<HoldSpec>,
}

/// A datum system that was found again.
pub(super) struct Again {
    pub(super) datum: DatumSystem,
    file: String,
    saved: SavedDatum,
    still: f64,
    changes: Changes,
    /// Saved features as they are today, machine coordinates.
    features: Vec<FeatureOutcome>,
}

impl DatumSpec {
    pub(super) fn validate_again(&self) -> Result<()> {
        let own = self.features().count();
        if self.again.is_some() && own > 0 {
            let text = "`again` brings the datums with it: leave out `primary`, `secondary` and `tertiary`";
            return Err(wrong("[datum]", text));
        }
        if self.again.is_none() && self.primary.is_none() {
            let text = "needs `primary = { feature = …, axis = … }`, or `again = \"datum.json\"` of an earlier run";
            return Err(wrong("[datum]", text));
        }
        if self.again.is_none() && (self.start.is_some() || self.still.is_some()) {
            return Err(wrong("[datum]", "`start` and `still` belong to `again`"));
        }
        if self.still.is_some_and(|s| !(s > 0.0 && s.is_finite())) {
            return Err(wrong("[datum] still", "must be a length above zero"));
        }
        Ok(())
    }
}

/// Finds the job's earlier datum system in its scans, if it names one.
pub(super) fn find(
    job: &Job,
    folder: &Folder,
    scans: &[ScanOutcome],
    registry: &Registry,
    context: &Context,
) -> Result<Option<Again>> {
    let Some((spec, file)) = job.datum.as_ref().and_then(|d| Some((d, d.again.as_ref()?))) else {
        return Ok(None);
    };
    let saved = SavedDatum::read(folder.path(file))?;
    let still = spec.still.map_or(Ok(STILL), |s| job.length_unit().map(|u| s * u.to_mm()))?;
    let placed: Vec<Placed<'_>> = scans
        .iter()
        .map(|s| Placed {
            scan: &s.scan,
            all_from_this: s.first_from_this,
            covariance: s.join.as_ref().map(|j| &j.covariance),
        })
        .collect();
    let mut options = AgainOptions::default();
    if spec.start == Some(JoinStart::Near) {
        options.start = Some(saved.machine_from_scan);
    }
    let coarse = saved.find(&placed, &options, context)?.machine_from_scan;
    let (again, reasons) = recipe_job(&saved, job, scans, &coarse)?;
    let mut finder = Finder::new(&again, scans, registry, context)?;
    let failed = finder.find_what_is_there(&coarse)?;
    let mut reasons: Vec<Option<String>> = reasons
        .into_iter()
        .zip(failed)
        .map(|(own, failed)| own.or(failed.map(|e| e.to_string())))
        .collect();
    let mut today: Vec<Option<Feature>> = Vec::new();
    for (f, reason) in saved.features.iter().zip(&mut reasons) {
        let found = finder.in_first_scan(&f.name).ok().filter(|_| reason.is_none()).cloned();
        let is_it = found.as_ref().is_some_and(|found| f.may_be(&found.transformed(&coarse)));
        if found.is_some() && !is_it {
            *reason = Some("what is seen there is of another size, or elsewhere".into());
        }
        today.push(found.filter(|_| is_it));
    }
    let (datum, note) = established(&saved, &today, &coarse, still)?;
    let machine = datum.machine_from_scan;
    let moved: Vec<Option<Feature>> =
        today.iter().map(|f| f.as_ref().map(|f| f.transformed(&machine))).collect();
    let mut changes = saved.changes(&moved.iter().map(Option::as_ref).collect::<Vec<_>>(), still);
    changes.notes.extend(note);
    for (change, reason) in changes.features.iter_mut().zip(reasons) {
        if let Some(reason) = reason {
            change.note = reason;
        }
    }
    let (all, _) = finder.into_machine(&machine);
    let seen = |f: &FeatureOutcome| {
        saved.features.iter().zip(&today).any(|(s, t)| s.name == f.feature.name && t.is_some())
    };
    let features = all.into_iter().filter(seen).collect();
    let file = file.display().to_string();
    Ok(Some(Again { datum, file, saved, still, changes, features }))
}

/// The datum system by its rule, or where one of its features is not seen, as the others have it.
fn established(
    saved: &SavedDatum,
    today: &[Option<Feature>],
    coarse: &Pose,
    still: f64,
) -> Result<(DatumSystem, Option<String>)> {
    let found = |name: &str| {
        let at = saved.features.iter().position(|f| f.name == name)?;
        today[at].as_ref()
    };
    let missing: Vec<&str> =
        saved.rule.iter().map(|r| r.feature.as_str()).filter(|n| found(n).is_none()).collect();
    if missing.is_empty() {
        let mut datums = Vec::new();
        for (rule, feature) in saved.rule.iter().filter_map(|r| Some((r, found(&r.feature)?))) {
            let mut datum = Datum::new(feature);
            if let Some(axis) = &rule.axis {
                datum = datum.axis(axis)?;
            }
            if let Some(sets) = &rule.sets {
                datum = datum.sets(sets)?;
            }
            datums.push(datum);
        }
        return Ok((DatumSystem::new(&datums)?, None));
    }
    let moved: Vec<Option<Feature>> =
        today.iter().map(|f| f.as_ref().map(|f| f.transformed(coarse))).collect();
    let changes = saved.changes(&moved.iter().map(Option::as_ref).collect::<Vec<_>>(), still);
    let note = format!(
        "datum feature \"{}\" was not seen: the machine's axes are those that the other features fit best",
        missing.join("\", \"")
    );
    let datum = DatumSystem {
        machine_from_scan: changes.still_from_machine * coarse,
        covariance: changes.still_covariance,
        squareness: Vec::new(),
        taken: vec![note.clone()],
    };
    Ok((datum, Some(note)))
}

/// A job that fits the saved features again, and why one of them cannot be.
fn recipe_job(
    saved: &SavedDatum,
    job: &Job,
    scans: &[ScanOutcome],
    machine_from_first: &Pose,
) -> Result<(Job, Vec<Option<String>>)> {
    let mut features = Vec::new();
    let mut reasons = Vec::new();
    for f in &saved.features {
        let place = format!("feature \"{}\" of the saved datum system", f.name);
        let recipe = f.recipe.clone().ok_or_else(|| wrong(&place, "has no recipe to fit it by"))?;
        let recipe: Recipe = serde_json::from_value(recipe)
            .map_err(|e| wrong(&place, &format!("its recipe: {e}")))?;
        let finite = recipe.at.iter().flatten().all(|x| x.is_finite());
        let lengths = [recipe.trim, recipe.reach].into_iter().flatten();
        if !finite || lengths.into_iter().any(|x| !(x >= 0.0 && x.is_finite())) {
            return Err(wrong(&place, "its recipe: lengths must be finite, not negative"));
        }
        let mut at = recipe.at;
        let mut scan = None;
        let mut reason = None;
        if let Some(p) = at {
            let near = nearest(scans, machine_from_first, &Point3::from(p));
            match near {
                Some((k, there, distance)) if distance <= LOOKED_FOR_WITHIN + f.extent => {
                    scan = Some(scans[k].name.clone());
                    // A pick may be in a hole's mouth; else it must be on the surface, which may have moved.
                    if recipe.fit != "hole" && distance <= LOOKED_FOR_WITHIN {
                        at = Some(there.into());
                    }
                }
                _ => reason = Some("nothing was scanned there".to_owned()),
            }
        }
        reasons.push(reason);
        features.push(FeatureSpec {
            name: f.name.clone(),
            fit: recipe.fit,
            options: Default::default(),
            at,
            frame: FrameSpec::Machine,
            scan,
            region: None,
            surveyed: None::<SurveyedSpec>,
            trim: recipe.trim,
            reach: recipe.reach,
            on: recipe.on,
            of: recipe.of,
            bolt: None,
            criterion: recipe.criterion,
            hold: recipe.hold,
            keep_clear: None,
        });
    }
    let job = Job {
        job: Head { name: job.job.name.clone(), length: "mm".into(), angle: "rad".into() },
        features,
        groups: Vec::new(),
        part: None,
        other_parts: Vec::new(),
        check: None,
        plugins: None,
        output: OutputSpec::default(),
        ..job.clone()
    };
    Ok((job, reasons))
}

/// Scan, place in machine coordinates and distance of the nearest scanned point.
fn nearest(
    scans: &[ScanOutcome],
    machine_from_first: &Pose,
    p: &Point3,
) -> Option<(usize, Point3, f64)> {
    let of = |(k, s): (usize, &ScanOutcome)| {
        let machine_from_scan = machine_from_first * s.first_from_this;
        let (id, distance) = s.scan.nearest(&(machine_from_scan.inverse() * p));
        (k, machine_from_scan * s.scan.points()[id as usize], distance)
    };
    scans.iter().enumerate().map(of).min_by(|a, b| a.2.total_cmp(&b.2).then(a.0.cmp(&b.0)))
}

/// The run's datum system with its features, to be found again.
pub(super) fn saved(
    job: &Job,
    again: Option<&Again>,
    features: &[FeatureOutcome],
    machine_from_scan: &Pose,
    scans: &[ScanOutcome],
) -> Result<Option<SavedDatum>> {
    let Some(spec) = &job.datum else { return Ok(None) };
    let (mm, rad) = (job.length_unit()?.to_mm(), job.angle_unit()?.to_rad());
    let own = features.iter().filter_map(|f| {
        let spec = job.feature(&f.feature.name)?;
        let recipe = recipe(spec, f, machine_from_scan, scans, mm, rad)?;
        saved_feature(f, scans, machine_from_scan, recipe)
    });
    let mut all: Vec<SavedFeature> = own.collect();
    let rule = match again {
        None => spec
            .features()
            .map(|d| SavedRule {
                feature: d.feature.clone(),
                axis: d.axis.clone(),
                sets: d.sets.clone(),
            })
            .collect(),
        Some(again) => {
            // As they are today; those that were not seen stay as they were.
            for f in &again.saved.features {
                if all.iter().all(|a| a.name != f.name) {
                    let today = again.features.iter().find(|t| t.feature.name == f.name);
                    let now = today.and_then(|t| {
                        saved_feature(t, scans, machine_from_scan, f.recipe.clone()?)
                    });
                    all.push(now.unwrap_or_else(|| f.clone()));
                }
            }
            // What others are built on stands before them.
            all.sort_by_key(|f| {
                let of = |key: &str| f.recipe.as_ref().is_some_and(|r| r.get(key).is_some());
                u8::from(of("on")) + 2 * u8::from(of("of"))
            });
            again.saved.rule.clone()
        }
    };
    let known: Vec<String> = all.iter().map(|f| f.name.clone()).collect();
    if !rule.iter().all(|r: &SavedRule| known.contains(&r.feature)) {
        return Ok(None);
    }
    Ok(Some(SavedDatum {
        job: job.job.name.clone(),
        machine_from_scan: *machine_from_scan,
        rule,
        features: all,
    }))
}

/// How a feature is fitted again; `None` for those of plug-ins.
fn recipe(
    spec: &FeatureSpec,
    found: &FeatureOutcome,
    machine_from_scan: &Pose,
    scans: &[ScanOutcome],
    mm: f64,
    rad: f64,
) -> Option<Json> {
    if spec.fit.contains('.') {
        return None;
    }
    let picked = spec.at.map(|at| match spec.frame {
        FrameSpec::Scan => machine_from_scan * (Point3::from(at) * mm),
        FrameSpec::Machine => Point3::from(at) * mm,
    });
    let at = match CONSTRUCTIONS.contains(&spec.fit.as_str()) {
        true => None,
        false => Some(picked.or_else(|| inner_point(found, scans, machine_from_scan))?.into()),
    };
    let hold = found.held.clone().map(|h| HoldSpec {
        radius: h.radius.map(|x| x * mm),
        major_radius: h.major_radius.map(|x| x * mm),
        minor_radius: h.minor_radius.map(|x| x * mm),
        half_angle: h.half_angle.map(|x| x * rad),
        through: h.through.map(|p| p.map(|x| x * mm)),
        ..h
    });
    let recipe = Recipe {
        fit: spec.fit.clone(),
        at,
        on: spec.on.clone(),
        of: spec.of.clone(),
        criterion: spec.criterion.clone(),
        trim: spec.trim.map(|x| x * mm),
        reach: spec.reach.map(|x| x * mm),
        hold,
    };
    serde_json::to_value(recipe).ok()
}

fn saved_feature(
    found: &FeatureOutcome,
    scans: &[ScanOutcome],
    machine_from_scan: &Pose,
    recipe: Json,
) -> Option<SavedFeature> {
    let feature = &found.feature;
    if feature.kind == FeatureKind::Composite {
        return None;
    }
    let points = surface(found, scans, machine_from_scan);
    let count = points.len().max(1) as f64;
    let mean = Point3::from(points.iter().map(|p| p.coords).sum::<Vec3>() / count);
    // A hole is at its mouth, what is constructed where it was made.
    let middle = match feature.kind {
        FeatureKind::Hole => feature.shape.point(),
        _ if points.is_empty() => feature.shape.point(),
        _ => mean,
    };
    let extent = points.iter().map(|p| (p - middle).norm()).fold(0.0, f64::max);
    let radius = crate::register::size_of(&feature.shape);
    Some(SavedFeature {
        name: feature.name.clone(),
        kind: feature.kind,
        shape: feature.shape.clone(),
        covariance: feature.covariance.clone(),
        middle,
        extent: if points.is_empty() { radius } else { extent },
        recipe: Some(recipe),
    })
}

/// Points of a feature's surface, machine coordinates.
fn surface(found: &FeatureOutcome, scans: &[ScanOutcome], machine_from_scan: &Pose) -> Vec<Point3> {
    let Some(scan) = found.scan.map(|k| &scans[k]) else { return Vec::new() };
    let pose = machine_from_scan * scan.first_from_this;
    found.surface.iter().map(|&id| pose * scan.scan.points()[id as usize]).collect()
}

/// A point of the surface, away from its edges, near its middle.
fn inner_point(
    found: &FeatureOutcome,
    scans: &[ScanOutcome],
    machine_from_scan: &Pose,
) -> Option<Point3> {
    let scan = &scans[found.scan?].scan;
    let points = surface(found, scans, machine_from_scan);
    let count = points.len().max(1) as f64;
    let middle = Point3::from(points.iter().map(|p| p.coords).sum::<Vec3>() / count);
    let on = |id: &u32| found.surface.binary_search(id).is_ok();
    let inner = |id: u32| {
        let around = scan.neighbours(id);
        around.iter().all(on) && around.iter().all(|&i| scan.neighbours(i).iter().all(on))
    };
    let all = found.surface.iter().zip(&points);
    let chosen = all.filter(|(id, _)| inner(**id)).map(|(_, p)| *p);
    chosen.min_by(|a, b| (a - middle).norm().total_cmp(&(b - middle).norm()))
}

impl Again {
    /// Puts the features that the job does not name itself behind its own.
    pub(super) fn into_outcome(self, features: &mut Vec<FeatureOutcome>) -> AgainOutcome {
        for f in self.features {
            if features.iter().all(|own| own.feature.name != f.feature.name) {
                features.push(f);
            }
        }
        AgainOutcome {
            file: self.file,
            job: self.saved.job,
            still: self.still,
            changes: self.changes,
        }
    }
}

impl Units {
    pub(super) fn again(&self, again: &AgainOutcome) -> Json {
        let changes = &again.changes;
        let change = |c: &Change| {
            let mut out = json!({ "name": c.name, "verdict": c.moved.name() });
            if c.moved != crate::register::Moved::NotSeen {
                out["shift"] = self.point(&Point3::from(c.shift));
                out["distance"] = self.len(c.shift.norm());
                out["distance_uncertainty"] = self.len(c.shift_uncertainty);
                out["turn"] = self.ang(c.turn);
                out["turn_uncertainty"] = self.ang(c.turn_uncertainty);
                out["size"] = self.len(c.sizes[0]);
                out["size_uncertainty"] = self.len(c.size_uncertainties[0]);
            }
            if !c.note.is_empty() {
                out["note"] = json!(c.note);
            }
            out
        };
        json!({
            "file": again.file, "job": again.job, "still": self.len(again.still),
            "features": changes.features.iter().map(change).collect::<Vec<_>>(),
            "chi_square": changes.square, "freedoms": changes.freedoms,
            "probability": changes.probability, "stand_out": changes.stand_out,
            "notes": changes.notes,
        })
    }
}

/// Change up to which a feature counts as where it was, mm.
const STILL: f64 = 0.1;
