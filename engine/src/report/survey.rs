//! The page of a survey: each primitive in its own colour with its id, and what can be copied into a job file.

use super::figure::{self, Tag, Words};
use super::number::Units;
use super::picture::{Mesh, Paint, Scene};
use super::table::{Table, name, plus_minus};
use super::{features, page, scene, text, view, viewer};
use crate::error::Result;
use crate::primitive::{Direction, Pose, Vec3, unit};
use crate::survey::{Survey, Surveyed};
use crate::units::{AngleUnit, LengthUnit};

/// The page of a survey as one self-contained HTML file; `title` is shown at the top.
///
/// # Errors
/// [`crate::Error::Internal`] if a picture cannot be encoded.
pub fn survey_html(survey: &Survey, title: &str) -> Result<String> {
    let units = Units { length: LengthUnit::Millimetre, angle: AngleUnit::Degree };
    let (shots, first) = pictures(survey, &units)?;
    let packed = scene::of_survey(survey, &units, colour, &first)?;
    let body = format!(
        "<header>\n<p class=\"kind\">Survey</p>\n<h1>{}</h1>\n<p class=\"about\">{}</p>\n\
         <p class=\"caution\">What the scanner did not see is not here. Uncertainties hold the scatter of the \
         points alone; a run of a job says what each feature deserves.</p></header>\n<main>\n\
         <section class=\"stage\" id=\"view\" aria-label=\"Pictures\"><div class=\"shots\">{}{shots}</div>\n\
         <div class=\"beside\">{}</div></section>\n{}{}{}</main>\n",
        name(title),
        about(survey, &units),
        viewer::VIEW,
        viewer::THINGS,
        page::section("found", "Primitives", &primitives(survey, &units)),
        page::section("made", "Holes and tubes", &made(survey, &units)),
        page::section("alike", "What they have in common", &groups(survey, &units)),
    );
    Ok(page::whole(title, "survey", &body, &viewer::data(Some(&packed))))
}

/// What a terminal shows of a survey.
#[must_use]
pub fn survey_summary(survey: &Survey) -> String {
    let units = Units { length: LengthUnit::Millimetre, angle: AngleUnit::Degree };
    let mut out = format!("{}\n\n", text::plain(&about(survey, &units)));
    for p in &survey.primitives {
        let at = units.point(&p.at);
        let size = size(p, &units).replace("<span class=\"u\">", "").replace("</span>", "");
        let size = size.replace("<br>", ", ");
        out += &format!(
            "{:<12} {:<6} {:<34} {:>8} points  at {at}\n",
            p.id,
            p.side.name(),
            size,
            p.region.ids().len()
        );
    }
    for (n, h) in survey.holes.iter().enumerate() {
        let face = h.face.map_or("no flat face", |k| survey.primitives[k].id.as_str());
        let seen = if h.wall.is_some() { "" } else { ", rim alone" };
        out += &format!(
            "hole {:<7} diameter {} in {face}{seen}\n",
            n + 1,
            units.length(2.0 * h.radius, None).value
        );
    }
    out
}

fn about(survey: &Survey, units: &Units) -> String {
    let s = &survey.scan;
    format!(
        "{} points, {} triangles · {}, {}, {} · {} points on none · noise {} mm, \
         spacing {} mm · lengths in mm, scan coordinates · Fitwright {}",
        s.points().len(),
        s.triangles().len(),
        page::count(survey.primitives.len(), "primitive"),
        page::count(survey.holes.len(), "hole"),
        page::count(survey.tubes.len(), "tube"),
        survey.unclaimed,
        units.small(s.noise()),
        units.small(s.resolution()),
        env!("CARGO_PKG_VERSION")
    )
}

/// The scan from three sides, and the direction to the viewer of the first of them.
fn pictures(survey: &Survey, units: &Units) -> Result<(String, Direction)> {
    let mut labels = vec![-1.0; survey.scan.points().len()];
    for (k, p) in survey.primitives.iter().enumerate() {
        p.region.ids().iter().for_each(|&i| labels[i as usize] = k as f64);
    }
    let palette: Vec<[u8; 3]> = (0..survey.primitives.len()).map(colour).collect();
    let mesh = Mesh {
        points: survey.scan.points(),
        triangles: survey.scan.triangles(),
        normals: Some(survey.scan.normals()),
        machine_from_mesh: Pose::identity(),
        paint: Paint::Labels(&labels, &palette),
        point_radius: 0.5 * survey.scan.resolution(),
    };
    let scene = Scene { meshes: vec![mesh], strokes: Vec::new() };
    let first = view::general_direction(&scene);
    let mut out = String::new();
    // Its back shows nothing: a scan is open towards where the scanner stood.
    for back in [first, aside(&first, 1.0), aside(&first, -1.0)] {
        let camera = view::general(&scene, &back, PICTURE);
        let seen = view::direction_name(&camera.back);
        let facing = |p: &&Surveyed| {
            let normal = nearest_normal(survey, p);
            normal.dot(&camera.back) > 0.2
        };
        let mut shown: Vec<&Surveyed> = survey.primitives.iter().filter(facing).collect();
        shown.sort_by(|a, b| b.area.total_cmp(&a.area));
        let tag = |p: &&Surveyed| Tag {
            at: p.at,
            code: text::html(&p.id.chars().take(1).collect::<String>().to_uppercase()),
            name: p.id.clone(),
            class: "face",
        };
        let tags: Vec<Tag> = shown.iter().map(tag).collect();
        let alt = format!("The scan seen from {seen}, each primitive in its own colour");
        let caption = format!("Seen from {seen}, in scan axes; grey belongs to no primitive.");
        out += &figure::figure(
            &scene,
            &camera,
            units,
            &tags,
            &Words { alt: &alt, caption: &caption, reach: 1.0 },
        )?;
    }
    Ok((out, first))
}

