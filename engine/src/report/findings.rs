//! The verdict, the findings worst first, and the close look at each that did not pass.

use crate::error::Result;
use crate::fitcheck::{Finding, Measure, Verdict};
use crate::job::Outcome;
use crate::primitive::{Direction, Point3};

use super::figure::{self, letter};
use super::number::{Stated, Units};
use super::picture::Scene;
use super::table::{Table, name, plus_minus};
use super::{budgets, compose, text, view};

/// How many findings have each verdict.
pub(super) struct Counts {
    pub fail: usize,
    pub undecided: usize,
    pub pass: usize,
}

impl Counts {
    pub(super) fn of(outcome: &Outcome) -> Self {
        let count = |v| outcome.findings.iter().filter(|f| f.verdict == v).count();
        Counts {
            fail: count(Verdict::Fail),
            undecided: count(Verdict::Undecided),
            pass: count(Verdict::Pass),
        }
    }

    /// The counts as a sentence.
    pub(super) fn sentence(&self) -> String {
        let Counts { fail, undecided, pass } = self;
        match fail + undecided + pass {
            0 => "No check was made: a fit check needs a part and something to hold it against."
                .into(),
            1 => "1 check was made.".into(),
            all if *pass == all => format!("All {all} checks passed."),
            all => {
                format!("Of {all} checks {fail} failed, {undecided} are undecided, {pass} passed.")
            }
        }
    }
}

/// Verdict of the whole job as a heading; without findings nothing is claimed.
pub(super) fn headline(outcome: &Outcome) -> String {
    let (class, symbol, word) = if outcome.findings.is_empty() {
        ("none", "–", "Nothing checked")
    } else {
        match outcome.verdict {
            Verdict::Pass => ("pass", symbol(Verdict::Pass), "The part fits"),
            Verdict::Fail => ("fail", symbol(Verdict::Fail), "The part does not fit"),
            Verdict::Undecided => ("undecided", symbol(Verdict::Undecided), "Not decided"),
        }
    };
    let moved = outcome.checked_from_designed.as_ref().zip(outcome.part.as_ref());
    let moved = moved.map_or_else(String::new, |(pose, part)| {
        let (low, high) = part.bounding_box().unwrap_or((Point3::origin(), Point3::origin()));
        budgets::moved(pose, &nalgebra::center(&low, &high), &Units::of(outcome))
    });
    format!(
        "<p class=\"verdict {class}\"><span class=\"mark\" aria-hidden=\"true\">{symbol}</span>\
         <strong>{word}</strong> <span>{}</span></p>\n{moved}",
        Counts::of(outcome).sentence()
    )
}

/// The short list beside the picture: worst first, each leading to its place below.
pub(super) fn short_list(outcome: &Outcome, units: &Units) -> String {
    if outcome.findings.is_empty() {
        return String::new();
    }
    let item = |(i, f): (usize, &Finding)| {
        let value = f.value.map_or_else(|| "not seen".into(), |_| value(f, units));
        let unit = if f.measure == Measure::Length { String::new() } else { unit(f, units) };
        let limit = limit(f, units).map_or(String::new(), |l| format!(", limit {l}")) + &unit;
        format!(
            "<li><a href=\"#finding-{}\"><span class=\"code\">{}</span>{}<span class=\"what\">{}: \
             {}</span><span class=\"number\">{value}{limit}</span></a></li>\n",
            letter(i),
            letter(i),
            badge(f.verdict),
            text::html(f.kind),
            name(&f.name),
        )
    };
    let open = outcome.findings.iter().enumerate().filter(|(_, f)| f.verdict != Verdict::Pass);
    let items: String = open.map(item).collect();
    let list = match items.as_str() {
        "" => String::new(),
        items => format!("<ol class=\"short\">\n{items}</ol>\n"),
    };
    match Counts::of(outcome).pass {
        0 => list,
        n => format!("{list}<p class=\"passed\">{n} <a href=\"#all-checks\">passed</a>.</p>\n"),
    }
}

