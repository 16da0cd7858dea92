//! A section at the place of a finding: what is cut, and between the witnesses the value with its limit.

use crate::fitcheck::{Finding, Measure};
use crate::job::Outcome;
use crate::primitive::{Direction, Point3, Vec3, unit};
use crate::report::figure::letter;
use crate::report::number::Units;
use crate::report::picture::{Camera, Cut, Scene, look};
use crate::report::{findings, table, text, view};

use super::cut::Profile;
use super::dimension::{along, arrow, arrows, bar, go};
use super::label::Room;
use super::outline::flat;
use super::paper::{Anchor, Sheet, Spot, TEXT, scale, scale_name, width};
use super::sheet;

/// The drawing of a finding between whose witnesses there is a length; `None` for others.
pub(super) fn section(
    outcome: &Outcome,
    scene: &Scene<'_>,
    general: &Direction,
    index: usize,
    units: &Units,
) -> Option<String> {
    let finding = &outcome.findings[index];
    if finding.kind == "hole" {
        // The hole pattern shows it.
        return None;
    }
    let (from, to) = (finding.at?, finding.to?);
    // The close look's own cut.
    let cut = view::close(outcome, &scene.meshes, finding, general, [900, 600])?.cut?;
    let camera = camera(&cut, &from, &to, view::extent(outcome));
    let profiles: Vec<Profile> =
        scene.meshes.iter().map(|m| Profile::of(m, &cut, &camera)).collect();
    let mut page = Sheet::new(SIZE);
    profiles.iter().for_each(|p| p.draw(&mut page));
    let mut room = Room::new(SIZE);
    profiles.iter().for_each(|p| p.keep_clear(&mut room));
    frame(&mut page, &mut room, &camera, units);
    let ends = [flat(&camera, &from), flat(&camera, &to)];
    let words = words(finding, (from - to).norm(), units);
    dimension(&mut page, &mut room, ends, &words);
    let code = letter(index);
    let scale = scale_name(camera.scale);
    let title = format!("Section {code}, {} {}, {scale}", finding.kind, finding.name);
    let said = format!("{}. {}", words.join(", "), finding.detail);
    let caption = format!(
        "<b>Section <a href=\"#finding-{code}\">{code}</a></b>, {} {}, <b>{scale}</b>. {}",
        text::html(finding.kind),
        table::name(&finding.name),
        place(&cut, units)
    );
    Some(sheet(&page.svg(&title, &said), &caption))
}

/// Square on the cut, at the scale that shows enough of the surroundings.
fn camera(cut: &Cut, from: &Point3, to: &Point3, extent: f64) -> Camera {
    let gap = (to - from).norm();
    let half = (0.08 * extent).max(1.6 * gap).max(1e-3);
    let mut camera = look(&cut.normal, SIZE[0] as usize, SIZE[1] as usize);
    camera.target = nalgebra::center(from, to);
    camera.scale = scale([2.0 * half; 2], [SIZE[1]; 2], 50.0);
    camera
}

/// What the dimension says: value, limit; the drawn length where that is another.
fn words(finding: &Finding, drawn: f64, units: &Units) -> Vec<String> {
    let symbol = units.symbol(finding.measure);
    let unit = |s: String| if symbol.is_empty() { s } else { format!("{s} {symbol}") };
    let mut lines = Vec::new();
    if let Some(s) = findings::stated(finding, units) {
        let u = s.uncertainty.map_or_else(String::new, |u| format!(" ± {u}"));
        lines.push(unit(format!("{}{u}", s.value)));
    }
    let value = finding.value.filter(|_| finding.measure == Measure::Length).map(f64::abs);
    let within = finding.uncertainty.unwrap_or(0.0) + SAME;
    if value.is_none_or(|v| (v - drawn).abs() > within) {
        lines.push(format!("drawn: {} {}", units.plain(drawn), units.length.symbol()));
    }
    if let Some(limit) = findings::limit(finding, units) {
        lines.push(unit(format!("limit {limit}")));
    }
    lines
}

