//! What the page's 3D view shows: names and numbers as JSON, arrays as one compressed block.
//!
//! Scans are thinned for show alone; every number that is written out comes from the full data. The page's own
//! measuring on what it shows is good to the grid (0.01 mm) and the thinning. Text may be hostile: it goes in as
//! strings of JSON in which nothing can end the element, and the page sets it as text.

mod bodies;
mod border;
mod made;
mod outcome;
mod pack;
mod surveyed;
mod thin;

use serde::Serialize;

use crate::primitive::{Direction, Point3, Pose};

use super::picture::Bands;
use super::text;
use pack::{Block, Grid};

pub(super) use outcome::of_outcome;
pub(super) use surveyed::of_survey;

/// A scene ready for the page.
#[derive(Debug)]
pub(super) struct Packed {
    /// Safe within a script element.
    pub json: String,
    /// base64.
    pub block: String,
}

/// The scene but for its arrays; lengths in mm.
#[derive(Serialize)]
struct Scene {
    /// Of lengths that are shown, and how many millimetres it has.
    unit: String,
    mm: f64,
    decimals: usize,
    /// Whose axes: `machine` or `scan`.
    frame: &'static str,
    /// Where places are counted from, and their step.
    middle: [f64; 3],
    step: f64,
    /// How far a feature may lie in the noise of its surface, mm.
    lift: f64,
    /// Direction to the viewer at first.
    from: [f64; 3],
    /// Coordinates of each scanner's position, from those of the frame: three rows of four.
    scanners: Vec<Scanner>,
    bands: Vec<Scale>,
    things: Vec<Thing>,
    /// Numbers and stride of each array of the block.
    arrays: Vec<[usize; 2]>,
}

#[derive(Serialize)]
struct Scanner {
    name: String,
    rows: [[f64; 4]; 3],
}

/// Colours of a value.
#[derive(Serialize)]
struct Scale {
    limits: [f64; 6],
    colours: [[u8; 3]; 7],
    hatched: f64,
    /// Values with a dark line.
    marked: Vec<f64>,
    unknown: [u8; 3],
    /// Words for a value below and from zero.
    words: [&'static str; 2],
}

/// Something that can be shown, hidden, named.
#[derive(Serialize, Default)]
struct Thing {
    group: &'static str,
    code: String,
    name: String,
    /// What it is and its number, each as text.
    facts: Vec<[String; 2]>,
    /// How its label is coloured: face, round, thin, other, fail, undecided, pass.
    class: &'static str,
    colour: [u8; 3],
    shown: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    at: Option<[f64; 3]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    look: Option<Look>,
    /// Of those that are alike the larger gets its name into the picture first.
    rank: f64,
    /// Id in the page of where more is said.
    #[serde(skip_serializing_if = "Option::is_none")]
    more: Option<String>,
    /// Its number among the labels of scans.
    #[serde(skip_serializing_if = "Option::is_none")]
    label: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mesh: Option<Surface>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lines: Option<Lines>,
}

/// Where to look from to see it.
#[derive(Serialize)]
struct Look {
    target: [f64; 3],
    /// Half the height of what is seen, mm.
    half: f64,
    from: [f64; 3],
    /// Normal of what is cut away through the target.
    #[serde(skip_serializing_if = "Option::is_none")]
    cut: Option<[f64; 4]>,
}

/// Triangles; numbers are positions of arrays.
#[derive(Serialize)]
struct Surface {
    /// scan, part, other, overlap, made.
    kind: &'static str,
    places: usize,
    triangles: usize,
    /// Lengths, coloured by the scale.
    #[serde(skip_serializing_if = "Option::is_none")]
    values: Option<[usize; 2]>,
    /// Labels of the points, 0 for none; and how strongly they tint.
    #[serde(skip_serializing_if = "Option::is_none")]
    labels: Option<usize>,
    tint: f64,
    /// Which of the scanners.
    #[serde(skip_serializing_if = "Option::is_none")]
    scanner: Option<usize>,
}

/// Lines; a line of one point is a dot.
#[derive(Serialize)]
struct Lines {
    places: usize,
    /// Points of each line.
    counts: usize,
    width: f64,
    /// Whether they show through what hides them.
    through: bool,
    /// Whether they can be pointed at.
    named: bool,
    /// Whether they are only drawn while their thing is pointed at or chosen.
    on_call: bool,
}

impl Scene {
    fn packed(mut self, block: Block) -> crate::error::Result<Packed> {
        self.arrays.clone_from(&block.arrays);
        let json = serde_json::to_string(&self)
            .map_err(|e| crate::Error::Internal(format!("the scene as JSON: {e}")))?;
        Ok(Packed { json: within_script(&json), block: block.text() })
    }
}

impl Lines {
    fn of(block: &mut Block, grid: &Grid, lines: &[Vec<Point3>], width: f64) -> Self {
        let counts: Vec<i32> = lines.iter().map(|l| l.len() as i32).collect();
        let places = block.places(grid, &lines.concat());
        Lines {
            places,
            counts: block.add(&counts, 1),
            width,
            through: true,
            named: true,
            on_call: false,
        }
    }
}

impl Scale {
    fn of(bands: &Bands, words: [&'static str; 2]) -> Self {
        Scale {
            limits: bands.limits,
            colours: bands.colours,
            hatched: bands.hatched,
            marked: bands
                .marked()
                .iter()
                .map(|m| f64::from(*m))
                .filter(|m| m.is_finite())
                .collect(),
            unknown: bands.unknown,
            words,
        }
    }
}

/// Scanner coordinates from those of the frame.
fn scanner(name: String, scanner_from_frame: &Pose) -> Scanner {
    let m = scanner_from_frame.to_homogeneous();
    let row = |r: usize| [m[(r, 0)], m[(r, 1)], m[(r, 2)], m[(r, 3)]];
    Scanner { name, rows: [row(0), row(1), row(2)] }
}

/// The three axes of the frame from its origin.
fn axes(block: &mut Block, grid: &Grid, group: &'static str, length: f64) -> Vec<Thing> {
    let axis = |(k, name): (usize, &str)| {
        let mut end = Point3::origin();
        end[k] = length;
        let lines = Lines::of(block, grid, &[vec![Point3::origin(), end]], 2.4);
        Thing {
            group,
            code: name.into(),
            name: format!("{name} axis"),
            class: "thin",
            colour: AXIS,
            at: Some(end.into()),
            lines: Some(lines),
            ..Thing::default()
        }
    };
    ["x", "y", "z"].into_iter().enumerate().map(axis).collect()
}

fn direction(d: &Direction) -> [f64; 3] {
    [d.x, d.y, d.z]
}

/// JSON in which nothing ends or opens an element or a line: these only occur inside strings.
fn within_script(json: &str) -> String {
    let mut safe = String::with_capacity(json.len());
    for c in json.chars() {
        match c {
            '<' | '>' | '&' | '\u{2028}' | '\u{2029}' => safe += &format!("\\u{:04x}", c as u32),
            c => safe.push(c),
        }
    }
    safe
}

const AXIS: [u8; 3] = [90, 96, 104];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn json_cannot_leave_its_element() -> Result<(), serde_json::Error> {
        let name = "</script><script>x()</script><!--&\u{2028}\"\\";
        let safe = within_script(&serde_json::to_string(name)?);
        assert!(!safe.contains(['<', '>', '&', '\u{2028}']));
        assert_eq!(serde_json::from_str::<String>(&safe)?, name);
        Ok(())
    }
}
