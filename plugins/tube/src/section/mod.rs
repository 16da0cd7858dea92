//! Square and rectangular hollow section: least squares of the rounded rectangle's own distance over all
//! unknowns at once, from two sides that meet and the corners beyond them upwards.

mod determined;
mod model;
mod pieces;
mod start;

use fitwright_plugin::{Answer, Call, Failure, Fitter, Input, Opt, Shape};
use nalgebra::DMatrix;

use crate::cloud::{Cloud, spacing};
use crate::ends::{Ends, ends};
use crate::gauss::{Loss, Model, Settled, distances, finish, gathered, settle};
use crate::host::Host;
use crate::report::{Outcome, Report, Value, jacobian, propagated};
use crate::round::thinning;
use crate::{V3, normals, standard};
use model::{CORNER, HEIGHT, Section, TWIST, UNKNOWNS, WIDTH};

/// `fitwright.hollow-section`. Parameters: `start`, `end` (places on the centre line), `axis` (from start to
/// end), `width_direction` (half way), `width`, `height` (the larger side is the width unless a known one
/// is given), `corner_radius`, `twist` (from start to end, rad, right-handed about the axis), `length`.
#[derive(Debug)]
pub struct HollowSection;

impl Fitter for HollowSection {
    const ID: &'static str = "fitwright.hollow-section";
    const TITLE: &'static str = "Square or rectangular hollow section with rounded corners";
    const SHAPE: Shape = Shape::Composite("hollow section");
    const MINIMUM_POINTS: usize = MINIMUM;
    const OPTIONS: &'static [Opt] = &[
        Opt::length("width", "known width; 0: to be found", 0.0, (0.0, 2000.0)),
        Opt::length("height", "known height; 0: to be found", 0.0, (0.0, 2000.0)),
        Opt::length(
            "corner_radius",
            "known outer corner radius; 0: to be found",
            0.0,
            (0.0, 500.0),
        ),
        Opt::switch("square", "width and height are equal", false),
        Opt::switch("twist", "the section may be twisted", true),
    ];

    fn fit(input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure> {
        let options = Options {
            width: input.option("width"),
            height: input.option("height"),
            corner: input.option("corner_radius"),
            square: input.option("square") != 0.0,
            twist: input.option("twist") != 0.0,
        };
        fit(input, &options, call).map(Outcome::into_answer)
    }
}

/// What is known of a section; lengths of 0 are to be found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Width, mm.
    pub width: f64,
    /// Height, mm.
    pub height: f64,
    /// Outer corner radius, mm.
    pub corner: f64,
    /// Whether both sides are equal.
    pub square: bool,
    /// Whether it may be twisted.
    pub twist: bool,
}

impl Default for Options {
    fn default() -> Self {
        Options { width: 0.0, height: 0.0, corner: 0.0, square: false, twist: true }
    }
}

impl Options {
    fn checked(self) -> Result<Self, Failure> {
        let sizes = [self.width, self.height, self.corner];
        if !sizes.iter().all(|x| (0.0..=2000.0).contains(x)) {
            return Err(Failure::option(
                "width, height, corner_radius: 0 (to be found) to 2000 mm",
            ));
        }
        if self.square && self.width > 0.0 && self.height > 0.0 && self.width != self.height {
            return Err(Failure::option(
                "square goes with one known side: leave out width, height or square",
            ));
        }
        let known = sizes[..2].iter().copied().filter(|s| *s > 0.0);
        if known.fold(f64::INFINITY, f64::min) < 2.0 * self.corner {
            return Err(Failure::option(
                "corner_radius is at most half of the smaller side: make it smaller",
            ));
        }
        let side = self.width.max(self.height);
        Ok(if self.square { Options { width: side, height: side, ..self } } else { self })
    }
}

