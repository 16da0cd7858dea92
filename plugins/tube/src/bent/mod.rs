//! Bent tube: its centre line followed along the points and across gaps, cut into straights and bends, then
//! least squares of the whole tube, straights tangent to bends, one diameter.

mod axis_points;
mod chain;
mod edit;
mod follow;
mod output;
mod part;
mod start;
mod straights;

use fitwright_plugin::{Answer, Call, Failure, Fitter, Input, Opt, Shape};
use nalgebra::DMatrix;

use crate::cloud::{Cloud, spacing};
use crate::ends::ends;
use crate::gauss::{CHUNK, Loss, Model, Settled, distances, finish, gathered, settle};
use crate::host::Host;
use crate::report::{Outcome, jacobian, propagated};
use crate::round::thinning;
use crate::{V3, normals, standard};
use chain::Chain;
use part::{Line, Nearest};

/// `fitwright.bent-tube`. Parameters: `start`, `end`, `diameter`, `developed_length`, `last_straight`; of the
/// first eight bends `bend_N_feed`, `_rotation`, `_angle`, `_radius`, `_entry`, `_exit` (tangent points),
/// `_corner` (where the straights meet; not of bends over 170 degrees). Tables: `bends` (the bend table, see
/// [`crate::bends`]) and `centre_line` (sort 0 start, 1 entry, 2 corner, 3 exit, 4 end; place, largest
/// standard uncertainty). The tube starts at the end from which the other lies ahead, in the axis of the scan
/// in which they are farthest apart. It begins and ends with a straight of a diameter or more, and has one of
/// that length between bends.
#[derive(Debug)]
pub struct BentTube;

impl Fitter for BentTube {
    const ID: &'static str = "fitwright.bent-tube";
    const TITLE: &'static str = "Bent round tube: centre line, bend table, developed length";
    const SHAPE: Shape = Shape::Composite("bent tube");
    const MINIMUM_POINTS: usize = MINIMUM;
    const OPTIONS: &'static [Opt] = &[
        Opt::switch("common_radius", "all bends have one radius", false),
        Opt::length("gap", "longest gap in the scan that is bridged", 100.0, (0.0, 2000.0)),
    ];

    fn fit(input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure> {
        let options = Options {
            common_radius: input.option("common_radius") != 0.0,
            gap: input.option("gap"),
        };
        fit(input, &options, call).map(Outcome::into_answer)
    }
}

/// How a bent tube is followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Whether all bends have one radius.
    pub common_radius: bool,
    /// Longest gap bridged, mm.
    pub gap: f64,
}

impl Default for Options {
    fn default() -> Self {
        Options { common_radius: false, gap: 100.0 }
    }
}

/// Fits a bent tube.
///
/// # Errors
/// A gap that is no length; undetermined with what to scan; cancelled.
pub fn fit(input: &Input<'_>, options: &Options, host: &dyn Host) -> Result<Outcome, Failure> {
    host.progress(0.0)?;
    if !(0.0..=2000.0).contains(&options.gap) {
        return Err(Failure::option(format!("gap: found {}, allowed 0 to 2000 mm", options.gap)));
    }
    let cloud = Cloud::new(input, MINIMUM)?;
    let few = cloud.thinned(FEW, input.seed);
    let apart = spacing(&few, input.seed);
    let pick = input.pick.map(|p| V3::from(p) - cloud.centre);
    let found = search(&few, apart, input, (options, pick), host)?;
    host.progress(0.6)?;
    let found = shorter(found, &few, apart, host)?;
    let ended = with_ends(&found.model, &few, (found.cut, apart), host)?.0;
    let ended = forward(ended);
    let own = beside(&ended, &cloud.points, host)?;
    let settled = finish(ended, &own, found.cut, host)?;
    host.progress(0.9)?;
    let apart = input.resolution.unwrap_or(apart * thinning(cloud.points.len()));
    let (chain, u) = with_ends(&settled.model, &own, (settled.cut, apart), host)?;
    outcome(&cloud, &chain, (settled.sigma, settled.cut, u), host)
}

