//! The hole pattern on paper: holes true to scale, their places as ordinates, the part's outline over them.

use crate::job::Outcome;
use crate::primitive::Point3;
use crate::report::number::Units;
use crate::report::picture::Camera;
use crate::report::{features, view};

use super::dimension::{along, arrow, check_line, go};
use super::field::{Field, camera};
use super::holes::{Hole, Pattern};
use super::label::Room;
use super::numbers::numbers;
use super::ordinates::ordinates;
use super::outline::{flat, outline};
use super::paper::{Anchor, Sheet, Spot, scale_name, width};
use super::sheet;

/// A pattern as drawing with its table; `number` counts from 1.
pub(super) fn plan(outcome: &Outcome, pattern: &Pattern, number: usize, units: &Units) -> String {
    let camera = camera(outcome, pattern);
    let size = [camera.width as f64, camera.height as f64];
    let mut page = Sheet::new(size);
    let mut room = Room::new(size);
    let field = Field::of(size);
    if let Some(part) = &outcome.part {
        let inside = field.camera(&camera);
        let lines = outline(&part.points, &part.triangles, &inside);
        let lines: Vec<Vec<Spot>> = lines.iter().map(|l| field.moved(l)).collect();
        page.lines("ghost", lines.iter().map(Vec::as_slice));
        lines.iter().for_each(|l| room.cross(l));
    }
    zero_lines(&mut page, &camera, pattern, &field);
    for hole in &pattern.holes {
        circles(&mut page, &mut room, &camera, hole);
    }
    for k in 0..2 {
        ordinates(&mut page, &mut room, &camera, outcome, pattern, (k, &field), units);
    }
    labels(&mut page, &mut room, &camera, outcome, pattern, units);
    check_line(&mut page, [field.left, size[1] - 3.0], field.right - field.left, units.length);
    let scale = scale_name(camera.scale);
    let from = view::direction_name(&pattern.back);
    let title = format!("Hole pattern seen from {from}, {scale}");
    let described = "The table after the drawing has every place and diameter of it.";
    let mut caption = format!(
        "<b>Hole pattern</b> seen from {from}, <b>{scale}</b> printed on A4 at full size; lengths in {}. ",
        units.length.symbol()
    );
    caption += if pattern.in_axes() {
        "Places are machine coordinates of the mouths of the holes. "
    } else {
        "Places are counted from the first hole, along the paper. "
    };
    caption += "Thick: holes of the machine, numbered as in the table of features";
    if outcome.part.is_some() {
        caption += "; thin: holes of the part; dash and two dots: the part's outline";
    }
    format!(
        "<div class=\"plan\">\n{}{}</div>\n",
        sheet(&page.svg(&title, described), &(caption + ".")),
        numbers(outcome, pattern, number, units)
    )
}

/// Axes of the machine where they pass through the field, named at their ends.
fn zero_lines(page: &mut Sheet, camera: &Camera, pattern: &Pattern, field: &Field) {
    if !pattern.in_axes() {
        return;
    }
    let [x, y] = flat(camera, &Point3::origin());
    let through = [
        (x > field.left && x < field.right, [x, field.bottom], [x, field.top], 1),
        (y > field.top && y < field.bottom, [field.left, y], [field.right, y], 0),
    ];
    for (shown, low, high, k) in through {
        let across = &pattern.across[k];
        let (Some(name), true) = (across.axis, shown) else { continue };
        page.line("chain", &[low, high]);
        let (from, to) =
            if across.counted.dot(&across.paper) < 0.0 { (high, low) } else { (low, high) };
        if let Some(d) = along(from, to) {
            arrow(page, to, [-d[0], -d[1]]);
            page.words("bold halo", go(go(to, d, -3.0), [-d[1], d[0]], -2.6), Anchor::Middle, name);
        }
    }
}

