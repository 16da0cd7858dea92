//! Reading a job file: parsing with the place of each mistake, then checks that no key contradicts another.

use std::collections::BTreeSet;
use std::path::Path;

use super::spec::{FeatureSpec, FrameSpec, Job, JoinBy, JoinStart, OptionSpec, RegionSpec};
use crate::associate::{Criterion, fitter_by_id};
use crate::error::{Error, Result};
use crate::units::{AngleUnit, LengthUnit};

impl Job {
    /// Reads and validates a job file.
    ///
    /// # Errors
    /// [`Error::Io`]; [`Error::Job`] with line and remedy; [`Error::DuplicateName`];
    /// [`Error::UnknownName`] with the nearest known name.
    pub fn read(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let size = std::fs::metadata(path).map_err(|e| Error::io(path, &e))?.len();
        if size > LARGEST_FILE {
            return Err(Error::Limit {
                what: format!("size of job file {}", path.display()),
                found: size,
                limit: LARGEST_FILE,
            });
        }
        let bytes = std::fs::read(path).map_err(|e| Error::io(path, &e))?;
        let text = String::from_utf8(bytes).map_err(|e| Error::Job {
            place: format!("byte {}", e.utf8_error().valid_up_to()),
            reason: "not UTF-8 text".into(),
        })?;
        Self::parse(&text)
    }

    /// Reads and validates the text of a job file.
    ///
    /// # Errors
    /// As [`Job::read`].
    pub fn parse(text: &str) -> Result<Self> {
        let job: Job = toml::from_str(text).map_err(|e| from_toml(text, &e))?;
        job.validate()?;
        Ok(job)
    }

    /// The job's unit of length.
    ///
    /// # Errors
    /// [`Error::Argument`] for an unknown symbol; a validated job has none.
    pub fn length_unit(&self) -> Result<LengthUnit> {
        LengthUnit::parse(&self.job.length)
    }

    /// The job's unit of angle.
    ///
    /// # Errors
    /// [`Error::Argument`] for an unknown symbol; a validated job has none.
    pub fn angle_unit(&self) -> Result<AngleUnit> {
        AngleUnit::parse(&self.job.angle)
    }

    fn validate(&self) -> Result<()> {
        at("[job] length", self.length_unit())?;
        at("[job] angle", self.angle_unit())?;
        if self.scans.is_empty() {
            return Err(wrong("[[scan]]", "a job needs at least one scan"));
        }
        unique("scan", self.scans.iter().map(|s| s.name.as_str()))?;
        unique("feature", self.features.iter().map(|f| f.name.as_str()))?;
        self.validate_scans()?;
        self.validate_joining()?;
        for (k, feature) in self.features.iter().enumerate() {
            self.validate_feature(feature, &self.features[..k])?;
            self.validate_hold(feature, &self.features[..k])?;
        }
        self.validate_groups()?;
        self.validate_plugins()?;
        self.validate_datum()?;
        self.validate_part()?;
        self.validate_other_parts()?;
        self.validate_output()
    }

    fn validate_scans(&self) -> Result<()> {
        for (k, scan) in self.scans.iter().enumerate() {
            let place = format!("[[scan]] \"{}\"", scan.name);
            if let Some(unit) = &scan.unit {
                at(&format!("{place} unit"), LengthUnit::parse(unit))?;
            }
            let Some(join) = &scan.join else {
                if k > 0 {
                    return Err(wrong(
                        &place,
                        "every scan but the first needs `join`, for example join = { to = \
                         \"front\", by = \"surface\" }; by = \"nothing\" says that the file \
                         already has that scan's coordinates",
                    ));
                }
                continue;
            };
            if k == 0 {
                return Err(wrong(&place, "the first scan is the reference and joins nothing"));
            }
            known("scan", &join.to, self.scans[..k].iter().map(|s| s.name.as_str()))?;
            let other = self.scans.iter().find(|s| s.name == join.to);
            if join.start == JoinStart::Unknown && join.by != JoinBy::Surface {
                let text = "`start = \"unknown\"` goes with `by = \"surface\"`: the other ways need no start";
                return Err(wrong(&place, text));
            }
            join.validate_same(&place)?;
            if join.by == JoinBy::Targets {
                if join.targets.is_none() && scan.targets.is_none() {
                    return Err(wrong(&place, "joining by targets needs `targets` of this scan"));
                }
                if other.is_none_or(|o| o.targets.is_none()) {
                    return Err(wrong(
                        &place,
                        &format!("joining by targets needs `targets` at [[scan]] \"{}\"", join.to),
                    ));
                }
            }
        }
        Ok(())
    }

