//! STL, binary and ASCII, with its corners welded by exact position.
//!
//! The length test comes first: a file of 84 + 50 n bytes is binary whatever its header says, since
//! many binary files begin with "solid". Normals and attribute words of the file are not used.

use rayon::prelude::*;

use super::lines::{Lines, shown, three, words};
use super::read::Draft;
use super::source::Source;
use super::weld::{Double, Single, double, weld};
use crate::error::Result;

/// Reads either kind.
pub(super) fn read(source: &Source) -> Result<Draft> {
    let head = source.head(512)?;
    match binary_count(source.len, &head) {
        Some((count, 0)) => binary(source, count, 0),
        _ if begins_solid(&head) => ascii(source),
        Some((count, spare)) => binary(source, count, spare),
        None => Err(source.bad(
            format!("byte {}", source.len),
            not_stl(source.len, &head),
            "84 bytes and 50 for each triangle, or text that begins with \"solid\"",
        )),
    }
}

/// Whether the length is exactly that of a binary file with the count its header promises.
pub(super) fn is_binary(len: u64, head: &[u8]) -> bool {
    matches!(binary_count(len, head), Some((_, 0)))
}

/// Whether the text begins with "solid", in any case, after blanks.
pub(super) fn begins_solid(head: &[u8]) -> bool {
    let text = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head).trim_ascii_start();
    text.get(..5).is_some_and(|w| w.eq_ignore_ascii_case(b"solid"))
}

fn not_stl(len: u64, head: &[u8]) -> String {
    match promised(head) {
        Some(count) => format!("{len} bytes for {count} triangles"),
        None => format!("the end of the file in the header, beginning with {}", shown(head)),
    }
}

fn promised(head: &[u8]) -> Option<u64> {
    head.get(80..84)?.try_into().ok().map(|b| u64::from(u32::from_le_bytes(b)))
}

/// Triangles promised by the header and the bytes left over; `None` if the file is too short.
fn binary_count(len: u64, head: &[u8]) -> Option<(u64, u64)> {
    let count = promised(head)?;
    len.checked_sub(HEADER + count * FACET as u64).map(|spare| (count, spare))
}

fn binary(source: &Source, count: u64, spare: u64) -> Result<Draft> {
    if count == 0 {
        return Err(source.bad("byte 80", "0 triangles", "at least one"));
    }
    source.allow_triangles(count)?;
    let mut corners = vec![[Single::default(); 3]; count as usize];
    let chunks: Vec<Result<()>> = corners
        .par_chunks_mut(CHUNK)
        .enumerate()
        .map_init(Vec::new, |bytes, (i, chunk)| read_chunk(source, i * CHUNK, bytes, chunk))
        .collect();
    chunks.into_iter().collect::<Result<()>>()?;
    let (mut points, triangles) = weld(&corners);
    // Millimetres last: equal bits in the file are equal positions in any unit.
    points.iter_mut().for_each(|p| *p *= source.factor);
    let mut draft = Draft::mesh("STL", points, triangles);
    if spare > 0 {
        draft.notes.push(format!("{spare} bytes after the last triangle ignored"));
    }
    Ok(draft)
}

fn read_chunk(
    source: &Source,
    first: usize,
    bytes: &mut Vec<u8>,
    out: &mut [[Single; 3]],
) -> Result<()> {
    bytes.resize(out.len() * FACET, 0);
    source.read_at(HEADER + (first * FACET) as u64, bytes)?;
    for (i, (facet, corners)) in bytes.as_chunks::<FACET>().0.iter().zip(out).enumerate() {
        let words = facet[12..48].as_chunks::<4>().0;
        let mut sound = true;
        for (corner, xyz) in corners.iter_mut().zip(words.as_chunks::<3>().0) {
            *corner = xyz.map(|w| fold_zero(u32::from_le_bytes(w)));
            sound &= corner.iter().all(|b| b & EXPONENT < MODEST);
        }
        if !sound {
            for corner in &*corners {
                let xyz = corner.map(|b| f64::from(f32::from_bits(b)));
                source.point(xyz, || format!("triangle {}", first + i))?;
            }
        }
    }
    Ok(())
}