/// The witness between arrows, beside it, and the words where there is most room for them.
fn dimension(page: &mut Sheet, room: &mut Room, [a, b]: [Spot; 2], words: &[String]) {
    let Some(d) = along(a, b) else { return };
    for end in [a, b] {
        page.circle("solid", end, 0.6);
    }
    page.line("witness", &[a, b]);
    let side = [-d[1], d[0]];
    let half = [
        words.iter().map(|w| width(w)).fold(0.0, f64::max) / 2.0 + 0.5,
        words.len() as f64 * LINE / 2.0 + 0.3,
    ];
    let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
    // How far the words reach towards the dimension line, beside it and beyond its ends.
    let reach = |n: Spot| half[0] * n[0].abs() + half[1] * n[1].abs() + 2.0;
    let tried: Vec<(f64, Spot)> = [8.0f64, 14.0, 20.0, 28.0, 36.0]
        .iter()
        .flat_map(|o| [*o, -*o])
        .flat_map(|o| {
            let beyond = reach(d) + TAIL;
            [
                go(middle, side, o + reach(side) * o.signum()),
                go(go(b, side, o), d, beyond),
                go(go(a, side, o), d, -beyond),
            ]
            .map(|at| (o, at))
        })
        .collect();
    let best = room.place(half, tried.iter().map(|t| t.1));
    let (offset, at) = tried[best];
    let ends = [a, b].map(|p| go(p, side, offset));
    for (p, end) in [a, b].into_iter().zip(ends) {
        page.line("thin", &[go(p, side, offset.signum()), go(end, side, 1.5 * offset.signum())]);
    }
    arrows(page, ends[0], ends[1], TAIL);
    for (k, line) in words.iter().enumerate() {
        let y = at[1] + (k as f64 - (words.len() - 1) as f64 / 2.0) * LINE;
        let class = if k == 0 { "bold halo" } else { "halo" };
        page.words(class, [at[0], y], Anchor::Middle, line);
    }
}

/// Border, axes and scale bar.
fn frame(page: &mut Sheet, room: &mut Room, camera: &Camera, units: &Units) {
    let [w, h] = page.size;
    room.block([0.0, h - 26.0, 26.0, h]);
    page.plate([0.3, h - 25.0, 25.0, 24.7]);
    for (name, axis) in [("x", Vec3::x()), ("y", Vec3::y()), ("z", Vec3::z())] {
        let d = [camera.right.dot(&axis), -camera.up.dot(&axis)];
        if d[0].hypot(d[1]) < 0.2 {
            continue;
        }
        let (zero, end) = ([12.0, h - 12.0], go([12.0, h - 12.0], d, 8.0));
        page.line("thin", &[zero, end]);
        if let Some(u) = along(zero, end) {
            arrow(page, end, [-u[0], -u[1]]);
            page.words("", go(end, u, 2.4), Anchor::Middle, name);
        }
    }
    let unit = units.length.to_mm();
    let most = 30.0 / camera.scale / unit;
    let power = 10f64.powf(most.log10().floor());
    let round = [5.0, 2.0, 1.0].into_iter().find(|s| s * power <= most).unwrap_or(1.0) * power;
    let decimals = (-round.log10().floor()).max(0.0) as usize;
    let long = round * unit * camera.scale;
    room.block([w - 36.0, h - 11.0, w, h]);
    page.plate([w - 4.0 - long - 2.0, h - 11.0, long + 5.7, 10.7]);
    bar(page, [w - 4.0 - long, h - 3.0], long);
    let words = format!("{round:.decimals$} {}", units.length.symbol());
    page.words("", [w - 4.0 - long / 2.0, h - 3.0 - TEXT], Anchor::Middle, &words);
    let (left, right, low) = (0.2, w - 0.2, h - 0.2);
    page.line("thin", &[[left, left], [right, left], [right, low], [left, low], [left, left]]);
}

/// Where the cut lies and from where it is seen.
fn place(cut: &Cut, units: &Units) -> String {
    let from = view::direction_name(&cut.normal);
    let axes = [
        ("x", Vec3::x(), cut.point.x),
        ("y", Vec3::y(), cut.point.y),
        ("z", Vec3::z(), cut.point.z),
    ];
    let unit_name = units.length.symbol();
    match axes.iter().find(|a| a.1.dot(&cut.normal).abs() > 1.0 - 1e-9) {
        Some((name, _, at)) => {
            format!("Cut at {name} = {} {unit_name}, seen from {from}.", units.plain(*at))
        }
        None => {
            let n = unit(cut.normal.into_inner()).unwrap_or(cut.normal);
            format!(
                "Cut through {} {unit_name}, square to ({:.3}, {:.3}, {:.3}), seen from {from}.",
                units.point(&cut.point),
                n.x,
                n.y,
                n.z
            )
        }
    }
}

/// Width and height of a section on paper, mm.
const SIZE: Spot = [150.0, 96.0];
/// From one line of words to the next, mm.
const LINE: f64 = 4.2;
/// Of a dimension line beyond arrows that have no room between.
const TAIL: f64 = 6.0;
/// How far a value may be from the drawn length beside its uncertainty, mm.
const SAME: f64 = 0.05;
