//! Target lists as scanners and spreadsheets write them: one target a line, `x y z` or `name x y z`.
//!
//! A line is split at semicolons if it has any, else at tabs, else at commas, else at blanks; `#`
//! and `//` begin a comment; a first line of column titles is skipped.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use crate::error::{Error, Result};
use crate::primitive::Point3;
use crate::units::LengthUnit;

/// Reads a list of target centres (text, lengths in `unit`), in file order, mm.
///
/// # Errors
/// [`Error::Io`]; [`Error::Format`] with the line for anything but three finite numbers with an
/// optional name before them, or if there is no target; [`Error::Limit`] over 10,000 targets or 4 MB.
pub fn read_targets(path: impl AsRef<Path>, unit: LengthUnit) -> Result<Vec<Point3>> {
    let path = path.as_ref();
    let text = read_text(path)?;
    let mut targets = Vec::new();
    let mut titles_allowed = true;
    for (index, line) in text.lines().enumerate() {
        let fields = fields(line);
        if fields.is_empty() {
            continue;
        }
        if std::mem::take(&mut titles_allowed) && is_title(&fields) {
            continue;
        }
        if targets.len() == MOST_TARGETS {
            return Err(Error::Limit {
                what: format!("{}: targets", path.display()),
                found: MOST_TARGETS as u64 + 1,
                limit: MOST_TARGETS as u64,
            });
        }
        targets.push(target(&fields, path, index + 1)? * unit.to_mm());
    }
    if targets.is_empty() {
        return Err(Error::format(path, "whole file", "no target", "lines of x y z or name x y z"));
    }
    Ok(targets)
}

fn read_text(path: &Path) -> Result<String> {
    let file = File::open(path).map_err(|e| Error::io(path, &e))?;
    let mut bytes = Vec::new();
    file.take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(|e| Error::io(path, &e))?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(Error::Limit {
            what: format!("{}: bytes of a target list", path.display()),
            found: bytes.len() as u64,
            limit: MOST_BYTES,
        });
    }
    // Names may be in any old encoding; numbers are the same in all of them.
    let text = String::from_utf8_lossy(&bytes);
    Ok(text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned())
}

/// Fields of a line without its comment; none for a blank line.
fn fields(line: &str) -> Vec<&str> {
    let end = line.find('#').into_iter().chain(line.find("//")).min().unwrap_or(line.len());
    let line = line[..end].trim();
    if line.is_empty() {
        return Vec::new();
    }
    match [';', '\t', ','].into_iter().find(|&c| line.contains(c)) {
        Some(separator) => {
            // Spreadsheets end each line with a separator; a field that is empty inside stays.
            let line = line.strip_suffix(separator).unwrap_or(line);
            line.split(separator).map(|f| f.trim().trim_matches('"')).collect()
        }
        None => line.split_whitespace().collect(),
    }
}

fn is_title(fields: &[&str]) -> bool {
    let is_word = |f: &&str| f.starts_with(char::is_alphabetic) && f.parse::<f64>().is_err();
    (3..=4).contains(&fields.len()) && fields.iter().all(is_word)
}

fn target(fields: &[&str], path: &Path, line: usize) -> Result<Point3> {
    let numbers = match fields {
        [_, x, y, z] | [x, y, z] => [x, y, z],
        _ => {
            return Err(Error::format(
                path,
                format!("line {line}"),
                format!("{} values", fields.len()),
                "x y z or name x y z, separated by blanks, tabs, commas or semicolons",
            ));
        }
    };
    let mut point = Point3::origin();
    for (c, text) in point.coords.iter_mut().zip(numbers) {
        *c = text.parse().ok().filter(|v: &f64| v.is_finite()).ok_or_else(|| {
            let found: String = text.chars().take(40).collect();
            Error::format(
                path,
                format!("line {line}"),
                format!("\"{found}\""),
                "a finite number with a decimal point",
            )
        })?;
    }
    Ok(point)
}

const MOST_TARGETS: usize = 10_000;
const MOST_BYTES: u64 = 4 << 20;

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a failed fixture is a failed test")]
mod tests {
    use super::*;
    use std::io::Write;

    fn read(text: &[u8]) -> Result<Vec<Point3>> {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(text).unwrap();
        read_targets(file.path(), LengthUnit::Centimetre)
    }

    #[test]
    fn every_separator_reads_the_same() {
        let expected = vec![Point3::new(10.0, -25.0, 1e-2), Point3::new(0.0, 1.0, 2.0)];
        for text in [
            "1 -2.5 1e-3\n0 .1 .2\n",
            "\u{feff}name,x,y,z\r\nT 1, 1, -2.5, 1e-3 # first\r\n\r\nT 2,0,0.1,0.2\r\n",
            "a;1;-2.5;0.001;\nb;0;0.1;0.2;",
            "// by hand\n\"a\"\t1\t-2.5\t0.001\n2\t0\t0.1\t0.2\n",
            "7 1 -2.5 0.001\n  8   0 0.1 0.2 // near the door",
        ] {
            assert_eq!(read(text.as_bytes()).unwrap(), expected, "{text}");
        }
    }

    #[test]
    fn names_of_any_encoding_are_passed_over() {
        assert_eq!(read(b"T\xfcr;1;2;3\n").unwrap(), vec![Point3::new(10.0, 20.0, 30.0)]);
    }

    #[test]
    fn bad_lines_are_named() {
        for (text, place, found) in [
            ("1 2 3\n1 2\n", "line 2", "2 values"),
            ("1 2 3\n\n1 2 x\n", "line 3", "\"x\""),
            ("1 2 nan\n", "line 1", "\"nan\""),
            ("1,5;2,5;3,5\n", "line 1", "\"1,5\""),
            ("1,,3\n", "line 1", "\"\""),
            ("x y z\nx y z\n", "line 2", "\"x\""),
            ("# nothing\n", "whole file", "no target"),
        ] {
            match read(text.as_bytes()) {
                Err(Error::Format { place: p, found: f, .. }) => {
                    assert_eq!((p.as_str(), f.as_str()), (place, found), "{text}");
                }
                other => panic!("{text}: {other:?}"),
            }
        }
    }

    #[test]
    fn a_long_list_is_refused() {
        let text = "1 2 3\n".repeat(10_001);
        assert!(matches!(read(text.as_bytes()), Err(Error::Limit { limit: 10_000, .. })));
        assert_eq!(read(&text.as_bytes()[6..]).unwrap().len(), 10_000);
    }
}