/// Fits a hollow section.
///
/// # Errors
/// Options that contradict each other; undetermined with what to scan; cancelled.
pub fn fit(input: &Input<'_>, options: &Options, host: &dyn Host) -> Result<Outcome, Failure> {
    host.progress(0.0)?;
    let options = options.checked()?;
    let cloud = Cloud::new(input, MINIMUM)?;
    let few = cloud.thinned(FEW, input.seed);
    let apart = spacing(&few, input.seed);
    let reach = (2.5 * apart).max(20.0 * input.noise.unwrap_or(0.0));
    let found = normals::normals(&few, reach, host)?;
    host.progress(0.2)?;
    let starts = start::starts(&few, &found, (apart, input.seed), &options, host)?;
    let best = best(starts, &few, host)?;
    host.progress(0.5)?;
    let settled = finish(best.model, &cloud.points, best.cut, host)?;
    host.progress(0.8)?;
    let apart = input.resolution.unwrap_or(apart * thinning(cloud.points.len()));
    let distances = distances(&settled.model, &cloud.points, host)?;
    let own = cloud.points.iter().zip(&distances).filter(|p| p.1.abs() < settled.cut);
    let near: Vec<f64> = own.map(|p| settled.model.local(p.0).0).collect();
    let ends = ends(&near, apart).ok_or_else(|| {
        Failure::undetermined("the points have no length along the axis: scan more of the tube")
    })?;
    let (section, ends) = ordered(settled.model, &ends, &options);
    determined::determined(&section, &cloud.points, settled.cut)?;
    outcome(&cloud, &section, (settled.sigma, settled.cut), &ends, host)
}

/// The settled start that the most points agree to.
fn best(starts: Vec<Section>, points: &[V3], host: &dyn Host) -> Result<Settled<Section>, Failure> {
    let mut found: Vec<Settled<Section>> = Vec::new();
    for start in starts {
        let width = WIDTH_OF_LOSS * start.width.min(start.height);
        match settle(start, points, width, host) {
            Ok(settled) => found.push(settled),
            Err(e) if e == Failure::cancelled() => return Err(e),
            Err(_) => {}
        }
    }
    let smallest = found.iter().map(|s| s.cut).fold(f64::INFINITY, f64::min);
    let count = |s: &Settled<Section>| {
        let c = SAME * smallest;
        points.iter().filter(|p| s.model.distance(p).abs() < c).count()
    };
    let area = |s: &Settled<Section>| s.model.width * s.model.height;
    let mut ranked: Vec<_> = found.into_iter().map(|s| (count(&s), s)).collect();
    // Of those as good the smallest: a side that nobody sees may be anywhere.
    let most = ranked.iter().map(|r| r.0).max().unwrap_or(0);
    ranked.retain(|r| r.0 + r.0 / 200 >= most);
    ranked.sort_by(|a, b| area(&a.1).total_cmp(&area(&b.1)));
    let best = ranked.into_iter().next().map(|r| r.1);
    let best = best.filter(|s| s.sigma < ROUGH * s.model.width.min(s.model.height));
    best.ok_or_else(|| {
        Failure::undetermined(
            "no two sides of a hollow section that meet are seen; scan them and the corners beyond, or \
             choose the region again",
        )
    })
}

/// The same section about the middle of its length: the larger side first unless sizes are known, axis and
/// side with their largest component positive.
fn ordered(section: Section, ends: &Ends, options: &Options) -> (Section, Ends) {
    let mut s = section;
    let middle = 0.5 * (ends.from + ends.to);
    s.side = crate::bends::about(&s.axis, s.twist * middle) * s.side;
    s.origin += s.axis * middle;
    if options.width <= 0.0 && options.height <= 0.0 && s.height > s.width {
        s.side = s.other();
        std::mem::swap(&mut s.width, &mut s.height);
    }
    let signed = |v: V3| if v[v.iamax()] < 0.0 { -v } else { v };
    (s.axis, s.side) = (signed(s.axis), signed(s.side));
    let half = 0.5 * (ends.to - ends.from);
    (s, Ends { from: -half, to: half, u: ends.u })
}

