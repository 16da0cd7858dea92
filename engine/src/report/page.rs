//! The self-contained page: head, verdict, pictures, findings, tables, how to read it.

use crate::error::Result;
use crate::job::Outcome;

use super::number::Units;
use super::picture::{BAND_COLOURS, Bands};
use super::scene::{self, Packed};
use super::table::name;
use super::{
    ReportOptions, budgets, compose, drawing, facts, features, figure, findings, made, residuals,
    text, view, viewer, way,
};

/// The whole page.
pub(super) fn page(outcome: &Outcome, options: &ReportOptions) -> Result<String> {
    let units = Units::of(outcome);
    let Pictures { stage, looks, drawings, way, made, scene } = pictures(outcome, options, &units)?;
    let residuals =
        if options.pictures { residuals::section(outcome, &units)? } else { String::new() };
    let parts = [
        ("findings", "Failed and undecided", looks),
        ("drawings", "Drawings", drawings),
        ("way-in", "Way in", way),
        ("made", "Made part", made),
        ("all-checks", "All checks", findings::all(outcome, &units)),
        ("uncertain", "Where the uncertainty comes from", budgets::table(outcome, &units)),
        ("datum", "Datum system", facts::datum(outcome, &units)),
        ("measured", "Features", features::table(outcome, &units)),
        ("residuals", "How points lie about the fits", residuals),
        ("between", "Distances and angles", features::relations(outcome, &units)),
        ("scanned", "Scans", facts::scans(outcome, &units)),
        ("designed", "Part", facts::part(outcome, &units)),
        ("others", "Other parts", facts::other_parts(outcome, &units)),
        ("reading", "How to read this", READING.to_owned()),
    ];
    let there = || parts.iter().filter(|(_, _, content)| !content.is_empty());
    let links: String =
        there().map(|(id, title, _)| format!("<a href=\"#{id}\">{title}</a> ")).collect();
    let sections: String =
        there().map(|(id, title, content)| section(id, title, content)).collect();
    let body =
        format!("{}<main>\n{stage}{sections}</main>\n", header(outcome, options, &units, &links));
    Ok(whole(&outcome.job, "fit report", &body, &viewer::data(scene.as_ref())))
}

/// The file round a body that is safe HTML and data that runs nothing; of it our own script alone may run, nothing may
/// be fetched.
pub(super) fn whole(title: &str, kind: &str, body: &str, data: &str) -> String {
    let (script, hash) = viewer::script();
    let style = viewer::style(STYLE);
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; \
         style-src 'unsafe-inline'; script-src '{hash}'; base-uri 'none'; form-action 'none'\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <title>{} – {kind}</title>\n<style>\n{style}</style>\n</head>\n<body>\n{body}{data}{script}</body>\n</html>\n",
        text::html(title)
    )
}

/// What has pictures in it.
struct Pictures {
    stage: String,
    looks: String,
    drawings: String,
    way: String,
    made: String,
    scene: Option<Packed>,
}

