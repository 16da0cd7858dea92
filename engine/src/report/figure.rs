//! A picture in the page: the drawn surfaces as an image, names, axes and scale over it as text.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use crate::error::Result;
use crate::fitcheck::Verdict;
use crate::job::Outcome;
use crate::primitive::{Point3, Vec3};

use super::number::Units;
use super::picture::{Camera, Scene, anchor, draw};
use super::{compose, table, text, view};

/// A name to hang on a place of the picture.
pub(super) struct Tag {
    /// Place, machine coordinates, mm.
    pub at: Point3,
    /// Letter of a finding, number of a feature, P and number of another part.
    pub code: String,
    pub name: String,
    pub class: &'static str,
}

/// What is said about a figure.
pub(super) struct Words<'a> {
    /// In place of the picture, plain text.
    pub alt: &'a str,
    /// Under the picture, safe HTML.
    pub caption: &'a str,
    /// How far tags hang from their points, as a multiple of the usual.
    pub reach: f64,
}

impl Tag {
    /// Whether it names a feature or another part, not a finding.
    pub(super) fn is_thing(&self) -> bool {
        matches!(self.class, "face" | "round" | "thin" | "other")
    }
}

/// A figure of a scene.
pub(super) fn figure(
    scene: &Scene<'_>,
    camera: &Camera,
    units: &Units,
    tags: &[Tag],
    Words { alt, caption, reach }: &Words<'_>,
) -> Result<String> {
    let data = STANDARD.encode(draw(scene, camera).to_small_png()?);
    let (w, h) = (camera.width, camera.height);
    let mut lines = String::new();
    let mut words = String::new();
    axes(camera, &mut lines, &mut words);
    scale_bar(camera, units, &mut lines, &mut words);
    hang(camera, tags, *reach, &mut lines, &mut words);
    Ok(format!(
        "<figure class=\"view\"><div class=\"shot\" style=\"aspect-ratio:{w}/{h}\">\
         <img width=\"{w}\" height=\"{h}\" alt=\"{}\" src=\"data:image/png;base64,{data}\">\
         <svg viewBox=\"0 0 {w} {h}\" aria-hidden=\"true\">{lines}</svg>\
         <div aria-hidden=\"true\">{words}</div></div>\n<figcaption>{caption}</figcaption></figure>\n",
        text::html(alt)
    ))
}

/// Tags of the findings that did not pass, of other parts and of the features, in the order of their importance.
pub(super) fn tags(outcome: &Outcome) -> Vec<Tag> {
    let first = view::first_at_place(outcome);
    let open = |i: &usize| outcome.findings[*i].verdict != Verdict::Pass;
    let findings = outcome.findings.iter().enumerate().filter_map(|(i, f)| {
        if f.verdict == Verdict::Pass || first[i] != i {
            return None;
        }
        let at = f.at.or(f.to)?;
        let here = (i..first.len()).filter(|k| first[*k] == i).filter(open).map(letter);
        let code = here.collect::<Vec<_>>().join(" ");
        Some(Tag { at, code, name: f.name.clone(), class: f.verdict.name() })
    });
    let features = outcome.features.iter().enumerate().map(|(i, f)| {
        let at = anchor(&f.feature.pieces).unwrap_or_else(|| f.feature.shape.point());
        let (_, class) = compose::feature_colour(f.feature.kind);
        Tag { at, code: (i + 1).to_string(), name: f.feature.name.clone(), class }
    });
    let others = outcome.other_parts.iter().enumerate().filter_map(|(i, o)| {
        let (low, high) = o.part.bounding_box()?;
        let at = nalgebra::center(&low, &high);
        Some(Tag { at, code: format!("P{}", i + 1), name: o.name.clone(), class: "other" })
    });
    findings.chain(others).chain(features).collect()
}

/// Letter of a finding by its rank: A to Z, then A2, B2, ….
pub(super) fn letter(rank: usize) -> String {
    let letter = char::from(b'A' + (rank % 26) as u8);
    if rank < 26 { letter.into() } else { format!("{letter}{}", rank / 26 + 1) }
}

