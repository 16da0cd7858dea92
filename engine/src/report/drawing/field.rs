//! The part of a plan's sheet that things are drawn in, and at which scale.

use crate::job::Outcome;
use crate::primitive::Point3;
use crate::report::picture::{Camera, look};

use super::holes::Pattern;
use super::paper::{Spot, scale};

/// Where things are drawn; dimensions stand round it.
pub(super) struct Field {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Field {
    /// The field of a sheet of a size.
    pub(super) fn of(size: Spot) -> Self {
        Field { left: LEFT, top: TOP, right: size[0] - RIGHT, bottom: size[1] - BOTTOM }
    }

    /// A camera of the field alone.
    pub(super) fn camera(&self, of: &Camera) -> Camera {
        let (width, height) =
            ((self.right - self.left) as usize, (self.bottom - self.top) as usize);
        let middle = [(self.left + self.right) / 2.0, (self.top + self.bottom) / 2.0];
        let off = [middle[0] - of.width as f64 / 2.0, middle[1] - of.height as f64 / 2.0];
        let target = of.target + (of.right * off[0] - of.up * off[1]) / of.scale;
        Camera { width, height, target, ..of.clone() }
    }

    pub(super) fn moved(&self, line: &[Spot]) -> Vec<Spot> {
        line.iter().map(|[x, y]| [x + self.left, y + self.top]).collect()
    }
}

/// Along the direction of the holes, with the origin if it is near, and all of the part if the scale allows.
pub(super) fn camera(outcome: &Outcome, pattern: &Pattern) -> Camera {
    let mut camera = look(&pattern.back, 1, 1);
    let on = |p: &Point3| [camera.right.dot(&p.coords), camera.up.dot(&p.coords)];
    let mut low = [f64::INFINITY; 2];
    let mut high = [f64::NEG_INFINITY; 2];
    let hold = |low: &mut Spot, high: &mut Spot, p: Spot, r: f64| {
        for k in 0..2 {
            low[k] = low[k].min(p[k] - r);
            high[k] = high[k].max(p[k] + r);
        }
    };
    for h in &pattern.holes {
        hold(&mut low, &mut high, on(&h.mouth), h.radius);
    }
    let room = [MOST[0] - LEFT - RIGHT - 2.0 * AIR, MOST[1] - TOP - BOTTOM - 2.0 * AIR];
    let scale_of = |low: &Spot, high: &Spot| scale([high[0] - low[0], high[1] - low[1]], room, 1.0);
    camera.scale = scale_of(&low, &high);
    // The origin too if it is near and the scale stays.
    let zero = on(&pattern.zero());
    let (mut from, mut to) = (low, high);
    hold(&mut from, &mut to, zero, 0.0);
    if scale_of(&from, &to) == camera.scale {
        (low, high) = (from, to);
    }
    // Of the part as much as there is room for.
    let (mut from, mut to) = (low, high);
    for p in outcome.part.iter().flat_map(|p| &p.points) {
        hold(&mut from, &mut to, on(p), 0.0);
    }
    for k in 0..2 {
        let wanted = [low[k] - from[k], to[k] - high[k]];
        let left = room[k] / camera.scale - (high[k] - low[k]);
        let share = (left / (wanted[0] + wanted[1]).max(1e-9)).clamp(0.0, 1.0);
        low[k] -= share * wanted[0];
        high[k] += share * wanted[1];
    }
    let inner = [0, 1].map(|k| ((high[k] - low[k]) * camera.scale + 2.0 * AIR).max(LEAST[k]));
    camera.width = (inner[0] + LEFT + RIGHT).ceil() as usize;
    camera.height = (inner[1] + TOP + BOTTOM).ceil() as usize;
    // The middle of what is shown lies in the middle of the field, not of the paper.
    let middle = [0, 1].map(|k| (low[k] + high[k]) / 2.0);
    let shift = [(RIGHT - LEFT) / 2.0 / camera.scale, (TOP - BOTTOM) / 2.0 / camera.scale];
    camera.target =
        Point3::from(camera.right * (middle[0] + shift[0]) + camera.up * (middle[1] + shift[1]));
    camera
}

/// Room round the field: for ordinates on the left and below, and the line to check the print by.
const LEFT: f64 = 30.0;
const TOP: f64 = 9.0;
const RIGHT: f64 = 3.0;
const BOTTOM: f64 = 37.0;
/// Round what is shown, within the field.
const AIR: f64 = 13.0;
/// Of the drawing at most: an A4 page with margins, a caption and a table.
const MOST: Spot = [182.0, 206.0];
/// Of the field at least.
const LEAST: Spot = [80.0, 40.0];
