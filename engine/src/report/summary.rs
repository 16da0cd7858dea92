//! The summary for a terminal: plain text of at most 100 columns.

use crate::fitcheck::{Finding, Measure, Verdict};
use crate::job::Outcome;
use crate::register::Moved;

use super::features::{Expanded, sizes};
use super::figure::letter;
use super::findings::{Counts, stated};
use super::number::{Stated, Units};
use super::text;

/// What a person wants to know first: verdict, findings worst first, features, datum system.
///
/// Lengths and angles in the job's units with the digits their uncertainty allows; no line is
/// longer than 100 columns, no character of a foreign name can steer the terminal.
#[must_use]
pub fn summary(outcome: &Outcome) -> String {
    let units = Units::of(outcome);
    let mut out = head(outcome, &units);
    for part in [
        findings(outcome, &units),
        features(outcome, &units),
        datum(outcome, &units),
        moved(outcome, &units),
        seams(outcome, &units),
    ] {
        if !part.is_empty() {
            out += "\n";
            out += &part;
        }
    }
    out += "\n";
    out += &wrapped("", RULE);
    out
}

fn head(outcome: &Outcome, units: &Units) -> String {
    let word = if outcome.findings.is_empty() { "nothing checked" } else { word(outcome.verdict) };
    let job = text::cut(&text::plain(&outcome.job), WIDTH - word.len() - 2);
    let gap = WIDTH - word.len() - text::columns(&job);
    let line = format!(
        "{} Lengths in {}, angles in {}.",
        Counts::of(outcome).sentence(),
        units.length.symbol(),
        units.angle.symbol()
    );
    format!("{job}{}{word}\n{}", " ".repeat(gap), wrapped("", &line))
}

fn findings(outcome: &Outcome, units: &Units) -> String {
    let mut grid = Grid::new(&[
        ("", 3, Side::Left),
        ("verdict", 9, Side::Left),
        ("check", 12, Side::Left),
        ("of", 24, Side::Left),
        ("value", 9, Side::Right),
        ("U", 8, Side::Right),
        ("limit", 8, Side::Right),
        ("at x, y, z", 20, Side::Left),
    ]);
    for (i, f) in outcome.findings.iter().enumerate() {
        let (mut value, u) = split(stated(f, units));
        if f.measure != Measure::Length {
            value += &format!(" {}", units.symbol(f.measure));
        }
        grid.row(&[
            letter(i),
            word(f.verdict).into(),
            f.kind.into(),
            f.name.clone(),
            value,
            u,
            f.limit.map_or_else(dash, |l| units.measured(l, None, f.measure).value),
            place(f, units),
        ]);
        if f.verdict != Verdict::Pass {
            grid.note(&f.detail);
            if !f.remedy.trim().is_empty() {
                grid.note(&format!("To do: {}", f.remedy));
            }
        }
    }
    grid.text()
}

fn features(outcome: &Outcome, units: &Units) -> String {
    let mut grid = Grid::new(&[
        ("feature", 24, Side::Left),
        ("kind", 9, Side::Left),
        ("size", 10, Side::Right),
        ("U size", 8, Side::Right),
        ("U place", 8, Side::Right),
        ("U turn", 8, Side::Right),
        ("points", 8, Side::Right),
        ("rms", 7, Side::Right),
        ("arc", 4, Side::Right),
    ]);
    for f in &outcome.features {
        let feature = &f.feature;
        let u = Expanded::of(feature);
        let size = sizes(feature, units).into_iter().next().map(|(_, s)| s);
        let (size, u_size) = split(size);
        let q = feature.quality.as_ref();
        let only = |s: Option<Stated>| s.and_then(|s| s.uncertainty).unwrap_or_else(dash);
        grid.row(&[
            feature.name.clone(),
            super::features::kind_name(feature).into(),
            size,
            u_size,
            only(u.position.map(|u| units.length(0.0, Some(u)))),
            only(u.direction.map(|u| units.angle(0.0, Some(u)))),
            q.map_or_else(dash, |q| q.points.to_string()),
            q.map_or_else(dash, |q| units.small(q.rms)),
            q.filter(|_| super::features::is_round(feature))
                .map_or_else(dash, |q| units.arc(q.arc)),
        ]);
        feature.notes.iter().for_each(|n| grid.note(n));
    }
    grid.text()
}

fn datum(outcome: &Outcome, units: &Units) -> String {
    let Some(datum) = &outcome.datum else { return String::new() };
    let mut out = String::from("datum system\n");
    for taken in &datum.taken {
        out += &wrapped("  ", &text::plain(taken));
    }
    for s in &datum.squareness {
        let (off, u) = split(Some(units.angle(s.deviation, Some(s.uncertainty))));
        let line = format!(
            "{} to {}: {off} {} off square or parallel, U {u}",
            text::cut(&text::plain(&s.a), 30),
            text::cut(&text::plain(&s.b), 30),
            units.angle.symbol()
        );
        out += &wrapped("  ", &line);
    }
    out
}

