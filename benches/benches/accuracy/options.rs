//! What to run: tables, shapes, arcs, noise, runs.

use fitwright::primitive::Kind;

use crate::shape::KINDS;

/// The command line.
#[derive(Debug, Clone)]
pub(crate) struct Options {
    pub(crate) tables: Vec<String>,
    pub(crate) kinds: Vec<Kind>,
    arcs: Vec<f64>,
    noises: Vec<String>,
    runs: Option<usize>,
    judged: Option<bool>,
    pub(crate) points: usize,
    pub(crate) full: bool,
}

impl Options {
    /// Reads the arguments after the program's name.
    pub(crate) fn read(arguments: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut out = Options {
            tables: Vec::new(),
            kinds: Vec::new(),
            arcs: Vec::new(),
            noises: Vec::new(),
            runs: None,
            judged: None,
            points: 2000,
            full: false,
        };
        let mut arguments = arguments.peekable();
        while let Some(argument) = arguments.next() {
            let mut value = || arguments.next().ok_or(format!("{argument} needs a value"));
            match argument.as_str() {
                // What `cargo bench` adds.
                "--bench" => {}
                "--full" => out.full = true,
                "--shape" => {
                    let name = value()?;
                    let kind = KINDS.into_iter().find(|k| k.name() == name);
                    out.kinds.push(kind.ok_or(format!("no shape {name}"))?);
                }
                "--arc" => out.arcs.push(number(&value()?)?),
                "--noise" => out.noises.push(value()?),
                "--judged" => {
                    out.judged = Some(match value()?.as_str() {
                        "itself" => false,
                        "face" => true,
                        other => return Err(format!("judged by {other}: itself or face")),
                    });
                }
                "--runs" => out.runs = Some(number(&value()?)? as usize),
                "--points" => out.points = number(&value()?)? as usize,
                table if crate::TABLES.contains(&table) => out.tables.push(table.into()),
                other => {
                    return Err(format!("{other} is none of {}", crate::TABLES.join(", ")));
                }
            }
        }
        if out.kinds.is_empty() {
            out.kinds = KINDS.to_vec();
        }
        Ok(out)
    }

    /// Whether a table was asked for.
    pub(crate) fn wants(&self, table: &str) -> bool {
        self.tables.is_empty() || self.tables.iter().any(|t| t == table)
    }

    /// Runs of a Monte-Carlo case.
    pub(crate) fn runs(&self, usual: usize, full: usize) -> usize {
        self.runs.unwrap_or(if self.full { full } else { usual }).max(1)
    }

    /// Whether intervals are wanted that are judged by a face, or by the shape itself.
    pub(crate) fn wants_judged(&self, face: bool) -> bool {
        self.judged.is_none_or(|judged| judged == face)
    }

    /// Arcs in degrees, as far as the shape has them and they were asked for.
    pub(crate) fn arcs(&self, kind: Kind, usual: &[f64]) -> Vec<f64> {
        if matches!(kind, Kind::Plane | Kind::Line) {
            return vec![360.0];
        }
        if self.arcs.is_empty() { usual.to_vec() } else { self.arcs.clone() }
    }

    /// Whether a noise was asked for; `usual` if none was named.
    pub(crate) fn wants_noise(&self, name: &str, usual: bool) -> bool {
        if self.noises.is_empty() { usual } else { self.noises.iter().any(|n| n == name) }
    }
}

fn number(text: &str) -> Result<f64, String> {
    text.parse().map_err(|_| format!("{text} is no number"))
}
