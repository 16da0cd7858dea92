//! Survey: every plane, cylinder, cone, sphere and torus of a scan with the points on it, and what they make
//! together: holes, tubes, groups.
//!
//! The scan is cut into small patches; shapes are grown over the patches, rivals judged by how many
//! points they explain (`grow.rs`), pieces of one surface merged, borders drawn where surfaces meet, and at
//! last each point is given to one primitive or to none and each primitive fitted to its own points.
//! Nothing is left to chance and no tolerance is asked for: limits come from the scan's noise and
//! resolution.

mod claim;
mod freeform;
mod grow;
mod label;
mod merge;
mod patches;
mod propose;
mod relate;
mod settle;

use crate::context::Context;
use crate::error::{Error, Result};
use crate::feature::Feature;
use crate::primitive::{Kind, Point3};
use crate::region::Region;
use crate::scan::Scan;
use grow::{Grower, Grown, Limits};
use patches::Patches;

pub use propose::ProposedDatum;
pub use relate::{Group, GroupKind, SurveyedHole, Tube};

/// What a survey looks for.
#[non_exhaustive]
#[derive(Debug, Clone, Default)]
pub struct SurveyOptions {
    /// Primitives that measure less than this across are left out, mm; default: those of fewer
    /// than forty points (of twenty, where there is no noise).
    pub smallest: Option<f64>,
    /// Threads, progress, cancel.
    pub context: Option<Context>,
}

/// What was found in a scan; scan coordinates, mm, rad.
#[derive(Debug, Clone)]
pub struct Survey {
    /// The scan.
    pub scan: Scan,
    /// The primitives: planes, cylinders, cones, spheres, tori; within a kind the largest first.
    pub primitives: Vec<Surveyed>,
    /// Round holes: a bore with the face it opens in.
    pub holes: Vec<SurveyedHole>,
    /// Tubes: chains of cylinders and bends.
    pub tubes: Vec<Tube>,
    /// Primitives that share an axis, a direction or a radius.
    pub groups: Vec<Group>,
    /// Points that belong to none.
    pub unclaimed: usize,
}

/// One primitive of a scan.
#[derive(Debug, Clone)]
pub struct Surveyed {
    /// Kind and number, `cylinder 3`: numbers count within a kind, from the largest (planes by area, cones
    /// by area, others by radius).
    pub id: String,
    /// The shape with its bounded pieces, uncertainty (noise taken as independent from point to
    /// point) and quality; its name is the id.
    pub feature: Feature,
    /// Its points, edges included.
    pub region: Region,
    /// A point on the surface well away from its edges.
    pub at: Point3,
    /// On which side of a round surface the material is.
    pub side: Side,
    /// Positions in [`Survey::primitives`] of those it touches, ascending.
    pub adjacent: Vec<usize>,
    /// Area that the points cover, mm²: their number by the usual area of one.
    pub area: f64,
}

/// On which side of a surface the material is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// A plane has no inside.
    Flat,
    /// Material inside: shaft, boss, ball.
    Outer,
    /// Material outside: bore, socket.
    Inner,
}

impl Survey {
    /// Surveys a scan, a mesh or bare points. The same scan gives the same result, whatever the
    /// number of threads.
    ///
    /// # Errors
    /// [`Error::Argument`] for a smallest size that is no positive number, [`Error::Cancelled`].
    pub fn of(scan: &Scan, options: &SurveyOptions) -> Result<Self> {
        if let Some(size) = options.smallest
            && !(size.is_finite() && size > 0.0)
        {
            return Err(Error::argument("smallest", size, "more than 0 mm"));
        }
        match &options.context {
            Some(context) => context.run(|| survey(scan, options)),
            None => survey(scan, options),
        }
    }

    /// The primitive of an id.
    #[must_use]
    pub fn primitive(&self, id: &str) -> Option<&Surveyed> {
        self.primitives.iter().find(|p| p.id == id)
    }

    /// The nearest primitive of a kind, and about the given size if one is given (a round shape's
    /// diameter, mm, within a tenth), to a point (scan coordinates, mm).
    #[must_use]
    pub fn near(&self, at: &Point3, kind: Option<Kind>, size: Option<f64>) -> Option<&Surveyed> {
        self.by_distance(at, kind, size).first().map(|&(k, _)| &self.primitives[k])
    }

    /// The primitives that [`Survey::near`] chooses from, the nearest first: positions in
    /// [`Survey::primitives`] and distances of their points from the place, mm.
    #[must_use]
    pub fn by_distance(
        &self,
        at: &Point3,
        kind: Option<Kind>,
        size: Option<f64>,
    ) -> Vec<(usize, f64)> {
        let fits = |p: &Surveyed| {
            let of_kind = kind.is_none_or(|k| p.feature.shape.kind() == k);
            let like = |d: f64| size.is_none_or(|s| (d - s).abs() <= SAME_SIZE * s);
            of_kind && (size.is_none() || p.diameter().is_some_and(like))
        };
        let all = self.primitives.iter().enumerate().filter(|(_, p)| fits(p));
        let mut ranked: Vec<(usize, f64)> = all.map(|(k, p)| (k, p.distance(at))).collect();
        ranked.sort_by(|a, b| a.1.total_cmp(&b.1));
        ranked
    }
}