/// The chain that most of the points lie on, of the radii that they may have.
fn search(
    points: &[V3],
    apart: f64,
    input: &Input<'_>,
    (options, pick): (&Options, Option<V3>),
    host: &dyn Host,
) -> Result<Settled<Chain>, Failure> {
    let reach = (2.2 * apart).max(20.0 * input.noise.unwrap_or(0.0));
    let normals = normals::normals(points, reach, host)?;
    host.progress(0.1)?;
    let mut best: Option<(usize, Settled<Chain>)> = None;
    let mut failure = Failure::undetermined(NO_TUBE);
    for radius in axis_points::radii(points, &normals, (apart, input.seed), host)? {
        let axis = axis_points::axis_points(points, &normals, radius, host)?;
        let nodes = follow::follow(&axis, radius, options.gap, pick);
        let Some(nodes) = nodes.filter(|n| n.len() >= FEWEST_NODES) else { continue };
        match along(&nodes, points, radius, options.common_radius, host) {
            Ok(found) => {
                let count = distances(&found.model, points, host)?;
                let count = count.iter().filter(|d| d.abs() < found.cut).count();
                if best.as_ref().is_none_or(|b| count > b.0) {
                    best = Some((count, found));
                }
            }
            Err(e) if e == Failure::cancelled() => return Err(e),
            Err(e) => failure = e,
        }
    }
    let best = best.filter(|b| 5 * b.0 > points.len()).map(|b| b.1);
    best.filter(|b| b.sigma < ROUGH * b.model.radius).ok_or(failure)
}

/// The chain along nodes, settled on the points.
fn along(
    nodes: &[V3],
    points: &[V3],
    radius: f64,
    common: bool,
    host: &dyn Host,
) -> Result<Settled<Chain>, Failure> {
    let mut straights = straights::straights(nodes, radius, host)?;
    let radius = start::refined(&mut straights, nodes, points, radius, host)?;
    if straights.len() < 2 {
        return Err(Failure::undetermined(
            "no bend between two straights is seen; use the round tube, or scan more of both straights",
        ));
    }
    // A straight at an end may be something else that the tube meets.
    let chosen = [&straights[..], &straights[1..], &straights[..straights.len() - 1]];
    let mut chains = chosen.iter().filter(|s| s.len() > 1);
    let chain = chains.find_map(|s| start::chain(s, nodes, points, radius, common));
    let chain = chain.ok_or_else(|| {
        Failure::undetermined(
            "two straights do not meet in a bend; scan the tube between them, or raise gap",
        )
    })?;
    let near = beside(&chain, points, host)?;
    simplified(settle(chain, &near, WIDTH_OF_LOSS * radius, host)?, &near, host)
}

/// Takes out bends that hardly turn and straights within what is one bend, as long as that costs nothing.
fn simplified(
    found: Settled<Chain>,
    points: &[V3],
    host: &dyn Host,
) -> Result<Settled<Chain>, Failure> {
    let mut now = found;
    let mut i = 0;
    while i < now.model.table.bends.len() {
        let bends = now.model.table.bends.len();
        let little = bends > 1 && now.model.table.bends[i].angle < LITTLE;
        let trials =
            [little.then(|| now.model.without(i)), (i > 0).then(|| now.model.joined(i)).flatten()];
        for trial in trials.into_iter().flatten() {
            match settle(trial, points, WIDTH_OF_LOSS * now.model.radius, host) {
                Ok(t) if t.sigma < 1.01 * now.sigma && t.cut < 1.05 * now.cut => {
                    now = t;
                    break;
                }
                Err(e) if e == Failure::cancelled() => return Err(e),
                _ => {}
            }
        }
        i += usize::from(now.model.table.bends.len() == bends);
    }
    Ok(now)
}