/// The overview, the close looks, the way in and the made part, with pictures if they are asked for and there is what
/// to show.
fn pictures(outcome: &Outcome, options: &ReportOptions, units: &Units) -> Result<Pictures> {
    let size = options.picture_size();
    let close = [size[0] * 2 / 3, size[1] * 2 / 3];
    let nothing = outcome.scans.is_empty() && outcome.features.is_empty() && outcome.part.is_none();
    if nothing || !options.pictures {
        let looks = findings::close_looks(outcome, units, None, 0, close)?;
        return Ok(Pictures {
            stage: stage("", outcome, units),
            scene: None,
            looks,
            drawings: String::new(),
            way: way::section(outcome, None, units, close)?,
            made: made::section(outcome, None, units, close)?,
        });
    }
    let looks = compose::Looks::of(outcome);
    let scene = compose::scene(outcome, &looks);
    let from = view::general_direction(&scene);
    let cards =
        findings::close_looks(outcome, units, Some((&scene, &from)), options.close_views, close)?;
    let marked = compose::with_witnesses(&scene, outcome);
    let tags = figure::tags(outcome);
    let camera = view::general(&scene, &from, size);
    let seen = view::direction_name(&camera.back);
    let caption = format!("Seen from {seen}, in machine axes. {}", key(outcome));
    let alt = format!("Scan, features and part, seen from {seen}");
    let mut shots = figure::figure(&marked, &camera, units, &tags, &words(&alt, &caption))?;
    if let Some(camera) = view::part_view(&scene, outcome, &from, size) {
        let alt = format!("The part and what is round it, seen from {seen}");
        let caption = format!("{alt}.");
        shots += &figure::figure(&marked, &camera, units, &tags, &words(&alt, &caption))?;
    }
    shots += &legend(outcome, &looks.bands, units);
    let shots = viewer::VIEW.to_owned() + &shots;
    Ok(Pictures {
        stage: stage(&shots, outcome, units),
        scene: Some(scene::of_outcome(outcome, &looks, &scene, &from)?),
        looks: cards,
        drawings: drawing::drawings(outcome, &scene, &from, options.close_views, units),
        way: way::section(outcome, Some(&looks), units, close)?,
        made: made::section(outcome, Some(&from), units, close)?,
    })
}

/// A number of things with their name.
pub(super) fn count(n: usize, one: &str) -> String {
    format!("{n} {one}{}", if n == 1 { "" } else { "s" })
}

fn header(outcome: &Outcome, options: &ReportOptions, units: &Units, links: &str) -> String {
    let mut about = vec![
        count(outcome.scans.len(), "scan"),
        count(outcome.features.len(), "feature"),
        count(outcome.findings.len(), "check"),
        format!("lengths in {}, angles in {}", units.length.symbol(), units.angle.symbol()),
    ];
    if let Some(limit) = outcome.required_clearance {
        about.push(format!("required clearance {} {}", units.plain(limit), units.length.symbol()));
    }
    about.push(format!("Fitwright {}", env!("CARGO_PKG_VERSION")));
    let mut about = about.join(" · ");
    if let Some(line) = &options.prepared {
        about += &format!(" · {}", text::html(line));
    }
    format!(
        "<header>\n<p class=\"kind\">Fit report</p>\n<h1>{}</h1>\n{}<p class=\"about\">{about}</p>\n\
         <p class=\"caution\"><b>Geometry only.</b> Strength, heat, moving parts, guards and lock-out \
         are for qualified people and local codes.</p>\n\
         <nav aria-label=\"Sections\">{links}</nav></header>\n",
        name(&outcome.job),
        findings::headline(outcome)
    )
}

fn words<'a>(alt: &'a str, caption: &'a str) -> figure::Words<'a> {
    figure::Words { alt, caption, reach: 1.0 }
}

/// The pictures, and beside them the findings.
fn stage(shots: &str, outcome: &Outcome, units: &Units) -> String {
    let list = findings::short_list(outcome, units);
    if shots.is_empty() && list.is_empty() {
        return String::new();
    }
    let things = if shots.is_empty() { "" } else { viewer::THINGS };
    let beside = if list.is_empty() {
        things.to_owned()
    } else {
        format!("<div class=\"beside\"><h2>Findings, worst first</h2>\n{list}{things}</div>\n")
    };
    format!(
        "<section class=\"stage\" id=\"view\" aria-label=\"Overview\">\n<div class=\"shots\">{shots}</div>\n{beside}</section>\n"
    )
}

pub(super) fn section(id: &str, title: &str, content: &str) -> String {
    format!(
        "<section id=\"{id}\" aria-labelledby=\"{id}-title\">\n<h2 id=\"{id}-title\">{title}</h2>\n{content}</section>\n"
    )
}

