//! The package of a 3MF file (a ZIP archive): its model part as a stream that cannot swell without end.

use std::io::{BufRead, BufReader, Read};

use quick_xml::events::Event;
use quick_xml::{Reader, XmlVersion};
use zip::ZipArchive;
use zip::result::ZipError;

use super::super::source::Source;
use super::unsupported;
use crate::error::{Error, Result};

/// Text of a part of the package, read piece by piece.
pub(super) type Text<'a> = Reader<Bounded<BufReader<&'a mut dyn Read>>>;

/// Finds the model part and hands its text on.
pub(super) fn model<T>(
    source: &Source,
    read: impl FnOnce(&str, &mut Text<'_>) -> Result<T>,
) -> Result<T> {
    let archive = |e: ZipError| match e {
        ZipError::Io(e) => Error::io(source.path, &e),
        e => source.bad("archive", e.to_string(), "a ZIP archive"),
    };
    let mut zip = ZipArchive::new(source.file()?).map_err(archive)?;
    let rels = "_rels/.rels";
    let target = match zip.by_name(rels) {
        Ok(mut part) => {
            let packed = part.compressed_size();
            relationship(source, &mut text(&mut part, packed))?
        }
        Err(ZipError::FileNotFound) => None,
        Err(e) => return Err(archive(e)),
    };
    let target =
        target.ok_or_else(|| source.bad(rels, "no 3D model", "a relationship to the model"))?;
    let name = target.trim_start_matches('/');
    let mut part = match zip.by_name(name) {
        Ok(part) if part.encrypted() => {
            let remedy = "save it without a password";
            return Err(unsupported(source, name.into(), "an encrypted model", remedy));
        }
        Ok(part) => part,
        Err(ZipError::FileNotFound) => {
            return Err(source.bad(name, "no such part", "the model that _rels/.rels names"));
        }
        Err(e) => return Err(archive(e)),
    };
    let packed = part.compressed_size();
    read(name, &mut text(&mut part, packed))
}

fn text<'a>(part: &'a mut dyn Read, packed: u64) -> Text<'a> {
    let most = packed.saturating_mul(MOST_SWELLING).max(ALWAYS_ALLOWED);
    let inner = BufReader::with_capacity(1 << 16, part);
    Reader::from_reader(Bounded { inner, piece: 0, whole: 0, most })
}

/// Path of the model part by the package's relationships (ISO/IEC 29500-2).
fn relationship(source: &Source, text: &mut Text<'_>) -> Result<Option<String>> {
    let mut buffer = Vec::new();
    loop {
        match next(source, "_rels/.rels", text, &mut buffer)? {
            Event::Eof => return Ok(None),
            Event::Start(e) | Event::Empty(e) if e.local_name().as_ref() == "Relationship" => {
                let value = |name: &str| {
                    let found = e.attributes().flatten().find(|a| a.key.as_ref() == name)?;
                    found.normalized_value(XmlVersion::Explicit1_0).ok().map(String::from)
                };
                if value("Type").as_deref() == Some(MODEL) {
                    return Ok(value("Target"));
                }
            }
            _ => {}
        }
    }
}

/// The next piece of XML; no document type, no piece without end.
pub(super) fn next<'b>(
    source: &Source,
    part: &str,
    text: &mut Text<'_>,
    buffer: &'b mut Vec<u8>,
) -> Result<Event<'b>> {
    source.check()?;
    buffer.clear();
    text.get_mut().piece = 0;
    let at = text.buffer_position();
    match text.read_event_into(buffer) {
        Ok(Event::DocType(_)) => {
            Err(source.bad(format!("{part}, byte {at}"), "a document type", "XML without one"))
        }
        Ok(event) => Ok(event),
        Err(e) => Err(source.bad(format!("{part}, byte {at}"), e.to_string(), "XML that ends")),
    }
}

/// A stream that ends in an error where a piece, or the whole, is longer than it may be.
pub(super) struct Bounded<R> {
    inner: R,
    piece: u64,
    whole: u64,
    most: u64,
}

impl<R: BufRead> Read for Bounded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let bytes = self.fill_buf()?;
        let count = bytes.len().min(buffer.len());
        buffer[..count].copy_from_slice(&bytes[..count]);
        self.consume(count);
        Ok(count)
    }
}

impl<R: BufRead> BufRead for Bounded<R> {
    fn fill_buf(&mut self) -> std::io::Result<&[u8]> {
        let too_long = match self {
            Bounded { piece, .. } if *piece > LONGEST_PIECE => "a piece of more than a megabyte",
            Bounded { whole, most, .. } if *whole > *most => "text that swells more than 100 times",
            _ => return self.inner.fill_buf(),
        };
        Err(std::io::Error::other(too_long))
    }

    fn consume(&mut self, count: usize) {
        self.inner.consume(count);
        self.piece += count as u64;
        self.whole += count as u64;
    }
}

const MODEL: &str = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";
/// An element with its attributes is some hundred bytes.
const LONGEST_PIECE: u64 = 1 << 20;
/// The text of meshes is packed four to ten times; a bomb a thousand times.
const MOST_SWELLING: u64 = 100;
/// So much is allowed whatever it was packed to.
const ALWAYS_ALLOWED: u64 = 1 << 24;