/// What moved since the day of the datum system that was found again.
fn moved(outcome: &Outcome, units: &Units) -> String {
    let Some(again) = &outcome.again else { return String::new() };
    let mut grid = Grid::new(&[
        ("since then", 24, Side::Left),
        ("", 9, Side::Left),
        ("moved by", 10, Side::Right),
        ("U", 8, Side::Right),
        ("turn", 9, Side::Right),
        ("U", 8, Side::Right),
        ("size by", 9, Side::Right),
        ("U", 8, Side::Right),
    ]);
    for c in &again.changes.features {
        let seen = c.moved != Moved::NotSeen;
        let of = |s: Stated| split(Some(s).filter(|_| seen));
        let (shift, u_shift) = of(units.length(c.shift.norm(), Some(c.shift_uncertainty)));
        let (turn, u_turn) = of(units.angle(c.turn, Some(c.turn_uncertainty)));
        let (size, u_size) = of(units.length(c.sizes[0], Some(c.size_uncertainties[0])));
        let verdict = c.moved.name().to_owned();
        grid.row(&[c.name.clone(), verdict, shift, u_shift, turn, u_turn, size, u_size]);
        grid.note(&c.note);
    }
    again.changes.notes.iter().for_each(|n| grid.note(n));
    grid.text()
}

/// Where the scans meet in the joined one.
fn seams(outcome: &Outcome, units: &Units) -> String {
    let Some(joined) = &outcome.joined else { return String::new() };
    let name = |k: usize| outcome.scans.get(k).map_or("", |s| s.name.as_str());
    let mut out = String::new();
    for s in &joined.seams {
        let (mean, u) = split(Some(units.length(s.mean, Some(s.uncertainty))));
        let (largest, _) = split(Some(units.length(s.largest, Some(s.largest_uncertainty))));
        let line = format!(
            "seam of {} and {}: step {mean}, U {u}, at most {largest}{}",
            text::cut(&text::plain(name(s.a)), 24),
            text::cut(&text::plain(name(s.b)), 24),
            if s.exceeds { ": more than the join explains" } else { "" }
        );
        out += &wrapped("", &line);
    }
    out
}

/// A table of fixed columns with notes between its rows.
struct Grid {
    columns: Vec<(&'static str, usize, Side)>,
    body: String,
}

#[derive(Clone, Copy)]
enum Side {
    Left,
    Right,
}

impl Grid {
    fn new(columns: &[(&'static str, usize, Side)]) -> Self {
        Grid { columns: columns.to_vec(), body: String::new() }
    }

    fn row(&mut self, cells: &[String]) {
        self.body += &self.line(cells);
    }

    fn note(&mut self, note: &str) {
        let note = text::plain(note);
        if !note.trim().is_empty() {
            self.body += &wrapped("      ", &note);
        }
    }

    /// The table with its heading; nothing without rows.
    fn text(&self) -> String {
        if self.body.is_empty() {
            return String::new();
        }
        let heads: Vec<String> = self.columns.iter().map(|c| c.0.to_owned()).collect();
        format!("{}{}\n{}", self.line(&heads), "-".repeat(WIDTH), self.body)
    }

    fn line(&self, cells: &[String]) -> String {
        let cell = |(text, (_, width, side)): (&String, &(&str, usize, Side))| {
            let text = text::cut(&text::plain(text), *width);
            let pad = " ".repeat(width - text::columns(&text));
            match side {
                Side::Left => text + &pad,
                Side::Right => pad + &text,
            }
        };
        let cells: Vec<String> = cells.iter().zip(&self.columns).map(cell).collect();
        format!("{}\n", cells.join(" ").trim_end())
    }
}

/// Words set in lines of at most the width; a word longer than a line is cut.
fn wrapped(indent: &str, words: &str) -> String {
    let room = WIDTH - indent.len();
    let mut out = String::new();
    let mut line = String::new();
    for word in words.split_whitespace() {
        let word = text::cut(word, room);
        if !line.is_empty() && text::columns(&line) + 1 + text::columns(&word) > room {
            out += &format!("{indent}{line}\n");
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line += &word;
    }
    if line.is_empty() { out } else { out + &format!("{indent}{line}\n") }
}

fn place(f: &Finding, units: &Units) -> String {
    let one = |mm: f64| super::number::fixed(mm / units.length.to_mm(), units.coarse_decimals());
    f.at.or(f.to).map_or_else(dash, |p| p.iter().map(|v| one(*v)).collect::<Vec<_>>().join(", "))
}

fn split(stated: Option<Stated>) -> (String, String) {
    stated.map_or_else(|| (dash(), dash()), |s| (s.value, s.uncertainty.unwrap_or_else(dash)))
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "FAIL",
        Verdict::Undecided => "undecided",
    }
}

fn dash() -> String {
    "-".into()
}

/// Columns of a line.
const WIDTH: usize = 100;

const RULE: &str = "U: expanded uncertainty, k = 2. A limit is met or broken only by more than U \
    (ISO 14253-1); between, and where the scanner saw nothing, the answer is undecided. Geometry \
    only: strength, heat, moving parts, guards and lock-out are for qualified people and local codes.";