fn fold_zero(bits: u32) -> u32 {
    if bits == 0x8000_0000 { 0 } else { bits }
}

fn ascii(source: &Source) -> Result<Draft> {
    let mut facets = Facets { corners: Vec::new(), facet: Vec::new(), state: State::Outside };
    let mut lines = Lines::new(source, source.stream(0)?, 0);
    let mut solids = 0u64;
    while lines.advance_to_words()? {
        solids += u64::from(facets.line(source, lines.line(), lines.number())?);
    }
    if facets.state != State::Outside {
        return Err(source.bad(lines.place(), "the end of the file", "\"endsolid\""));
    }
    if facets.corners.is_empty() {
        return Err(source.bad(lines.place(), "no facet", "at least one"));
    }
    let (points, triangles) = weld(&facets.corners);
    let mut draft = Draft::mesh("STL", points, triangles);
    if solids > 1 {
        draft.notes.push(format!("{solids} solids read as one mesh"));
    }
    Ok(draft)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    Outside,
    Solid,
    Facet,
    Loop,
    AfterLoop,
}

struct Facets {
    corners: Vec<[Double; 3]>,
    facet: Vec<Double>,
    state: State,
}

impl Facets {
    /// Takes one line; true if it opened a solid.
    fn line(&mut self, source: &Source, line: &[u8], number: u64) -> Result<bool> {
        let mut words = words(line);
        let first = words.next().unwrap_or_default().to_ascii_lowercase();
        let place = || format!("line {number}");
        self.state = match (self.state, first.as_slice()) {
            (State::Outside, b"solid") => {
                self.state = State::Solid;
                return Ok(true);
            }
            (State::Solid, b"facet") => State::Facet,
            (State::Solid, b"endsolid") => State::Outside,
            (State::Facet, b"outer") => State::Loop,
            (State::Loop, b"vertex") => {
                self.vertex(source, line, number)?;
                State::Loop
            }
            (State::Loop, b"endloop") => {
                let Ok(facet) = <[Double; 3]>::try_from(self.facet.as_slice()) else {
                    let found = format!("{} vertices", self.facet.len());
                    return Err(source.bad(place(), found, "3 in a loop"));
                };
                self.facet.clear();
                self.corners.push(facet);
                source.allow_triangles(self.corners.len() as u64)?;
                State::AfterLoop
            }
            (State::AfterLoop, b"endfacet") => State::Solid,
            (state, _) => return Err(source.bad(place(), shown(line), state.allowed())),
        };
        Ok(false)
    }

    fn vertex(&mut self, source: &Source, line: &[u8], number: u64) -> Result<()> {
        let mut words = words(line).skip(1);
        let place = || format!("line {number}");
        let xyz = three(&mut words).filter(|_| words.next().is_none());
        let Some(xyz) = xyz.filter(|_| self.facet.len() < 3) else {
            return Err(source.bad(place(), shown(line), "\"vertex x y z\", three in a loop"));
        };
        self.facet.push(double(&source.point(xyz, place)?));
        Ok(())
    }
}

impl State {
    fn allowed(self) -> &'static str {
        match self {
            State::Outside => "\"solid\"",
            State::Solid => "\"facet\" or \"endsolid\"",
            State::Facet => "\"outer loop\"",
            State::Loop => "\"vertex x y z\" or \"endloop\"",
            State::AfterLoop => "\"endfacet\"",
        }
    }
}

const HEADER: u64 = 84;
const FACET: usize = 50;
const CHUNK: usize = 1 << 13;
/// Exponent bits of a single.
const EXPONENT: u32 = 0x7f80_0000;
/// Exponent of 2^33: above, the checks of [`Source::point`] decide.
const MODEST: u32 = (127 + 33) << 23;