impl Surveyed {
    /// Distance of its nearest point from a place, mm.
    fn distance(&self, at: &Point3) -> f64 {
        let all = self.region.scan().points();
        let square = |&i: &u32| (all[i as usize] - at).norm_squared();
        self.region.ids().iter().map(square).fold(f64::INFINITY, f64::min).sqrt()
    }
}

impl Side {
    /// `flat`, `outer`, `inner`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Side::Flat => "flat",
            Side::Outer => "outer",
            Side::Inner => "inner",
        }
    }
}

fn survey(scan: &Scan, options: &SurveyOptions) -> Result<Survey> {
    let context = options.context.as_ref();
    let report = |step: &str, done: f64| context.map_or(Ok(()), |c| c.report(step, done));
    report("surveying: patches", 0.0)?;
    let (noise, resolution) = (scan.noise(), scan.resolution());
    if resolution == 0.0 {
        return Ok(nothing(scan));
    }
    let patches = Patches::new(scan, side(scan, noise, resolution));
    let limits = limits(scan, noise, resolution);
    let mut grower = Grower::new(scan, &patches, limits);
    let mut found = grow_all(&mut grower, &report)?;
    report("surveying: borders", 0.7)?;
    grower.merge(&mut found);
    grower.settle(&mut found);
    grower.merge(&mut found);
    grower.give_up(&mut found);
    report("surveying: fits", 0.85)?;
    let primitives = claim::primitives(&grower, &found, options.smallest)?;
    report("surveying: groups", 0.95)?;
    let survey = relate::related(scan, primitives);
    report("surveying: groups", 1.0)?;
    Ok(survey)
}

/// Grows shapes until no patch is left to start from.
fn grow_all(
    grower: &mut Grower<'_>,
    report: &impl Fn(&str, f64) -> Result<()>,
) -> Result<Vec<Grown>> {
    let patches = grower.patches;
    let order = grower.order();
    let mut found: Vec<Grown> = Vec::new();
    let mut tried = vec![false; patches.len()];
    for (n, &seed) in order.iter().enumerate() {
        if !grower.is_free(seed) || tried[seed as usize] {
            continue;
        }
        report("surveying: shapes", 0.1 + 0.6 * n as f64 / order.len() as f64)?;
        tried[seed as usize] = true;
        patches.near(seed).iter().for_each(|&j| tried[j as usize] = true);
        let grown = match grower.best(seed) {
            Some(Ok(grown)) => grown,
            Some(Err(free_form)) => {
                free_form.iter().for_each(|&k| tried[k as usize] = true);
                continue;
            }
            None => continue,
        };
        if grown.points < grower.limits.fewest || grower.inner(&grown.patches) < grower.limits.inner
        {
            continue;
        }
        grown.patches.iter().for_each(|&k| grower.owner[k as usize] = found.len() as u32);
        found.push(grown);
    }
    Ok(found)
}

/// Side of a patch, mm: wide enough that noise does not hide where it faces; as fine as can be where there is
/// none, unless that makes too many.
fn side(scan: &Scan, noise: f64, resolution: f64) -> f64 {
    let for_noise = FINEST + NOISY * noise / resolution;
    let for_count = (scan.points().len() as f64 / MANY).sqrt();
    resolution * for_noise.max(for_count).min(COARSEST)
}

fn limits(scan: &Scan, noise: f64, resolution: f64) -> Limits {
    let distance = 2.0 * noise + 0.06 * resolution;
    // Normals of bare points come from so few of them that they need more room; where there is no noise
    // the distance alone tells, strips of a point's width too.
    let (angle, edge, facing, inner): (f64, f64, f64, f64) = match scan.is_mesh() {
        true => (0.2, 0.4, FACING, INNER),
        false if noise > CLEAN * resolution => (0.5, 0.7, FACING, INNER),
        false => (1.2, 0.7, 0.0, 0.0),
    };
    let fewest = if inner > 0.0 { FEWEST } else { FEWEST_CLEAN };
    Limits { distance, cos: angle.cos(), edge: edge.cos(), facing, inner, fewest }
}

fn nothing(scan: &Scan) -> Survey {
    Survey {
        scan: scan.clone(),
        primitives: Vec::new(),
        holes: Vec::new(),
        tubes: Vec::new(),
        groups: Vec::new(),
        unclaimed: scan.points().len(),
    }
}

/// Fewest points of a region that is grown.
const FEWEST: usize = 25;
const FEWEST_CLEAN: usize = 15;
/// Share of a region's patches that must lie inside it: strips along edges are no surfaces.
const INNER: f64 = 0.08;
/// Cosine of the largest angle between a point's own normal, which is noisy, and the shape's.
const FACING: f64 = 0.6;
/// Noise in spacings below which bare points count as exact.
const CLEAN: f64 = 0.005;
/// Sides of patches, in spacings, and how they grow with the noise in spacings.
const FINEST: f64 = 0.7;
const NOISY: f64 = 80.0;
const COARSEST: f64 = 3.5;
/// Patches worth having at most.
const MANY: f64 = 60_000.0;
/// Relative difference of a size that a person gave.
const SAME_SIZE: f64 = 0.1;