    fn validate_feature(&self, feature: &FeatureSpec, before: &[FeatureSpec]) -> Result<()> {
        let place = format!("[[feature]] \"{}\"", feature.name);
        let names = || before.iter().map(|f| f.name.as_str());
        if let Some(scan) = &feature.scan {
            known("scan", scan, self.scans.iter().map(|s| s.name.as_str()))?;
        }
        for (key, value) in
            [("trim", feature.trim), ("reach", feature.reach), ("keep_clear", feature.keep_clear)]
        {
            if value.is_some_and(|v| !(v >= 0.0 && v.is_finite())) {
                return Err(wrong(&format!("{place} {key}"), "must be a length, not negative"));
            }
        }
        let constructed = CONSTRUCTIONS.contains(&feature.fit.as_str());
        if constructed != feature.of.is_some() {
            return Err(wrong(
                &place,
                if constructed {
                    "a construction needs `of = [\"first\", \"second\"]`"
                } else {
                    "`of` belongs to constructions (intersection, midplane)"
                },
            ));
        }
        for name in feature.of.iter().flatten() {
            known("feature before this one", name, names())?;
        }
        if !constructed {
            self.validate_points(feature, &place)?;
        }
        match (&feature.on, feature.fit.as_str()) {
            (Some(face), "hole") => known("feature before this one", face, names())?,
            (None, "hole") => {
                return Err(wrong(&place, "a hole needs `on`, the face that it opens in"));
            }
            (Some(_), _) => return Err(wrong(&place, "`on` belongs to holes")),
            (None, _) => {}
        }
        if feature.bolt.is_some() && feature.fit != "hole" {
            return Err(wrong(&place, "`bolt` belongs to holes"));
        }
        if let Some(RegionSpec::Near { near, .. }) = &feature.region {
            known("feature before this one", near, names())?;
        }
        if !feature.options.is_empty() && !feature.fit.contains('.') {
            let reason = "`options` belong to a plug-in's fitter, fit = \"vendor.name\"";
            return Err(wrong(&place, reason));
        }
        if feature.options.values().any(|o| matches!(o, OptionSpec::Number(x) if !x.is_finite())) {
            return Err(wrong(&format!("{place} options"), "must be finite numbers"));
        }
        validate_criterion(feature, &format!("{place} criterion"))
    }

    fn validate_points(&self, feature: &FeatureSpec, place: &str) -> Result<()> {
        if let Some(surveyed) = &feature.surveyed {
            return surveyed.validate(feature, place);
        }
        match (&feature.at, &feature.region) {
            (None, None) => {
                Err(wrong(place, "needs `at`, a point on its surface, or `region`, or `surveyed`"))
            }
            (Some(_), Some(_)) => {
                Err(wrong(place, "`at` and `region` contradict each other: give one of them"))
            }
            (Some(at), None) if !at.iter().all(|c| c.is_finite()) => {
                Err(wrong(&format!("{place} at"), "must be three finite numbers"))
            }
            (None, Some(_)) if feature.fit == "hole" => {
                Err(wrong(place, "a hole needs `at`, a point in or on it"))
            }
            _ => Ok(()),
        }
    }

