//! The way of the part to its seat: what was found, and a picture of the part on it.

use crate::error::Result;
use crate::fitcheck::{Finding, Verdict};
use crate::job::{OtherPartOutcome, Outcome};
use crate::primitive::{Point3, Pose, Vec3};

use super::compose::{self, Looks};
use super::figure::{self, Tag, Words};
use super::findings::badge;
use super::number::Units;
use super::picture::{Mesh, Paint, Scene};
use super::table::name;
use super::{text, view};

/// Verdict in words and a picture of each way that was looked for; nothing if none was.
pub(super) fn section(
    outcome: &Outcome,
    looks: Option<&Looks>,
    units: &Units,
    size: [usize; 2],
) -> Result<String> {
    let mut out = String::new();
    let mut asked: Vec<&Finding> =
        outcome.findings.iter().filter(|f| f.kind == "insertion").collect();
    // As designed, then as made.
    asked.sort_by_key(|f| f.name != DESIGNED);
    for (k, found) in asked.into_iter().enumerate() {
        let which = if found.name == DESIGNED { "As designed" } else { "As made" };
        out += &format!("<p>{} {which}: {}</p>\n", badge(found.verdict), verdict(found));
        out += &format!("<p class=\"detail\">{}</p>\n", text::html(&found.detail));
        if !outcome.taken_off.is_empty() && k == 0 {
            let names: Vec<String> = outcome.taken_off.iter().map(|n| name(n)).collect();
            out += &format!("<p>Taken off for it: {}.</p>\n", names.join(", "));
        }
        if let Some(looks) = looks.filter(|_| k == 0) {
            out += &picture(outcome, found, looks, units, size)?;
        }
    }
    Ok(out)
}

fn verdict(found: &Finding) -> &'static str {
    match (found.verdict, found.path.is_empty()) {
        (Verdict::Pass, _) => "The part can be brought to its seat.",
        (_, false) => "A way was found, but it is not certain that it is free.",
        (_, true) => "No way was found. That is no proof that there is none.",
    }
}

fn picture(
    outcome: &Outcome,
    found: &Finding,
    looks: &Looks,
    units: &Units,
    size: [usize; 2],
) -> Result<String> {
    let Some(part) = outcome.part.as_ref().filter(|_| found.path.len() > 1) else {
        return Ok(String::new());
    };
    let (low, high) = part.bounding_box().unwrap_or((Point3::origin(), Point3::origin()));
    let middle = nalgebra::center(&low, &high);
    let last = found.path.len() - 1;
    let shown = SHOWN.min(last + 1);
    let stops: Vec<usize> = (0..shown).map(|k| k * last / (shown - 1).max(1)).collect();
    let place = |k: usize| found.path[k].machine_from_part;
    let way: Vec<Point3> = (0..=last).map(|k| place(k) * middle).collect();

    let whole = compose::scene(outcome, looks);
    let mut scene = Scene { meshes: Vec::new(), strokes: Vec::new() };
    // Scans and other parts; of the part only where it stands on its way.
    scene.meshes.extend(whole.meshes.iter().filter(|m| matches!(m.paint, Paint::Scan)));
    let stays = |o: &&OtherPartOutcome| !outcome.taken_off.contains(&o.name);
    for o in outcome.other_parts.iter().filter(stays) {
        scene.meshes.push(Mesh {
            points: &o.part.points,
            triangles: &o.part.triangles,
            normals: None,
            machine_from_mesh: Pose::identity(),
            paint: Paint::Other,
            point_radius: 0.0,
        });
        scene.strokes.push(compose::edges(&o.part.points, &o.part.triangles));
    }
    for &stop in &stops {
        let at = |p: &Point3| place(stop) * p;
        let points: Vec<Point3> = part.points.iter().map(at).collect();
        let mut edges = compose::edges(&points, &part.triangles);
        let ends = stop == 0 || stop == last;
        edges.hidden = if ends { 0.0 } else { BEHIND };
        if ends {
            scene.meshes.push(Mesh {
                points: &part.points,
                triangles: &part.triangles,
                normals: None,
                machine_from_mesh: place(stop),
                paint: Paint::Solid,
                point_radius: 0.0,
            });
        }
        scene.strokes.push(edges);
    }
    let dots = stops.iter().map(|&k| vec![way[k]]);
    scene.strokes.push(compose::shown_through(vec![way.clone()], WAY, 3.0));
    scene.strokes.push(compose::shown_through(dots.collect(), WAY, 9.0));

    let along = way.first().zip(way.last()).map_or(Vec3::z(), |(a, b)| a - b);
    let from = view::across(&whole, &along);
    let corners = (0..8).map(|c| {
        let pick = |k: usize| if c >> k & 1 == 1 { high[k] } else { low[k] };
        Point3::new(pick(0), pick(1), pick(2))
    });
    let corners: Vec<Point3> = corners.collect();
    let all = stops.iter().flat_map(|&k| corners.iter().map(move |p| place(k) * p));
    let camera = view::of_points(all, &from, size);
    let names = |k: usize| match k {
        0 => "outside",
        k if k + 1 == stops.len() => "seat",
        _ => "on the way",
    };
    let tags: Vec<Tag> = stops
        .iter()
        .enumerate()
        .map(|(k, &stop)| Tag {
            at: way[stop],
            code: (k + 1).to_string(),
            name: names(k).into(),
            class: "thin",
        })
        .collect();
    let seen = view::direction_name(&camera.back);
    let least = found.path.iter().map(|p| p.clearance).fold(f64::INFINITY, f64::min);
    let caption = format!(
        "{} Seen from {seen}: the part outside and at its seat, in between its edges; violet: the way of its middle. \
         Least air measured at the {} places of the way: {} {}.",
        verdict(found),
        found.path.len(),
        units.plain(least),
        units.length.symbol()
    );
    let alt = format!("The part on its way to its seat, seen from {seen}. {}", verdict(found));
    let words = Words { alt: &alt, caption: &caption, reach: 1.0 };
    figure::figure(&scene, &camera, units, &tags, &words)
}

/// Name of the finding about the part as designed.
const DESIGNED: &str = "part";
/// Places of the part that are drawn.
const SHOWN: usize = 6;
/// Share of an edge's strength behind surfaces.
const BEHIND: f64 = 0.25;
const WAY: [u8; 3] = [116, 56, 178];
