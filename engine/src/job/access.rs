//! What a job asks of tools and of the way in: `[check] tool_access` and `insertion`.

use schemars::JsonSchema;
use serde::Deserialize;

use super::read::{known, wrong};
use super::spec::{Job, PartSpec};
use crate::error::Result;
use crate::fitcheck::{InsertionLimits, ToolLimits};

/// Space for tools: yes or no, or what exactly.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "tool_access must be true, false or a table of tools, every, air, extension, socket_diameter, socket_length, swing, washer, bolt_length"
)]
pub enum ToolAccess {
    /// With the usual tools, or not at all.
    Asked(bool),
    /// As said.
    As(ToolAccessSpec),
}

/// What is asked of the space for tools.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ToolAccessSpec {
    /// Tools that count; default both.
    pub tools: Option<Vec<ToolSpec>>,
    /// Whether each of them must reach; default one is enough.
    #[serde(default)]
    pub every: bool,
    /// Air round a tool; default 1 mm.
    pub air: Option<f64>,
    /// Length of the extension on the socket; default 50 mm, which also stands for a ratchet's head.
    pub extension: Option<f64>,
    /// Outside diameter of the socket; default by the bolt.
    pub socket_diameter: Option<f64>,
    /// Length of the socket; default by the bolt.
    pub socket_length: Option<f64>,
    /// Least free swing of the spanner; default 30 degrees.
    pub swing: Option<f64>,
    /// Whether a washer lies under the head; default yes.
    pub washer: Option<bool>,
    /// Length of every bolt under its head; default the part's hole, the washer and one diameter.
    pub bolt_length: Option<f64>,
}

/// A tool.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ToolSpec {
    /// Straight socket with an extension.
    Socket,
    /// Open-ended spanner.
    Spanner,
}

/// The way in: yes or no, or what exactly.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "insertion must be true, false or a table of clearance, directions, tries, without, seed"
)]
pub enum Insertion {
    /// As usual, or not at all.
    Asked(bool),
    /// As said.
    As(InsertionSpec),
}

/// What is asked of the way in.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InsertionSpec {
    /// Air all along the way; default 1 mm.
    pub clearance: Option<f64>,
    /// Straight directions tried; default 1000.
    pub directions: Option<usize>,
    /// Moves tried for a way with turns if none is straight; default 2000.
    pub tries: Option<usize>,
    /// Features that are taken off for it, and other parts that are put in after it.
    #[serde(default)]
    pub without: Vec<String>,
    /// Seed of the random moves.
    pub seed: Option<u64>,
}

impl ToolAccess {
    /// Limits in mm and rad; `None` if nothing is asked.
    pub(super) fn limits(&self, (mm, rad): (f64, f64)) -> Option<ToolLimits> {
        let spec = match self {
            ToolAccess::Asked(false) => return None,
            ToolAccess::Asked(true) => &ToolAccessSpec::default(),
            ToolAccess::As(spec) => spec,
        };
        let usual = ToolLimits::default();
        let has = |tool| spec.tools.as_ref().is_none_or(|t| t.contains(&tool));
        let length = |x: Option<f64>| x.map(|x| x * mm);
        Some(ToolLimits {
            socket: has(ToolSpec::Socket),
            spanner: has(ToolSpec::Spanner),
            every: spec.every,
            air: length(spec.air).unwrap_or(usual.air),
            extension: length(spec.extension).unwrap_or(usual.extension),
            socket_diameter: length(spec.socket_diameter),
            socket_length: length(spec.socket_length),
            swing: spec.swing.map_or(usual.swing, |a| a * rad),
            washer: spec.washer.unwrap_or(usual.washer),
            bolt_length: length(spec.bolt_length),
            ..usual
        })
    }

    fn validate(&self) -> Result<()> {
        let ToolAccess::As(s) = self else { return Ok(()) };
        if s.tools.as_ref().is_some_and(Vec::is_empty) {
            return Err(wrong(
                "[check] tool_access tools",
                "names no tool; known are socket, spanner",
            ));
        }
        let lengths = [
            ("air", s.air),
            ("extension", s.extension),
            ("socket_diameter", s.socket_diameter),
            ("socket_length", s.socket_length),
            ("bolt_length", s.bolt_length),
            ("swing", s.swing),
        ];
        let bad =
            lengths.into_iter().find(|(_, x)| x.is_some_and(|x| !(x >= 0.0 && x.is_finite())));
        match bad {
            Some((key, _)) => {
                Err(wrong(&format!("[check] tool_access {key}"), "must be zero or more"))
            }
            None => Ok(()),
        }
    }
}

/// What is taken off for the way in, by its place.
pub(super) enum Taken {
    Feature(usize),
    Other(usize),
}

impl Insertion {
    /// Names of what is taken off.
    pub(super) fn without(&self) -> &[String] {
        match self {
            Insertion::Asked(_) => &[],
            Insertion::As(spec) => &spec.without,
        }
    }

    /// Limits in mm; `place` gives what a name is of. `None` if nothing is asked.
    pub(super) fn limits(
        &self,
        mm: f64,
        place: impl Fn(&str) -> Result<Taken>,
    ) -> Result<Option<InsertionLimits>> {
        let spec = match self {
            Insertion::Asked(false) => return Ok(None),
            Insertion::Asked(true) => &InsertionSpec::default(),
            Insertion::As(spec) => spec,
        };
        let usual = InsertionLimits::default();
        let mut limits = InsertionLimits {
            clearance: spec.clearance.map_or(usual.clearance, |c| c * mm),
            directions: spec.directions.unwrap_or(usual.directions),
            tries: spec.tries.unwrap_or(usual.tries),
            seed: spec.seed.unwrap_or(usual.seed),
            ..usual
        };
        for name in &spec.without {
            match place(name)? {
                Taken::Feature(f) => limits.without.push(f),
                Taken::Other(o) => limits.without_others.push(o),
            }
        }
        Ok(Some(limits))
    }

    fn validate<'a>(&self, names: impl Fn() -> Vec<&'a str>) -> Result<()> {
        let Insertion::As(s) = self else { return Ok(()) };
        if s.clearance.is_some_and(|c| !(c >= 0.0 && c.is_finite())) {
            return Err(wrong("[check] insertion clearance", "must be a length, not negative"));
        }
        if s.directions.is_some_and(|n| !(1..=MOST).contains(&n))
            || s.tries.is_some_and(|n| n > MOST)
        {
            let reason = format!("directions must be 1 to {MOST}, tries at most that");
            return Err(wrong("[check] insertion", &reason));
        }
        s.without.iter().try_for_each(|name| known("feature or other part", name, names()))
    }
}

impl Job {
    /// Tools and way in; the part is there.
    pub(super) fn validate_access(&self, part: &PartSpec) -> Result<()> {
        for mount in &part.mount {
            if mount.bolt_length.is_some_and(|l| !(l > 0.0 && l.is_finite())) {
                return Err(wrong("[part] mount bolt_length", "must be a positive length"));
            }
        }
        let Some(check) = &self.check else { return Ok(()) };
        check.tool_access.as_ref().map_or(Ok(()), ToolAccess::validate)?;
        let others = || self.other_parts.iter().map(|o| o.name.as_str());
        let names = || self.features.iter().map(|f| f.name.as_str()).chain(others()).collect();
        check.insertion.as_ref().map_or(Ok(()), |i| i.validate(names))
    }
}

/// Most directions, and most tries: minutes on a large scan.
const MOST: usize = 1_000_000;