/// All findings as a table.
pub(super) fn all(outcome: &Outcome, units: &Units) -> String {
    let unit = units.length.symbol();
    let caption = format!(
        "Checks, worst first; lengths in {unit}, places in machine coordinates, U expanded (k = 2)"
    );
    let heads =
        ["", "Verdict", "Check", "Of", "#Value", "#U", "#Limit", "Place x, y, z", "What it is"];
    let mut table = Table::new("checks", &caption, &heads);
    for (i, f) in outcome.findings.iter().enumerate() {
        let stated = stated(f, units);
        let of = |s: Option<String>| s.unwrap_or_else(|| "–".into());
        let id = format!(" id=\"finding-{}\"", letter(i));
        // The close look carries the id where there is one.
        let id = if f.verdict == Verdict::Pass { id.as_str() } else { "" };
        table.row_with(
            id,
            &[
                letter(i),
                badge(f.verdict),
                text::html(f.kind),
                name(&f.name),
                of(stated.as_ref().map(|s| with_unit(&s.value, f, units))),
                of(stated.and_then(|s| s.uncertainty).map(|u| text::html(&u))),
                of(limit(f, units)),
                of(f.at
                    .or(f.to)
                    .map(|p| format!("<span class=\"place\">{}</span>", units.point(&p)))),
                text::html(&f.detail),
            ],
        );
    }
    table.html()
}