/// Takes out a last bend behind which hardly a straight is left, if that costs hardly a point: where the tube
/// meets something else, the centre line turns a little. Then the same at the other end.
fn shorter(
    found: Settled<Chain>,
    points: &[V3],
    apart: f64,
    host: &dyn Host,
) -> Result<Settled<Chain>, Failure> {
    let count = |s: &Settled<Chain>| -> Result<f64, Failure> {
        let on = |d: &&f64| d.abs() < s.cut;
        Ok(distances(&s.model, points, host)?.iter().filter(on).count() as f64)
    };
    let mut now = found;
    for _ in 0..2 {
        while now.model.table.bends.len() > 1 {
            let short = match with_ends(&now.model, points, (now.cut, apart), host) {
                Ok((chain, _)) => chain.table.last < 2.0 * chain.radius,
                Err(e) if e == Failure::cancelled() => return Err(e),
                Err(_) => true,
            };
            if !short {
                break;
            }
            let trial = now.model.popped();
            let near = beside(&trial, points, host)?;
            match settle(trial, &near, WIDTH_OF_LOSS * now.model.radius, host) {
                Ok(t) if count(&t)? > HARDLY * count(&now)? => now = t,
                Err(e) if e == Failure::cancelled() => return Err(e),
                _ => break,
            }
        }
        now.model = now.model.reversed();
    }
    Ok(now)
}

/// From the end from which the other lies ahead along the axis in which they are farthest apart.
fn forward(chain: Chain) -> Chain {
    let across = chain.reversed().start - chain.start;
    if across[across.iamax()] < 0.0 { chain.reversed() } else { chain }
}

/// Points near a tube and between its ends, or a little beyond them.
fn beside(chain: &Chain, points: &[V3], host: &dyn Host) -> Result<Vec<V3>, Failure> {
    let line = Line::new(chain);
    let reach = 2.0 * chain.radius;
    let near = |p: &&V3| {
        let n = line.nearest(p);
        n.squared < reach * reach && inside(chain, &line, &n, chain.radius)
    };
    let mut out = Vec::new();
    for part in points.chunks(CHUNK) {
        host.check()?;
        out.extend(part.iter().filter(near).copied());
    }
    Ok(out)
}

/// Whether a place lies between the ends, or less than `beyond` outside.
fn inside(chain: &Chain, line: &Line, near: &Nearest, beyond: f64) -> bool {
    match near.part {
        0 => line.at(near) >= -beyond,
        k if k + 1 == line.parts.len() => line.at(near) <= chain.table.last + beyond,
        _ => true,
    }
}

/// The chain cut to where its points end, and the uncertainty of the ends.
fn with_ends(
    chain: &Chain,
    points: &[V3],
    (cut, apart): (f64, f64),
    host: &dyn Host,
) -> Result<(Chain, f64), Failure> {
    let line = Line::new(chain);
    let last = line.parts.len() - 1;
    let (mut first_places, mut last_places) = (Vec::new(), Vec::new());
    for (i, p) in points.iter().enumerate() {
        if i % CHUNK == 0 {
            host.check()?;
        }
        let n = line.nearest(p);
        if (n.squared.sqrt() - chain.radius).abs() < cut {
            match n.part {
                0 => first_places.push(line.at(&n)),
                k if k == last => last_places.push(line.at(&n)),
                _ => {}
            }
        }
    }
    match (ends(&first_places, apart), ends(&last_places, apart)) {
        (Some(a), Some(b)) => Ok((chain.trimmed(a.from, b.to - chain.table.last), a.u)),
        _ => Err(Failure::undetermined(
            "the tube ends within a bend; scan the straights before the first and after the last bend",
        )),
    }
}