/// What the colours of the general picture stand for.
fn key(outcome: &Outcome) -> String {
    let mut key = vec!["Grey: scan (brown: its back)"];
    if !outcome.features.is_empty() {
        key.push("green: faces; violet: holes, axes and other round features; numbers as in the table of features");
    }
    if !outcome.other_parts.is_empty() {
        key.push("pale yellow, P: other parts");
    }
    if outcome.findings.iter().any(|f| f.verdict != crate::fitcheck::Verdict::Pass) {
        key.push("letters: findings that did not pass");
    }
    key.join("; ") + "."
}

/// The scale of the part's colours, with the limit marked in words and by a line.
fn legend(outcome: &Outcome, bands: &Bands, units: &Units) -> String {
    let coloured =
        outcome.part.as_ref().is_some_and(|p| p.points.len() == outcome.part_clearance.len());
    if !coloured {
        return String::new();
    }
    let at = bands.limits.map(|l| units.plain(l.abs()));
    let words = [
        format!("overlap, deeper than {}", at[0]),
        format!("overlap, up to {}", at[0]),
        format!("gap 0 to {}", at[2]),
        format!("gap {} to {}", at[2], at[3]),
        format!("gap {} to {}", at[3], at[4]),
        format!("gap {} to {}", at[4], at[5]),
        format!("gap over {}", at[5]),
    ];
    let mut items = String::new();
    for (i, (word, [r, g, b])) in words.iter().zip(BAND_COLOURS).enumerate() {
        let hatch = if i < 2 { " class=\"hatch\"" } else { "" };
        if i == 4 && bands.required {
            items += &format!("<li class=\"limit\">limit {}</li>", at[3]);
        }
        items += &format!(
            "<li><span{hatch} style=\"background-color:rgb({r},{g},{b})\"></span>{word}</li>"
        );
    }
    format!(
        "<div class=\"legend\"><h3>Colour of the part: distance to the nearest scanned surface that \
         is not its seat{}, {}</h3>\n<ol>{items}</ol>\n<p>Dark lines: contact{}. Colours run evenly \
         between the corners of the part's mesh; what counts are the measured values in the \
         table.</p></div>\n",
        if outcome.other_parts.iter().any(|o| !o.touches) { ", or other part" } else { "" },
        units.length.symbol(),
        if bands.required { " and the limit" } else { "" }
    )
}

const STYLE: &str = include_str!("style.css");

/// Decision rule and cautions; in every report.
const READING: &str = "<h3>When a limit counts as met</h3>\n\
    <p>By ISO 14253-1 with coverage factor k = 2: a limit is <b>met</b> only when the value is beyond \
    it by the expanded uncertainty U, <b>broken</b> only when the value is short of it by U. In \
    between the answer is <b>undecided</b>.</p>\n\
    <p><b>What the scanner did not see is undecided</b>, never free: no surface there does not mean \
    no metal there.</p>\n\
    <p>± and U are expanded uncertainties (k = 2, about 95 %) from noise, number and spread of the \
    points, joins and datum system. They do not hold what a scan cannot know: paint, spray, dirt, \
    a scanner out of calibration, another temperature, another machine of the same type.</p>\n\
    <h3>Cautions</h3>\n<ul class=\"cautions\">\n\
    <li>This report judges <b>geometry only</b>: where things are, how far apart, what overlaps.</li>\n\
    <li>It says nothing about <b>strength</b>, vibration, pressure or <b>heat</b>. Those are for a \
    qualified engineer.</li>\n\
    <li><b>Moving parts</b>, hoses, belts and cables stand as they stood while being scanned; \
    everything they sweep must be judged besides.</li>\n\
    <li><b>Guards</b>, safety distances and <b>lock-out</b> follow local codes and the machine's own \
    instructions, by people qualified for it. Lock out before measuring and before fitting.</li>\n\
    <li>Start every bolt by hand before tightening any, and check the tight places on the machine.</li>\n\
    </ul>\n";
