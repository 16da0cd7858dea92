//! The header: elements, their properties and where the body begins. Every count is checked against
//! the bytes that are really there before anything is allocated for it.

use crate::error::{Error, Result};
use crate::scan::lines::{shown, words};
use crate::scan::source::Source;

/// Order of the body's bytes.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Encoding {
    Ascii,
    Little,
    Big,
}

/// Type of one number.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Scalar {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

/// One number a row, or a list of them.
pub(super) struct Property {
    pub(super) name: String,
    pub(super) scalar: Scalar,
    /// Type of the list's length.
    pub(super) list: Option<Scalar>,
}

/// A run of rows of one kind.
pub(super) struct Element {
    pub(super) name: String,
    pub(super) count: u64,
    pub(super) properties: Vec<Property>,
}

pub(super) struct Header {
    pub(super) encoding: Encoding,
    pub(super) elements: Vec<Element>,
    /// Offset of the first byte after the header.
    pub(super) body: u64,
    /// Lines in the header.
    pub(super) lines: u64,
}

/// Whether the first line is the format's own.
pub(in crate::scan) fn is_ply(head: &[u8]) -> bool {
    head.strip_prefix(b"ply").is_some_and(|rest| rest.first().is_none_or(u8::is_ascii_whitespace))
}

pub(super) fn parse(source: &Source) -> Result<Header> {
    let head = source.head(MAX_HEADER)?;
    if !is_ply(&head) {
        return Err(source.bad("line 1", shown(&head), "\"ply\""));
    }
    let mut parser = Parser { source, encoding: None, elements: Vec::new(), line: 1 };
    let mut at = next_line(&head, 0).1;
    while at < head.len() {
        let (line, next) = next_line(&head, at);
        parser.line += 1;
        at = next;
        if line.trim_ascii() == b"end_header" {
            return parser.finish(at as u64);
        }
        parser.line(line)?;
    }
    let found = format!("{} bytes without its end", head.len());
    Err(source.bad("header", found, format!("\"end_header\" within {MAX_HEADER} bytes")))
}

struct Parser<'a> {
    source: &'a Source<'a>,
    encoding: Option<Encoding>,
    elements: Vec<Element>,
    line: u64,
}

impl Parser<'_> {
    fn line(&mut self, line: &[u8]) -> Result<()> {
        let parts: Vec<&[u8]> = words(line).take(8).collect();
        match parts[..] {
            [] | [b"comment" | b"obj_info", ..] => Ok(()),
            [b"format", kind, b"1.0"] if self.encoding.is_none() => {
                self.encoding = Some(match kind {
                    b"ascii" => Encoding::Ascii,
                    b"binary_little_endian" => Encoding::Little,
                    b"binary_big_endian" => Encoding::Big,
                    _ => return Err(self.bad(line, FORMATS)),
                });
                Ok(())
            }
            [b"format", ..] => Err(self.bad(line, FORMATS)),
            [b"element", name, count] => self.element(line, name, count),
            [b"property", b"list", length, scalar, name] => {
                let list = Scalar::parse(length).filter(|s| s.is_integer());
                let list = list.ok_or_else(|| self.bad(line, "an integer type of list length"))?;
                self.property(line, name, scalar, Some(list))
            }
            [b"property", scalar, name] => self.property(line, name, scalar, None),
            _ => Err(self.bad(line, "format, element, property, comment, obj_info, end_header")),
        }
    }

    fn element(&mut self, line: &[u8], name: &[u8], count: &[u8]) -> Result<()> {
        let count = std::str::from_utf8(count).ok().and_then(|w| w.parse().ok());
        let count = count.ok_or_else(|| self.bad(line, "a count from 0 to 2^64 - 1"))?;
        let name = String::from_utf8_lossy(name).into_owned();
        if self.elements.iter().any(|e| e.name == name) {
            return Err(self.bad(line, "each element once"));
        }
        self.elements.push(Element { name, count, properties: Vec::new() });
        self.allow("elements in the header", self.elements.len(), MAX_ELEMENTS)
    }

    fn property(
        &mut self,
        line: &[u8],
        name: &[u8],
        scalar: &[u8],
        list: Option<Scalar>,
    ) -> Result<()> {
        let scalar = Scalar::parse(scalar).ok_or_else(|| self.bad(line, SCALARS))?;
        let name = String::from_utf8_lossy(name).into_owned();
        let wrong = self.bad(line, "each property once, after its element");
        let Some(element) = self.elements.last_mut() else { return Err(wrong) };
        if element.properties.iter().any(|p| p.name == name) {
            return Err(wrong);
        }
        element.properties.push(Property { name, scalar, list });
        let count = element.properties.len();
        self.allow("properties of an element", count, MAX_PROPERTIES)
    }

    fn finish(self, body: u64) -> Result<Header> {
        let Some(encoding) = self.encoding else {
            return Err(self.source.bad("header", "no format", FORMATS));
        };
        let mut left = u128::from(self.source.len - body);
        for element in &self.elements {
            let least = u128::from(element.count) * u128::from(element.least_row(encoding));
            let empty = element.count > 0 && element.properties.is_empty();
            // The last line of a text needs no end.
            if empty || least > left + u128::from(encoding == Encoding::Ascii) {
                return Err(self.source.bad(
                    format!("element {}", element.name),
                    format!("{} rows", element.count),
                    format!("as many as fit into the {left} bytes that are left"),
                ));
            }
            left = left.saturating_sub(least);
        }
        Ok(Header { encoding, elements: self.elements, body, lines: self.line })
    }

    fn allow(&self, what: &str, found: usize, limit: usize) -> Result<()> {
        if found <= limit {
            return Ok(());
        }
        let what = format!("{}: {what}", self.source.path.display());
        Err(Error::Limit { what, found: found as u64, limit: limit as u64 })
    }

    fn bad(&self, line: &[u8], allowed: &str) -> Error {
        self.source.bad(format!("line {}", self.line), shown(line), allowed)
    }
}

