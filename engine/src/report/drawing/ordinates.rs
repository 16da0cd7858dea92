//! Places of holes counted from a zero line, in a row beside the field.

use crate::job::Outcome;
use crate::report::number::Units;
use crate::report::picture::Camera;

use super::dimension::spread;
use super::field::Field;
use super::holes::{Hole, Pattern};
use super::label::Room;
use super::outline::flat;
use super::paper::{Anchor, Sheet, TEXT};

/// Places along one direction: under the field for the one to the right, left of it for the one upwards.
pub(super) fn ordinates(
    page: &mut Sheet,
    room: &mut Room,
    camera: &Camera,
    outcome: &Outcome,
    pattern: &Pattern,
    (k, field): (usize, &Field),
    units: &Units,
) {
    let mut marks: Vec<(f64, f64, String)> = Vec::new();
    let zero = flat(camera, &pattern.zero());
    let border = if k == 0 { field.bottom } else { field.left };
    if zero[0] > field.left
        && zero[0] < field.right
        && zero[1] > field.top
        && zero[1] < field.bottom
    {
        marks.push((zero[k], border, "0".into()));
    }
    for hole in &pattern.holes {
        let at = flat(camera, &hole.mouth);
        let gap = hole.radius * camera.scale + 3.0;
        let from = if k == 0 { at[1] + gap } else { at[0] - gap };
        marks.push((at[k], from, ordinate(outcome, pattern, hole, k, units).0));
    }
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Two holes on one line share its words; the line is drawn from the farther one.
    marks.dedup_by(|b, a| {
        let same = a.2 == b.2 && (a.0 - b.0).abs() < 0.05;
        if same {
            a.1 = if k == 0 { a.1.min(b.1) } else { a.1.max(b.1) };
        }
        same
    });
    let places: Vec<f64> = marks.iter().map(|m| m.0).collect();
    for ((at, from, words), stands) in marks.iter().zip(spread(&places, TEXT + 1.2)) {
        let turned = |along: f64, out: f64| if k == 0 { [along, out] } else { [out, along] };
        let out = if k == 0 { 1.0 } else { -1.0 };
        let line = [
            turned(*at, *from),
            turned(*at, border + 1.5 * out),
            turned(stands, border + 5.5 * out),
            turned(stands, border + 7.0 * out),
        ];
        page.line("thin", &line);
        room.cross(&line);
        let end = turned(stands, border + 8.0 * out);
        if k == 0 {
            page.upright("", end, Anchor::End, words);
        } else {
            page.words("", end, Anchor::End, words);
        }
    }
    let name = pattern.across[k].axis.unwrap_or(if k == 0 { "across" } else { "up" });
    if k == 0 {
        page.words("bold", [field.left - 8.0, field.bottom + 12.0], Anchor::End, name);
    } else {
        page.words("bold", [field.left - 8.0, field.top - 4.0], Anchor::End, name);
    }
}

/// Place of a hole along a direction and its expanded uncertainty, as text.
pub(super) fn ordinate(
    outcome: &Outcome,
    pattern: &Pattern,
    hole: &Hole,
    k: usize,
    units: &Units,
) -> (String, Option<String>) {
    let c = &outcome.features[hole.rank].feature.covariance;
    let u = 2.0 * c.variance_along(&hole.mouth, &pattern.across[k].counted).sqrt();
    let stated = units.length(pattern.place(hole, k), Some(u));
    (stated.value, stated.uncertainty)
}
