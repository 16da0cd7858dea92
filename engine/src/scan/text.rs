//! Points as plain text: x y z, or x y z nx ny nz, one point a line.
//!
//! One separator a file (comma, semicolon, or blanks and tabs), one column count, one optional header
//! line or point count, comments after `#` or `//`. A decimal comma is an error, never a wrong point.

use super::lines::{Lines, number, shown, words};
use super::read::Draft;
use super::source::Source;
use crate::error::Result;
use crate::primitive::{Point3, Vec3};

/// Reads bare points.
pub(super) fn read(source: &Source) -> Result<Draft> {
    let mut table = Table::default();
    let mut lines = Lines::new(source, source.stream(0)?, 0);
    while lines.advance()? {
        let line = without_comment(lines.line()).trim_ascii();
        if !line.is_empty() {
            table.line(source, line, lines.number())?;
        }
    }
    table.draft(source)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Separator {
    Comma,
    Semicolon,
    Blank,
}

#[derive(Default)]
struct Table {
    separator: Option<Separator>,
    columns: usize,
    header: Option<Vec<String>>,
    promised: Option<u64>,
    layout: Layout,
    points: Vec<Point3>,
    normals: Vec<Vec3>,
    row: Vec<f64>,
}

/// Columns of the position and of the normal.
#[derive(Clone, Copy)]
struct Layout {
    position: [usize; 3],
    normal: Option<[usize; 3]>,
    /// A header says so; else the numbers must look like unit normals.
    named: bool,
}

impl Default for Layout {
    fn default() -> Self {
        Layout { position: [0, 1, 2], normal: None, named: false }
    }
}

impl Table {
    fn line(&mut self, source: &Source, line: &[u8], at: u64) -> Result<()> {
        let separator = *self.separator.get_or_insert_with(|| separator(line));
        let begun = self.columns > 0;
        if !begun && self.header.is_none() && self.promised.is_none() && self.heading(line) {
            // The heading may use other separators than the numbers below it.
            self.separator = None;
            return Ok(());
        }
        self.row.clear();
        for word in split(line, separator) {
            let Some(value) = number(word) else {
                return Err(source.bad(format!("line {at}"), shown(word), separator.allowed()));
            };
            self.row.push(value);
        }
        if !begun {
            self.begin(source, at)?;
        }
        if self.row.len() != self.columns {
            let found = format!("{} columns", self.row.len());
            let allowed = format!("{} as in the lines before", self.columns);
            return Err(source.bad(format!("line {at}"), found, allowed));
        }
        self.point(source, at)
    }

    /// Takes a header line or a lone point count; false if the line holds a point.
    fn heading(&mut self, line: &[u8]) -> bool {
        let names: Vec<&[u8]> = line
            .split(|b| matches!(b, b',' | b';') || super::lines::is_blank(*b))
            .filter(|w| !w.is_empty())
            .collect();
        if let [count] = names[..] {
            self.promised = std::str::from_utf8(count).ok().and_then(|w| w.parse().ok());
            if self.promised.is_some() {
                return true;
            }
        }
        if names.first().is_none_or(|w| number(w).is_some()) {
            return false;
        }
        let clean = |w: &[u8]| String::from_utf8_lossy(w).trim_matches('"').to_ascii_lowercase();
        self.header = Some(names.into_iter().map(clean).collect());
        true
    }

    /// Settles the columns by the header and the first row.
    fn begin(&mut self, source: &Source, at: u64) -> Result<()> {
        self.columns = self.row.len();
        if self.columns < 3 {
            let found = format!("{} columns", self.columns);
            return Err(source.bad(format!("line {at}"), found, "at least 3: x y z"));
        }
        let header = self.header.clone().unwrap_or_default();
        let find = |names: [&str; 3]| -> Option<[usize; 3]> {
            let at = names.map(|n| header.iter().position(|h| h == n));
            Some([at[0]?, at[1]?, at[2]?])
        };
        let fits = header.len() == self.columns;
        match find(["x", "y", "z"]).filter(|_| fits) {
            Some(position) => {
                self.layout = Layout { position, normal: find(["nx", "ny", "nz"]), named: true };
            }
            None if self.columns == 6 => self.layout.normal = Some([3, 4, 5]),
            None => {}
        }
        Ok(())
    }

    fn point(&mut self, source: &Source, at: u64) -> Result<()> {
        let xyz = self.layout.position.map(|c| self.row[c]);
        self.points.push(source.point(xyz, || format!("line {at}"))?);
        if let Some(normal) = self.layout.normal {
            self.normals.push(Vec3::from(normal.map(|c| self.row[c])));
        }
        source.allow_points(self.points.len() as u64)
    }

    fn draft(self, source: &Source) -> Result<Draft> {
        let count = self.points.len() as u64;
        if let Some(promised) = self.promised.filter(|p| *p != count) {
            let found = format!("{count} points");
            return Err(source.bad(
                "the whole file",
                found,
                format!("{promised} as its head says"),
            ));
        }
        let mut draft = Draft::mesh("text", self.points, Vec::new());
        draft.is_mesh = false;
        let used = if self.layout.normal.is_none() {
            3
        } else if self.layout.named || self.normals.iter().all(is_unit) {
            draft.normals = Some(self.normals);
            6
        } else {
            3
        };
        if self.columns > used {
            draft.notes.push(format!("{} further columns ignored", self.columns - used));
        }
        Ok(draft)
    }
}

impl Separator {
    fn allowed(self) -> &'static str {
        match self {
            Separator::Comma => "numbers separated by commas (a decimal comma is not allowed)",
            Separator::Semicolon => "numbers separated by semicolons, with a decimal point",
            Separator::Blank => "numbers separated by blanks or tabs, with a decimal point",
        }
    }
}

fn separator(line: &[u8]) -> Separator {
    if line.contains(&b';') {
        Separator::Semicolon
    } else if line.contains(&b',') {
        Separator::Comma
    } else {
        Separator::Blank
    }
}

fn split(line: &[u8], separator: Separator) -> Box<dyn Iterator<Item = &[u8]> + '_> {
    match separator {
        Separator::Comma => Box::new(line.split(|b| *b == b',').map(|w| w.trim_ascii())),
        Separator::Semicolon => Box::new(line.split(|b| *b == b';').map(|w| w.trim_ascii())),
        Separator::Blank => Box::new(words(line)),
    }
}

fn without_comment(line: &[u8]) -> &[u8] {
    let hash = line.iter().position(|b| *b == b'#');
    let slashes = line.windows(2).position(|w| w == b"//");
    let end = hash.into_iter().chain(slashes).min();
    &line[..end.unwrap_or(line.len())]
}

/// Unit length as far as the digits that such files are written with carry.
fn is_unit(n: &Vec3) -> bool {
    (n.norm() - 1.0).abs() < 0.01
}