impl Element {
    /// Fewest bytes a row can have.
    fn least_row(&self, encoding: Encoding) -> u64 {
        let least = |p: &Property| match encoding {
            Encoding::Ascii => 2,
            Encoding::Little | Encoding::Big => p.list.unwrap_or(p.scalar).size() as u64,
        };
        self.properties.iter().map(least).sum()
    }

    /// Bytes of every row if it has no list.
    pub(super) fn fixed_row(&self) -> Option<usize> {
        self.properties.iter().map(|p| p.list.is_none().then(|| p.scalar.size())).sum()
    }

    /// Number of a property.
    pub(super) fn find(&self, name: &str) -> Option<usize> {
        self.properties.iter().position(|p| p.name == name)
    }

    /// Numbers of three single-number properties.
    pub(super) fn find_three(&self, names: [&str; 3]) -> Option<[usize; 3]> {
        let at = names.map(|n| self.find(n).filter(|&i| self.properties[i].list.is_none()));
        Some([at[0]?, at[1]?, at[2]?])
    }

    /// Number of the list of a face's corners.
    pub(super) fn corners(&self) -> Option<usize> {
        let at = self.find("vertex_indices").or_else(|| self.find("vertex_index"))?;
        let property = &self.properties[at];
        (property.list.is_some() && property.scalar.is_integer()).then_some(at)
    }
}

impl Scalar {
    fn parse(word: &[u8]) -> Option<Self> {
        Some(match word {
            b"char" | b"int8" => Scalar::I8,
            b"uchar" | b"uint8" => Scalar::U8,
            b"short" | b"int16" => Scalar::I16,
            b"ushort" | b"uint16" => Scalar::U16,
            b"int" | b"int32" => Scalar::I32,
            b"uint" | b"uint32" => Scalar::U32,
            b"float" | b"float32" => Scalar::F32,
            b"double" | b"float64" => Scalar::F64,
            _ => return None,
        })
    }

    pub(super) fn size(self) -> usize {
        match self {
            Scalar::I8 | Scalar::U8 => 1,
            Scalar::I16 | Scalar::U16 => 2,
            Scalar::I32 | Scalar::U32 | Scalar::F32 => 4,
            Scalar::F64 => 8,
        }
    }

    pub(super) fn is_integer(self) -> bool {
        !matches!(self, Scalar::F32 | Scalar::F64)
    }

    /// The number in the first bytes of `bytes`, which must be as many as [`Scalar::size`].
    pub(super) fn decode(self, encoding: Encoding, bytes: &[u8]) -> f64 {
        let mut word = [0; 8];
        let size = self.size();
        // Left-aligned in little-endian order.
        word[..size].copy_from_slice(&bytes[..size]);
        if encoding == Encoding::Big {
            word[..size].reverse();
        }
        let bits = u64::from_le_bytes(word);
        match self {
            Scalar::I8 => f64::from(bits as i8),
            Scalar::U8 => f64::from(bits as u8),
            Scalar::I16 => f64::from(bits as i16),
            Scalar::U16 => f64::from(bits as u16),
            Scalar::I32 => f64::from(bits as i32),
            Scalar::U32 => f64::from(bits as u32),
            Scalar::F32 => f64::from(f32::from_bits(bits as u32)),
            Scalar::F64 => f64::from_bits(bits),
        }
    }
}

/// The line from a byte on and where the next begins. Lines end as the first one does, so that a binary
/// body that begins with a line feed loses none.
fn next_line(head: &[u8], at: usize) -> (&[u8], usize) {
    let is_end = |b: &u8| *b == b'\n' || *b == b'\r';
    let first = head.iter().position(is_end).unwrap_or(head.len());
    let crlf = head[first..].starts_with(b"\r\n");
    let end = head[at..].iter().position(is_end).map_or(head.len(), |i| at + i);
    let width = 1 + usize::from(crlf && head[end..].starts_with(b"\r\n"));
    (&head[at..end], (end + width).min(head.len()))
}

const MAX_HEADER: u64 = 1 << 20;
const MAX_PROPERTIES: usize = 1024;
const MAX_ELEMENTS: usize = 64;
const FORMATS: &str = "one line \"format ascii|binary_little_endian|binary_big_endian 1.0\"";
const SCALARS: &str = "char, uchar, short, ushort, int, uint, float, double";