fn outcome(
    cloud: &Cloud,
    chain: &Chain,
    (sigma, cut, u): (f64, f64, f64),
    host: &dyn Host,
) -> Result<Outcome, Failure> {
    let line = Line::new(chain);
    let on = |p: &V3| {
        let n = line.nearest(p);
        (n.squared.sqrt() - chain.radius).abs() < cut && inside(chain, &line, &n, 0.0)
    };
    let mut belongs = Vec::with_capacity(cloud.points.len());
    for part in cloud.points.chunks(CHUNK) {
        host.check()?;
        belongs.extend(part.iter().map(on));
    }
    let own: Vec<V3> = cloud.points.iter().zip(&belongs).filter(|p| *p.1).map(|p| *p.0).collect();
    let normal = gathered(chain, &own, Loss::Cut(cut), host)?;
    let free = normal.inverse().ok_or_else(|| Failure::undetermined(HIDDEN))?;
    let count = chain.unknowns();
    let mut unknowns = DMatrix::zeros(count + 2, count + 2);
    unknowns.view_mut((0, 0), (count, count)).copy_from(&(free * sigma * sigma));
    (unknowns[(count, count)], unknowns[(count + 1, count + 1)]) = (u * u, u * u);
    judged(chain, &unknowns)?;
    let moved = |step: &[f64]| {
        let moved = chain.stepped(&step[..count]).unwrap_or_else(|| chain.clone());
        output::report(&moved.trimmed(step[count], step[count + 1]), &cloud.centre)
    };
    let sizes = vec![1e-6; count + 2];
    let covariance = propagated(&jacobian(moved, &sizes), &unknowns);
    let full = output::report(chain, &cloud.centre);
    let (report, covariance) = output::shown(full, covariance, chain);
    let left_out = belongs.iter().filter(|b| !**b).count() as f64 / belongs.len() as f64;
    let rejected = (0u32..).zip(&belongs).filter(|b| !b.1).map(|b| b.0).collect();
    let pieces = output::pieces(chain, &cloud.centre);
    let mut outcome = Outcome { report, covariance, pieces, rejected, notes: Vec::new() };
    let u = outcome.uncertainty("diameter").unwrap_or(0.0);
    outcome.notes = notes(chain, u);
    if left_out > MANY {
        outcome.notes.push(format!(
            "{:.0} % of the points lie off the tube: if they belong to it, a part beyond a gap or a short \
             straight at an end was not followed.",
            100.0 * left_out
        ));
    }
    host.progress(1.0)?;
    Ok(outcome)
}

/// Refuses bends that hang in the air.
fn judged(chain: &Chain, unknowns: &DMatrix<f64>) -> Result<(), Failure> {
    for (i, bend) in chain.table.bends.iter().enumerate() {
        let u = |which: usize| {
            let k = chain.place(i, which);
            unknowns[(k, k)].sqrt()
        };
        if u(2) > LOOSE_ANGLE || u(3) > LOOSE_RADIUS * bend.radius {
            return Err(Failure::undetermined(format!(
                "bend {} is known to {:.2} degrees and its radius to {:.1} mm only; scan more of it, or \
                 set common_radius",
                i + 1,
                u(2).to_degrees(),
                u(3)
            )));
        }
        if bend.radius < 1.02 * chain.radius {
            return Err(Failure::undetermined(format!(
                "bend {} has a radius of {:.2} mm, no more than the tube's own: it is a mitre or a fitting; \
                 fit the straights one by one",
                i + 1,
                bend.radius
            )));
        }
    }
    Ok(())
}

fn notes(chain: &Chain, u: f64) -> Vec<String> {
    let diameter = 2.0 * chain.radius;
    let mut out = vec![
        standard::near_round(diameter, u),
        "Bend table: rotation right-handed about the direction of feed, the first 0; springback not \
         included."
            .to_string(),
    ];
    let feeds = chain.table.bends.iter().map(|b| b.feed).enumerate();
    for (i, feed) in feeds.filter(|f| f.1 < 2.0 * diameter) {
        out.push(format!(
            "Row {}: the straight of {feed:.1} mm is shorter than two diameters, a usual clamp length.",
            i + 1
        ));
    }
    if chain.table.bends.len() > output::SINGLY {
        let most = output::SINGLY;
        out.push(format!("Bends after the first {most} stand in the tables only."));
    }
    out
}

const NO_TUBE: &str = "no bent tube lies in the points: choose the region again, with half of the tube's \
     surface or nearly so";
const HIDDEN: &str =
    "the scan does not show enough of a bend for its radius; scan it, or set common_radius";
/// Fewest points.
const MINIMUM: usize = 200;
/// Points of the search.
const FEW: usize = 20_000;
/// Nodes of the shortest centre line.
const FEWEST_NODES: usize = 8;
/// First width of the loss, in tube radii.
const WIDTH_OF_LOSS: f64 = 0.25;
/// Share of points left out that the user should know of.
const MANY: f64 = 0.15;
/// Share of the points that a bend at the end must not cost to be taken out.
const HARDLY: f64 = 0.985;
/// Bends of less are doubted, rad.
const LITTLE: f64 = 0.02;
/// Scatter beyond this part of the radius is no tube.
const ROUGH: f64 = 0.06;
/// Uncertainty of a bend's angle (rad) and radius (as a part) from which on it counts as open.
const LOOSE_ANGLE: f64 = 0.02;
const LOOSE_RADIUS: f64 = 0.5;