/// Where the surface faces at the primitive's point.
fn nearest_normal(survey: &Survey, p: &Surveyed) -> Vec3 {
    let normal = p.feature.shape.normal_at(&p.at).map_or_else(Vec3::zeros, Direction::into_inner);
    // The shape's own normal may point into the material.
    let (id, _) = survey.scan.nearest(&p.at);
    let outward = survey.scan.normals()[id as usize];
    if normal.dot(&outward) < 0.0 { -normal } else { normal }
}

/// A quarter turn about the vertical, one way or the other.
fn aside(first: &Direction, way: f64) -> Direction {
    let turned = Vec3::new(-way * first.y, way * first.x, first.z);
    unit(turned).unwrap_or(*first)
}

fn primitives(survey: &Survey, units: &Units) -> String {
    let columns = [
        "id",
        "colour",
        "side",
        "#size",
        "#area",
        "#points",
        "#scatter",
        "point for a job file",
        "touches",
    ];
    let mut table =
        Table::new("primitives", "Primitives, scan coordinates, mm; ± expanded (k = 2)", &columns);
    for (k, p) in survey.primitives.iter().enumerate() {
        let [r, g, b] = colour(k);
        let touching = p.adjacent.iter().take(SHOWN).map(|&j| text::html(&survey.primitives[j].id));
        let mut touches = touching.collect::<Vec<_>>().join(", ");
        if p.adjacent.len() > SHOWN {
            touches += &format!(" and {} more", p.adjacent.len() - SHOWN);
        }
        let rms = p.feature.quality.as_ref().map_or_else(String::new, |q| units.small(q.rms));
        table.row(&[
            name(&p.id),
            format!("<span class=\"swatch\" style=\"background:rgb({r},{g},{b})\"></span>"),
            p.side.name().into(),
            size(p, units),
            format!("{:.0}", p.area),
            p.region.ids().len().to_string(),
            rms,
            format!(
                "<code class=\"line\">at = [{:.2}, {:.2}, {:.2}]</code>",
                p.at.x, p.at.y, p.at.z
            ),
            format!("<span class=\"line\">{touches}</span>"),
        ]);
    }
    table.html()
}

fn size(p: &Surveyed, units: &Units) -> String {
    let each = features::sizes(&p.feature, units);
    let all: Vec<String> =
        each.iter().map(|(what, s)| format!("{what} {}", plus_minus(s))).collect();
    all.join("<br>")
}

fn made(survey: &Survey, units: &Units) -> String {
    let id = |k: Option<usize>| k.map_or_else(|| "–".into(), |k| name(&survey.primitives[k].id));
    let columns = ["hole", "wall", "opens in", "other end", "#diameter", "#depth seen"];
    let mut holes =
        Table::new("holes", "Holes; one without a wall shows its rim alone, too large", &columns);
    for (n, h) in survey.holes.iter().enumerate() {
        let end = if h.through { format!("through, {}", id(h.other_end)) } else { id(h.other_end) };
        holes.row(&[
            format!("hole {}", n + 1),
            id(h.wall),
            id(h.face),
            end,
            units.length(2.0 * h.radius, None).value,
            if h.wall.is_some() { units.length(h.depth, None).value } else { "–".into() },
        ]);
    }
    let mut tubes =
        Table::new("tubes", "Tubes: legs and bends in order", &["tube", "features", "#diameter"]);
    for (n, t) in survey.tubes.iter().enumerate() {
        let members: Vec<String> =
            t.members.iter().map(|&k| name(&survey.primitives[k].id)).collect();
        tubes.row(&[
            format!("tube {}", n + 1),
            members.join(", "),
            units.length(2.0 * t.radius, None).value,
        ]);
    }
    holes.html() + &tubes.html()
}

fn groups(survey: &Survey, units: &Units) -> String {
    let mut table = Table::new(
        "groups",
        "Primitives with something in common",
        &["what", "features", "#diameter"],
    );
    for g in &survey.groups {
        let members: Vec<String> =
            g.members.iter().map(|&k| name(&survey.primitives[k].id)).collect();
        let size = g.radius.map_or_else(|| "–".into(), |r| units.length(2.0 * r, None).value);
        table.row(&[g.kind.name().into(), members.join(", "), size]);
    }
    table.html()
}

/// Colours that neighbours in number do not share: hues a golden angle apart, in three strengths.
fn colour(k: usize) -> [u8; 3] {
    let hue = (k as f64 * 0.381_966_011).fract() * 6.0;
    let (most, least) = [(214.0, 110.0), (180.0, 70.0), (235.0, 160.0)][k % 3];
    let rising = least + (most - least) * (1.0 - (hue.rem_euclid(2.0) - 1.0).abs());
    let [r, g, b] = match hue as usize {
        0 => [most, rising, least],
        1 => [rising, most, least],
        2 => [least, most, rising],
        3 => [least, rising, most],
        4 => [rising, least, most],
        _ => [most, least, rising],
    };
    [r as u8, g as u8, b as u8]
}

/// Neighbours that are listed.
const SHOWN: usize = 6;
/// Size of a picture, pixels.
const PICTURE: [usize; 2] = [1200, 800];