/// A hole with its centre lines, and the part's beside it.
fn circles(page: &mut Sheet, room: &mut Room, camera: &Camera, hole: &Hole) {
    let at = flat(camera, &hole.mouth);
    let r = hole.radius * camera.scale;
    page.circle("hole", at, r);
    let arm = r + 2.5;
    page.lines(
        "chain",
        [
            [[at[0] - arm, at[1]], [at[0] + arm, at[1]]].as_slice(),
            &[[at[0], at[1] - arm], [at[0], at[1] + arm]],
        ],
    );
    room.block([at[0] - arm, at[1] - arm, at[0] + arm, at[1] + arm]);
    if let Some(part) = &hole.of_part {
        let (at, r) = (flat(camera, &part.point), part.radius * camera.scale);
        page.circle("clear", at, r);
        page.lines(
            "thin",
            [
                [[at[0] - 1.0, at[1] - 1.0], [at[0] + 1.0, at[1] + 1.0]].as_slice(),
                &[[at[0] - 1.0, at[1] + 1.0], [at[0] + 1.0, at[1] - 1.0]],
            ],
        );
        room.block([at[0] - r, at[1] - r, at[0] + r, at[1] + r]);
    }
}

/// Number and diameter of each hole.
fn labels(
    page: &mut Sheet,
    room: &mut Room,
    camera: &Camera,
    outcome: &Outcome,
    pattern: &Pattern,
    units: &Units,
) {
    for hole in &pattern.holes {
        let feature = &outcome.features[hole.rank].feature;
        let diameter = features::sizes(feature, units).into_iter().next().map(|s| s.1);
        let words = diameter.map_or_else(String::new, |s| {
            format!("Ø{}{}", s.value, s.uncertainty.map_or_else(String::new, |u| format!(" ± {u}")))
        });
        let number = (hole.rank + 1).to_string();
        let at = flat(camera, &hole.mouth);
        let r = hole.radius * camera.scale;
        let half = [(width(&words) + 2.0 * BALLOON + 2.0) / 2.0, BALLOON + 0.3];
        let spots: [Spot; 14] = LABELS.map(|(x, y)| {
            let d = along([0.0; 2], [x, y]).unwrap_or([1.0, 0.0]);
            let out = go(at, d, r + 3.0 + (x * x + y * y).sqrt());
            [out[0] + half[0] * x.signum(), out[1]]
        });
        let middle = spots[room.place(half, spots.into_iter())];
        let left = middle[0] - half[0];
        let to_right = middle[0] > at[0];
        let centre = if to_right { left + BALLOON } else { left + 2.0 * half[0] - BALLOON };
        let near = if to_right { left } else { left + 2.0 * half[0] };
        if let Some(d) = along(at, [near, middle[1]]) {
            let rim = go(at, d, r);
            page.line("thin", &[rim, [near, middle[1]]]);
            arrow(page, rim, d);
            room.cross(&[rim, [near, middle[1]]]);
        }
        page.circle("balloon", [centre, middle[1]], BALLOON);
        page.words("bold", [centre, middle[1]], Anchor::Middle, &number);
        let (x, anchor) = if to_right {
            (centre + BALLOON + 1.0, Anchor::Start)
        } else {
            (centre - BALLOON - 1.0, Anchor::End)
        };
        page.words("halo", [x, middle[1]], anchor, &words);
    }
}

/// Radius of the circle round a number.
const BALLOON: f64 = 2.9;
/// Where a label may hang from its hole, mm, in order of preference; ordinates run down and to the left.
const LABELS: [(f64, f64); 14] = [
    (3.0, -3.0),
    (5.0, -1.0),
    (-3.0, -3.0),
    (5.0, 2.0),
    (2.0, -8.0),
    (9.0, -5.0),
    (-5.0, 2.0),
    (-2.0, -8.0),
    (9.0, 5.0),
    (-9.0, -5.0),
    (3.0, 14.0),
    (-3.0, -14.0),
    (16.0, -9.0),
    (-16.0, -9.0),
];