    fn validate_plugins(&self) -> Result<()> {
        let Some(plugins) = &self.plugins else { return Ok(()) };
        if plugins.time_limit.is_some_and(|t| !(t > 0.0 && t <= LONGEST_CALL)) {
            let reason = format!("must be over 0 and at most {LONGEST_CALL} seconds");
            return Err(wrong("[plugins] time_limit", &reason));
        }
        if plugins.memory_limit.is_some_and(|m| !(64..=1 << 20).contains(&m)) {
            return Err(wrong("[plugins] memory_limit", "must be 64 to 1048576 megabytes"));
        }
        Ok(())
    }

    fn validate_datum(&self) -> Result<()> {
        let Some(datum) = &self.datum else {
            let machine = self.features.iter().find(|f| f.frame == FrameSpec::Machine);
            return match machine {
                Some(f) => Err(wrong(
                    &format!("[[feature]] \"{}\"", f.name),
                    "frame = \"machine\" needs a [datum]",
                )),
                None => Ok(()),
            };
        };
        datum.validate_again()?;
        if datum.secondary.is_none() && datum.tertiary.is_some() {
            return Err(wrong("[datum]", "a tertiary datum needs a secondary before it"));
        }
        for d in datum.features() {
            known("feature", &d.feature, self.features.iter().map(|f| f.name.as_str()))?;
            if self.feature(&d.feature).is_some_and(|f| f.frame == FrameSpec::Machine) {
                return Err(wrong(
                    "[datum]",
                    &format!(
                        "\"{}\" is picked in machine coordinates, which the datum system makes; \
                         pick it in scan coordinates",
                        d.feature
                    ),
                ));
            }
        }
        Ok(())
    }

    fn validate_part(&self) -> Result<()> {
        let Some(part) = &self.part else {
            return if self.check.is_some() {
                Err(wrong("[check]", "needs a [part] to check"))
            } else {
                Ok(())
            };
        };
        if let Some(unit) = &part.unit {
            at("[part] unit", LengthUnit::parse(unit))?;
        }
        if part.chord_error.is_some_and(|e| !(e > 0.0 && e.is_finite())) {
            return Err(wrong("[part] chord_error", "must be a positive length"));
        }
        let names = || self.features.iter().map(|f| f.name.as_str());
        unique("mounted hole", part.mount.iter().map(|m| m.hole.as_str()))?;
        for mount in &part.mount {
            known("feature", &mount.hole, names())?;
            if self.feature(&mount.hole).is_none_or(|f| f.fit != "hole") {
                return Err(wrong(
                    "[part] mount",
                    &format!("\"{}\" is no hole; name a feature with fit = \"hole\"", mount.hole),
                ));
            }
            if !mount.near.iter().all(|c| c.is_finite()) {
                return Err(wrong("[part] mount near", "must be three finite numbers"));
            }
            if let Some(seat) = &mount.seat {
                known("feature", seat, names())?;
            }
        }
        self.validate_access(part)?;
        let Some(check) = &self.check else { return Ok(()) };
        if !(check.clearance >= 0.0 && check.clearance.is_finite()) {
            return Err(wrong("[check] clearance", "must be a length, not negative"));
        }
        if check.seat_tolerance.is_some_and(|t| !(t >= 0.0 && t.is_finite())) {
            return Err(wrong("[check] seat_tolerance", "must be a length, not negative"));
        }
        for motion in &check.motion {
            motion.validate(self)?;
        }
        if let Some(temperature) = &check.temperature {
            temperature.temperature(self)?;
        }
        Ok(())
    }

    /// The feature of a name.
    pub(super) fn feature(&self, name: &str) -> Option<&FeatureSpec> {
        self.features.iter().find(|f| f.name == name)
    }
}