/// Places tags in order, each beside its point where no earlier one lies, with a leader to it.
fn hang(camera: &Camera, tags: &[Tag], reach: f64, lines: &mut String, words: &mut String) {
    let (w, h) = (camera.width as f64, camera.height as f64);
    let mut taken: Vec<[f64; 4]> = vec![[0.0, h - 130.0, 130.0, h], [w - 280.0, h - 60.0, w, h]];
    for tag in tags.iter().take(MOST_TAGS) {
        let [x, y, _] = camera.project(&tag.at);
        if !(x > 4.0 && y > 4.0 && x < w - 4.0 && y < h - 4.0) {
            continue;
        }
        let shown = text::cut(&tag.name, LONGEST_NAME);
        let wide = (text::columns(&tag.code) + text::columns(&shown)) as f64 * 12.0 + 46.0;
        let mut free = None;
        for (dx, dy) in OFFSETS {
            let (tx, ty) = (x + reach * dx, y + reach * dy);
            let left = if dx < 0.0 { tx - wide } else { tx };
            let b = [left, ty - 19.0, left + wide, ty + 19.0];
            let inside = b[0] > 2.0 && b[1] > 2.0 && b[2] < w - 2.0 && b[3] < h - 2.0;
            let clear = |t: &[f64; 4]| b[2] < t[0] || t[2] < b[0] || b[3] < t[1] || t[3] < b[1];
            if inside && taken.iter().all(clear) {
                free = Some((tx, ty, b, dx < 0.0));
                break;
            }
        }
        let Some((tx, ty, taken_box, left)) = free else { continue };
        taken.push(taken_box);
        taken.push([x - 9.0, y - 9.0, x + 9.0, y + 9.0]);
        *lines += &seamed("leader", &format!("M{x:.1} {y:.1}L{tx:.1} {ty:.1}"));
        *words += &format!(
            "<span class=\"tag {}{}\" style=\"left:{:.2}%;top:{:.2}%\"><b>{}</b><i>{}</i></span>",
            tag.class,
            if left { " left" } else { "" },
            100.0 * tx / w,
            100.0 * ty / h,
            tag.code,
            table::name(&shown)
        );
    }
}

/// The machine's axes in the lower left corner.
fn axes(camera: &Camera, lines: &mut String, words: &mut String) {
    let (w, h) = (camera.width as f64, camera.height as f64);
    let (x0, y0) = (66.0, h - 62.0);
    for (name, axis) in [("x", Vec3::x()), ("y", Vec3::y()), ("z", Vec3::z())] {
        let (dx, dy) = (camera.right.dot(&axis), -camera.up.dot(&axis));
        let length = dx.hypot(dy);
        if length < 0.15 {
            continue;
        }
        let (x, y) = (x0 + 40.0 * dx, y0 + 40.0 * dy);
        let (lx, ly) = (x0 + dx * 40.0 + dx / length * 14.0, y0 + dy * 40.0 + dy / length * 14.0);
        *lines += &seamed("axis", &format!("M{x0:.1} {y0:.1}L{x:.1} {y:.1}"));
        *words += &format!(
            "<span class=\"axis\" style=\"left:{:.2}%;top:{:.2}%\">{name}</span>",
            100.0 * lx / w,
            100.0 * ly / h
        );
    }
}

/// A round length in the lower right corner, at most a fifth of the width.
fn scale_bar(camera: &Camera, units: &Units, lines: &mut String, words: &mut String) {
    let (w, h) = (camera.width as f64, camera.height as f64);
    let unit = units.length.to_mm();
    let most = 0.2 * w / camera.scale / unit;
    if !(most.is_finite() && most > 0.0) {
        return;
    }
    let power = 10f64.powf(most.log10().floor());
    let round = [5.0, 2.0, 1.0].into_iter().find(|s| s * power <= most).unwrap_or(1.0) * power;
    let pixels = round * unit * camera.scale;
    let decimals = (-round.log10().floor()).max(0.0) as usize;
    let (right, y) = (w - 28.0, h - 24.0);
    let left = right - pixels;
    *lines += &seamed("bar", &format!("M{left:.1} {:.1}v10H{right:.1}v-10", y - 10.0));
    *words += &format!(
        "<span class=\"bar\" style=\"left:{:.2}%;top:{:.2}%\">{round:.decimals$} {}</span>",
        100.0 * (left + right) / 2.0 / w,
        100.0 * (y - 12.0) / h,
        units.length.symbol()
    );
}

/// A line over a wider one in the colour of the paper: it shows on light and on dark.
fn seamed(class: &str, path: &str) -> String {
    format!("<path class=\"halo\" d=\"{path}\"/><path class=\"{class}\" d=\"{path}\"/>")
}

/// Where a tag may hang from its point, pixels, in order of preference.
const OFFSETS: [(f64, f64); 20] = [
    (34.0, -34.0),
    (-34.0, -34.0),
    (34.0, 34.0),
    (-34.0, 34.0),
    (44.0, 0.0),
    (-44.0, 0.0),
    (60.0, -76.0),
    (-60.0, -76.0),
    (60.0, 76.0),
    (-60.0, 76.0),
    (90.0, -38.0),
    (-90.0, -38.0),
    (90.0, 38.0),
    (-90.0, 38.0),
    (80.0, -125.0),
    (-80.0, -125.0),
    (80.0, 125.0),
    (-80.0, 125.0),
    (150.0, -80.0),
    (-150.0, -80.0),
];
/// Tags in one picture at most: the tables hold the rest.
const MOST_TAGS: usize = 60;
/// Columns of a name in a picture; tables hold it whole.
const LONGEST_NAME: usize = 22;