fn outcome(
    cloud: &Cloud,
    section: &Section,
    (sigma, cut): (f64, f64),
    ends: &Ends,
    host: &dyn Host,
) -> Result<Outcome, Failure> {
    let inside = |p: &V3| (ends.from..=ends.to).contains(&section.local(p).0);
    let normal = gathered(section, &cloud.points, Loss::Cut(cut), host)?;
    let free = normal.inverse().ok_or_else(|| {
        Failure::undetermined("the points leave a size open: scan more sides, or give a known size")
    })?;
    let mut unknowns = DMatrix::zeros(UNKNOWNS + 2, UNKNOWNS + 2);
    for (i, a) in section.places().iter().enumerate() {
        for (j, b) in section.places().iter().enumerate() {
            unknowns[(*a, *b)] = free[(i, j)] * sigma * sigma;
        }
    }
    unknowns[(UNKNOWNS, UNKNOWNS)] = ends.u.powi(2);
    unknowns[(UNKNOWNS + 1, UNKNOWNS + 1)] = ends.u.powi(2);
    let mut sizes = [1e-4; UNKNOWNS + 2];
    sizes[2..WIDTH].fill(1e-6);
    sizes[TWIST] = 1e-9;
    let report = |step: &[f64]| report(section, &cloud.centre, ends, step);
    let covariance = propagated(&jacobian(report, &sizes), &unknowns);
    let off = distances(section, &cloud.points, host)?;
    let places = (0u32..).zip(cloud.points.iter().zip(off));
    let outside = places.filter(|(_, (p, off))| off.abs() >= cut || !inside(p));
    let rejected: Vec<u32> = outside.map(|o| o.0).collect();
    let share = rejected.len() as f64 / cloud.points.len() as f64;
    let mut outcome = Outcome {
        report: report(&[0.0; UNKNOWNS + 2]),
        covariance,
        pieces: pieces::pieces(section, &cloud.centre, ends),
        rejected,
        notes: Vec::new(),
    };
    let u = |k: usize| unknowns[(k, k)].sqrt();
    let largest = u(WIDTH).max(u(HEIGHT));
    if largest > LOOSE * section.width.min(section.height) || u(CORNER) > section.width {
        return Err(Failure::undetermined(format!(
            "a side is known to {largest:.2} mm only; scan its two ends, or give a known size"
        )));
    }
    outcome.notes.push(standard::near_hollow(section.width, section.height, largest));
    let (thin, thick) = standard::wall_of_corner(section.corner);
    outcome.notes.push(format!(
        "EN 10219-2 allows a corner radius of {:.2} mm with walls of {thin:.1} to {thick:.1} mm.",
        section.corner
    ));
    if share > MANY {
        outcome.notes.push(format!(
            "{:.0} % of the points lie off the section: if they belong to it, a known size is wrong.",
            100.0 * share
        ));
    }
    host.progress(1.0)?;
    Ok(outcome)
}

/// What is reported of a section after a step of its unknowns and ends.
fn report(section: &Section, centre: &V3, ends: &Ends, step: &[f64]) -> Report {
    let mut whole = [0.0; UNKNOWNS];
    whole.copy_from_slice(&step[..UNKNOWNS]);
    let s = section.moved(&whole).unwrap_or_else(|| section.clone());
    let (from, to) = (ends.from + step[UNKNOWNS], ends.to + step[UNKNOWNS + 1]);
    let mut r = Report::default();
    r.add("start", Value::Point((centre + s.origin + s.axis * from).into()));
    r.add("end", Value::Point((centre + s.origin + s.axis * to).into()));
    r.add("axis", Value::Direction(s.axis.into()));
    r.add("width_direction", Value::Direction(s.side.into()));
    r.length("width", s.width);
    r.length("height", s.height);
    r.length("corner_radius", s.corner);
    r.angle("twist", s.twist * (to - from));
    r.length("length", to - from);
    r
}

/// Fewest points.
const MINIMUM: usize = 100;
/// Points of the search.
const FEW: usize = 6000;
/// First width of the loss, as a part of the smaller side.
const WIDTH_OF_LOSS: f64 = 0.05;
/// Cut of the comparison of starts, in the smallest cut found.
const SAME: f64 = 1.3;
/// Scatter beyond this part of a side is no section.
const ROUGH: f64 = 0.02;
/// Uncertainty of a side, as part of it, beyond which it counts as open.
const LOOSE: f64 = 0.01;
/// Share of points left out that the user should know of.
const MANY: f64 = 0.2;