/// Whether the shape asked for has the criterion asked for; a plug-in's is for the plug-in to say.
fn validate_criterion(feature: &FeatureSpec, place: &str) -> Result<()> {
    let Some(name) = &feature.criterion else { return Ok(()) };
    if CONSTRUCTIONS.contains(&feature.fit.as_str()) {
        return Err(wrong(place, "belongs to fits; a construction has none"));
    }
    let all = Criterion::ALL.map(Criterion::name);
    let Some(criterion) = Criterion::by_name(name) else {
        let near = nearest(name, all).map_or(String::new(), |n| format!("; did you mean \"{n}\"?"));
        return Err(wrong(place, &format!("no \"{name}\"; known are {}{near}", all.join(", "))));
    };
    let id = if feature.fit == "hole" { "cylinder" } else { &feature.fit };
    match fitter_by_id(&format!("builtin.{id}")) {
        Some(fitter) if !criterion.is_for(fitter.kind()) => Err(wrong(
            place,
            &format!("a {} has no {name}; circle, sphere, cylinder and hole have", feature.fit),
        )),
        _ => Ok(()),
    }
}

/// Text as near as possible to `name` among `known`, if any is near at all.
pub(crate) fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let (distance, best) =
        known.into_iter().map(|k| (edit_distance(name, k), k)).min_by_key(|(d, _)| *d)?;
    (distance <= 1 + name.chars().count().max(3) / 3).then(|| best.to_string())
}

pub(super) fn known<'a>(
    kind: &'static str,
    name: &str,
    names: impl IntoIterator<Item = &'a str>,
) -> Result<()> {
    let names: Vec<&str> = names.into_iter().collect();
    if names.contains(&name) {
        return Ok(());
    }
    Err(Error::UnknownName { kind, name: name.into(), nearest: nearest(name, names) })
}

pub(super) fn unique<'a>(
    kind: &'static str,
    names: impl IntoIterator<Item = &'a str>,
) -> Result<()> {
    let mut seen = BTreeSet::new();
    for name in names {
        if name.trim().is_empty() {
            return Err(wrong(&format!("{kind} name"), "is empty"));
        }
        if !seen.insert(name) {
            return Err(Error::DuplicateName { kind, name: name.into() });
        }
    }
    Ok(())
}

pub(super) fn wrong(place: &str, reason: &str) -> Error {
    Error::Job { place: place.into(), reason: reason.into() }
}

/// Names the place in the file of an error about a value.
pub(super) fn at<T>(place: &str, result: Result<T>) -> Result<T> {
    result.map_err(|e| wrong(place, &e.to_string()))
}

/// Line of the mistake, and for an unknown key the nearest one that is known.
fn from_toml(text: &str, error: &toml::de::Error) -> Error {
    let line = error.span().map(|s| text[..s.start.min(text.len())].matches('\n').count() + 1);
    let place = line.map_or_else(|| "somewhere".to_string(), |l| format!("line {l}"));
    let message = error.message().to_string();
    let quoted: Vec<&str> = message.split('`').skip(1).step_by(2).collect();
    let hint = match quoted.split_first() {
        Some((unknown, known)) if message.starts_with("unknown") => {
            nearest(unknown, known.iter().copied())
                .map(|n| format!("; did you mean `{n}`?"))
                .unwrap_or_default()
        }
        _ => String::new(),
    };
    Error::Job { place, reason: format!("{message}{hint}") }
}

/// Levenshtein distance, "Binary codes capable of correcting deletions, insertions and reversals" (1966).
fn edit_distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let change = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(row[j + 1] + 1);
        }
    }
    row[b.len()]
}

/// Values of `fit` that build on other features.
pub(super) const CONSTRUCTIONS: [&str; 2] = ["intersection", "midplane"];

/// Longest call of a plug-in that may be allowed, seconds.
const LONGEST_CALL: f64 = 86_400.0;

/// A job file is written by hand: a megabyte is a mistake.
const LARGEST_FILE: u64 = 1 << 20;