/// A close look at each finding that did not pass; the first few with a picture.
pub(super) fn close_looks(
    outcome: &Outcome,
    units: &Units,
    pictures: Option<(&Scene<'_>, &Direction)>,
    most: usize,
    size: [usize; 2],
) -> Result<String> {
    let mut out = String::new();
    let mut drawn = vec![false; outcome.findings.len()];
    let first = view::first_at_place(outcome);
    for (i, f) in outcome.findings.iter().enumerate().filter(|(_, f)| f.verdict != Verdict::Pass) {
        if drawn[first[i]] {
            let at = letter(first[i]);
            let link =
                format!("<p class=\"same\">Same place as <a href=\"#finding-{at}\">{at}</a>.</p>");
            out += &card(f, (i, outcome), units, &link);
            continue;
        }
        let more = drawn.iter().filter(|d| **d).count() < most;
        let figure = match pictures.filter(|_| more) {
            Some((scene, general)) => close_figure(outcome, units, scene, general, i, size)?,
            None => None,
        };
        drawn[i] = figure.is_some();
        out += &card(f, (i, outcome), units, figure.as_deref().unwrap_or_default());
    }
    Ok(out)
}

/// Verdict by symbol, word and colour.
pub(super) fn badge(verdict: Verdict) -> String {
    format!(
        "<span class=\"badge {0}\"><span aria-hidden=\"true\">{1}</span> {0}</span>",
        verdict.name(),
        symbol(verdict)
    )
}

/// Value and uncertainty of a finding; `None` if nothing was measured.
pub(super) fn stated(finding: &Finding, units: &Units) -> Option<Stated> {
    finding.value.map(|v| units.measured(v, finding.uncertainty, finding.measure))
}

fn close_figure(
    outcome: &Outcome,
    units: &Units,
    scene: &Scene<'_>,
    general: &Direction,
    index: usize,
    size: [usize; 2],
) -> Result<Option<String>> {
    let finding = &outcome.findings[index];
    let Some(camera) = view::close(outcome, &scene.meshes, finding, general, size) else {
        return Ok(None);
    };
    let near = |t: &figure::Tag| {
        let half = camera.height as f64 / 2.0 / camera.scale;
        camera.project(&t.at)[2].abs() < half && camera.before_cut(&t.at) <= 0.0
    };
    let mut tags = figure::tags(outcome);
    tags.retain(|t| t.code.split(' ').any(|c| c == letter(index)) || (t.is_thing() && near(t)));
    let from = view::direction_name(&camera.back);
    let mut caption = format!("Seen from {from}.");
    if camera.cut.is_some() {
        caption += " What lies before the witness line is cut away: hatched, the cut through the \
                    part; dark line, the cut through the scan.";
        if !outcome.other_parts.is_empty() {
            caption += " Hatched the other way: the cut through another part.";
        }
    }
    let alt = format!("Close view of finding {}, {}, from {from}", letter(index), finding.name);
    if finding.kind == "hole" {
        caption += " Blue: the part's hole; violet: the scanned one; both shown through what hides \
                    them.";
    }
    let shown = compose::close_up(scene, &camera, finding);
    // Far tags keep the middle of a close look free.
    let words = figure::Words { alt: &alt, caption: &caption, reach: 2.2 };
    figure::figure(&shown, &camera, units, &tags, &words).map(Some)
}

fn card(f: &Finding, (index, outcome): (usize, &Outcome), units: &Units, figure: &str) -> String {
    let code = letter(index);
    let unit = units.length.symbol();
    let mut facts = String::new();
    let mut fact = |what: &str, value: String| {
        facts += &format!("<div><dt>{what}</dt><dd>{value}</dd></div>");
    };
    fact(
        "Value",
        f.value.map_or_else(|| "not seen".into(), |_| value(f, units) + &self::unit(f, units)),
    );
    if let Some(limit) = limit(f, units) {
        fact("Limit", limit + &self::unit(f, units));
    }
    if let Some(p) = f.at {
        fact("On the part", format!("<span class=\"place\">{}</span>", units.point(&p)));
    }
    if let Some(p) = f.to {
        let what = if is_of_other(f, outcome) { "On the other part" } else { "On the scan" };
        fact(what, format!("<span class=\"place\">{}</span>", units.point(&p)));
    }
    if let Some(extent) = f.extent {
        fact("Extent", format!("{} {unit}", units.plain(extent)));
    }
    if let Some(points) = f.points {
        fact("Scan points", points.to_string());
    }
    for n in &f.numbers {
        let symbol = units.symbol(n.measure);
        let gap = if symbol.is_empty() { "" } else { " " };
        let value = units.measured(n.value, None, n.measure).value;
        fact(&text::html(&capital(n.name)), format!("{value}{gap}{symbol}"));
    }
    if !f.budget.is_empty() {
        fact("Uncertainty from", budgets::shares(f, units).join("; "));
    }
    let line = |class: &str, head: &str, words: &str| match words.trim() {
        "" => String::new(),
        words => format!("<p class=\"{class}\">{head}{}</p>\n", text::html(words)),
    };
    format!(
        "<article class=\"finding {}\" id=\"finding-{code}\"><div class=\"words\">\n\
         <h3><span class=\"code\">{code}</span>{} {}: {}</h3>\n{}<dl>{facts}</dl>\n{}</div>{figure}</article>\n",
        f.verdict.name(),
        badge(f.verdict),
        text::html(f.kind),
        name(&f.name),
        line("detail", "", &f.detail),
        line("remedy", "<b>To do:</b> ", &f.remedy),
    )
}

/// Whether a finding is about air to another part.
fn is_of_other(f: &Finding, outcome: &Outcome) -> bool {
    f.kind == "clearance"
        && outcome.other_parts.iter().any(|o| {
            let rest = f.name.strip_prefix(o.name.as_str());
            rest.is_some_and(|r| r.is_empty() || r.starts_with(", "))
        })
}

fn value(f: &Finding, units: &Units) -> String {
    stated(f, units).as_ref().map(plus_minus).unwrap_or_default()
}

/// Limit with the sense in which it binds, where the kind of check says which.
pub(super) fn limit(f: &Finding, units: &Units) -> Option<String> {
    let sense = match f.kind {
        _ if f.at_most => "≤ ",
        "clearance" | "hole" | "tool access" | "insertion" | "motion" | "thermal" => "≥ ",
        _ => "",
    };
    f.limit.map(|l| format!("{sense}{}", units.measured(l, None, f.measure).value))
}

/// Unit of the value with a blank before it.
fn unit(f: &Finding, units: &Units) -> String {
    match units.symbol(f.measure) {
        none if none.is_empty() => none,
        symbol => format!(" {symbol}"),
    }
}

/// The value with its unit where that is not the table's.
fn with_unit(value: &str, f: &Finding, units: &Units) -> String {
    if f.measure == Measure::Length { value.to_owned() } else { value.to_owned() + &unit(f, units) }
}

/// A number's name for people.
pub(super) fn capital(name: &str) -> String {
    let words = name.replace('_', " ");
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}

fn symbol(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "✓",
        Verdict::Fail => "✗",
        Verdict::Undecided => "?",
    }
}
