//! Whether the points say enough of a section.

use fitwright_plugin::Failure;

use super::model::{CORNER, HEIGHT, Section, WIDTH};
use crate::V3;

/// Points on each side and on the corner beyond it, that bound a size.
#[derive(Debug, Default)]
struct Seen {
    /// Of +x, -x, +y, -y: on the flat, or on a corner where it has turned towards the side.
    bounds: [usize; 4],
    /// On corners, between the two sides.
    corner: usize,
    all: usize,
}

/// Refuses a section of which a size hangs in the air.
pub(super) fn determined(section: &Section, points: &[V3], cut: f64) -> Result<(), Failure> {
    let seen = seen(section, points, cut);
    if seen.all < super::MINIMUM || 4 * seen.all < points.len() {
        return Err(Failure::undetermined(
            "too few points lie on one hollow section: take a region with less beside it",
        ));
    }
    if 2.0 * section.corner > ROUND * section.width.min(section.height) {
        return Err(Failure::undetermined(
            "the section is as good as round at its narrow sides: try the round tube, or give \
             corner_radius",
        ));
    }
    if section.free[CORNER] && seen.corner < FEWEST {
        return Err(Failure::undetermined(
            "no rounded corner is seen, so its radius is open; scan a corner or give corner_radius",
        ));
    }
    let short = |k: usize| seen.bounds[k] < FEWEST || seen.bounds[k + 1] < FEWEST;
    let (x, y) = (short(0), short(2));
    // A square needs one pair of sides, and one side across to hold it.
    let held = |k: usize| seen.bounds[k] >= FEWEST || seen.bounds[k + 1] >= FEWEST;
    if !held(0) || !held(2) {
        return Err(Failure::undetermined(
            "only one side is seen; scan two sides that meet, and the corners beyond them",
        ));
    }
    let open = |size: usize, name: &str| {
        Err(Failure::undetermined(format!(
            "the {name} is open: of its two sides one is not seen, nor how far round the corners next \
             to it turn; scan from that side too, or give {}",
            if size == WIDTH { "width (or square)" } else { "height (or square)" }
        )))
    };
    if section.square {
        return if x && y && section.free[WIDTH] { open(WIDTH, "side") } else { Ok(()) };
    }
    match (x && section.free[WIDTH], y && section.free[HEIGHT]) {
        (true, _) => open(WIDTH, "width"),
        (_, true) => open(HEIGHT, "height"),
        _ => Ok(()),
    }
}

fn seen(section: &Section, points: &[V3], cut: f64) -> Seen {
    let mut out = Seen::default();
    for p in points {
        let (_, x, y) = section.local(p);
        let foot = section.foot(x, y);
        if foot.distance.abs() > cut {
            continue;
        }
        out.all += 1;
        let [nx, ny] = foot.normal;
        for (k, turned) in [nx, -nx, ny, -ny].into_iter().enumerate() {
            out.bounds[k] += usize::from(turned > TURNED);
        }
        out.corner += usize::from(foot.on_corner && nx.abs().min(ny.abs()) > TURNED);
    }
    out
}

/// Points that show a side or a corner.
const FEWEST: usize = 15;
/// Sine of how far a corner must have turned towards a side to bound it: 10 degrees.
const TURNED: f64 = 0.17;
/// Part of the smaller side that two corners together may take.
const ROUND: f64 = 0.92;
