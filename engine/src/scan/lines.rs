//! Lines, words and numbers of text formats, in bytes: names and comments need not be UTF-8.

use std::io::BufRead;

use super::source::Source;
use crate::error::{Error, Result};

/// Reads lines that end in LF, CR LF or CR; the last needs no end.
pub(super) struct Lines<'a, R> {
    source: &'a Source<'a>,
    reader: R,
    line: Vec<u8>,
    number: u64,
    after_cr: bool,
}

impl<'a, R: BufRead> Lines<'a, R> {
    /// Lines of a reader whose first line has the number `before + 1`.
    pub(super) fn new(source: &'a Source<'a>, reader: R, before: u64) -> Self {
        Lines { source, reader, line: Vec::new(), number: before, after_cr: false }
    }

    /// Number of the last line read, for messages.
    pub(super) fn number(&self) -> u64 {
        self.number
    }

    /// The last line read.
    pub(super) fn line(&self) -> &[u8] {
        self.line.strip_prefix(b"\xef\xbb\xbf").filter(|_| self.number == 1).unwrap_or(&self.line)
    }

    /// Place of the last line read, for messages.
    pub(super) fn place(&self) -> String {
        format!("line {}", self.number)
    }

    /// Advances to the next line; false at the end of the file.
    pub(super) fn advance(&mut self) -> Result<bool> {
        self.line.clear();
        let ended = self.collect()?;
        if !ended && self.line.is_empty() {
            return Ok(false);
        }
        self.number += 1;
        if self.number.is_multiple_of(CHECK_EVERY) {
            self.source.check()?;
        }
        Ok(true)
    }

    /// Advances to the next line that is not blank.
    pub(super) fn advance_to_words(&mut self) -> Result<bool> {
        while self.advance()? {
            if !self.line().trim_ascii().is_empty() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Collects bytes up to the end of the line; false when the file ended first.
    fn collect(&mut self) -> Result<bool> {
        loop {
            let mut bytes = self.reader.fill_buf().map_err(|e| Error::io(self.source.path, &e))?;
            let whole = bytes.len();
            if whole == 0 {
                return Ok(false);
            }
            if self.after_cr {
                bytes = bytes.strip_prefix(b"\n").unwrap_or(bytes);
                self.after_cr = false;
            }
            let skipped = whole - bytes.len();
            let end = line_end(bytes);
            let taken = end.unwrap_or(bytes.len());
            if self.line.len() + taken > MAX_LINE {
                let place = format!("line {}", self.number + 1);
                return Err(self.source.bad(
                    place,
                    format!("more than {MAX_LINE} bytes"),
                    "shorter lines",
                ));
            }
            self.line.extend_from_slice(&bytes[..taken]);
            if let Some(end) = end {
                self.after_cr = bytes[end] == b'\r';
                self.reader.consume(skipped + end + 1);
                return Ok(true);
            }
            self.reader.consume(whole);
        }
    }
}

/// Words between blanks.
pub(super) fn words(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(|b| is_blank(*b)).filter(|w| !w.is_empty())
}

/// Three numbers out of words; `None` unless each is there and is a number (perhaps not finite).
pub(super) fn three<'w>(words: &mut impl Iterator<Item = &'w [u8]>) -> Option<[f64; 3]> {
    Some([number(words.next()?)?, number(words.next()?)?, number(words.next()?)?])
}

/// A number; out of range it is infinite.
pub(super) fn number(word: &[u8]) -> Option<f64> {
    std::str::from_utf8(word).ok()?.parse().ok()
}

/// Words as they may stand in a message: short, printable.
pub(super) fn shown(bytes: &[u8]) -> String {
    let bytes = bytes.trim_ascii();
    let cut = &bytes[..bytes.len().min(SHOWN)];
    let text: String = String::from_utf8_lossy(cut)
        .chars()
        .map(|c| if c.is_control() { '?' } else { c })
        .collect();
    if cut.len() < bytes.len() { format!("\"{text}...\"") } else { format!("\"{text}\"") }
}

/// Whether a byte separates words inside a line.
pub(super) fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | 0x0b | 0x0c)
}

/// First LF or CR; blocks keep the search in vector registers.
fn line_end(bytes: &[u8]) -> Option<usize> {
    let is_end = |b: &u8| *b == b'\n' || *b == b'\r';
    let mut at = 0;
    for block in bytes.chunks(16) {
        if block.iter().fold(false, |any, b| any | is_end(b)) {
            return block.iter().position(is_end).map(|i| at + i);
        }
        at += block.len();
    }
    None
}

const MAX_LINE: usize = 1 << 28;
const CHECK_EVERY: u64 = 1 << 14;
const SHOWN: usize = 60;
