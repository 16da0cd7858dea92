//! The instances of a Part 21 file: found in one pass, parsed only when asked for.

use std::cell::Cell;
use std::collections::HashMap;
use std::path::Path;

use super::lexer::{Fault, Lexer, Token};
use super::record::{Record, Value};
use crate::error::{Error, Result};

/// A STEP file held in memory with the place of each instance.
pub(super) struct StepFile<'a> {
    path: &'a Path,
    bytes: &'a [u8],
    /// Number and place of each instance, sorted by number.
    places: Vec<(u64, usize)>,
    kinds: HashMap<&'static str, Vec<u64>>,
    schema: String,
    /// Instances and bytes parsed by [`StepFile::record`], which is asked for some again and again.
    parsed: Cell<(u64, u64)>,
}

impl<'a> StepFile<'a> {
    /// Finds the instances; `wanted` names the types that [`StepFile::of_kind`] can list.
    pub(super) fn index(
        path: &'a Path,
        bytes: &'a [u8],
        wanted: &[&'static str],
    ) -> Result<StepFile<'a>> {
        let mut file = StepFile {
            path,
            bytes,
            places: Vec::new(),
            kinds: HashMap::new(),
            schema: String::new(),
            parsed: Cell::new((0, 0)),
        };
        let mut lexer = Lexer { bytes, at: 0 };
        file.scan_header(&mut lexer).map_err(|f| file.broken(&f))?;
        file.scan_data(&mut lexer, wanted)?;
        file.sort()?;
        Ok(file)
    }

    /// Instances of a type, in the order of the file; empty for a type not asked for.
    pub(super) fn of_kind(&self, name: &str) -> &[u64] {
        self.kinds.get(name).map_or(&[], Vec::as_slice)
    }

    /// First schema named in the header, as it stands there.
    pub(super) fn schema(&self) -> &str {
        &self.schema
    }

    pub(super) fn path(&self) -> &'a Path {
        self.path
    }

    /// Parses one instance.
    pub(super) fn record(&self, id: u64) -> Result<Record<'a>> {
        let Some(at) = self.at(id) else { return Err(self.dangling(id)) };
        let mut lexer = Lexer { bytes: self.bytes, at };
        let record = parse_record(&mut lexer, id).map_err(|fault| {
            let place = format!("#{id}, line {}", self.line(fault.at));
            Error::format(self.path, place, &fault.found, fault.allowed)
        })?;
        self.count((lexer.at - at) as u64)?;
        Ok(record)
    }

    /// An instance that is not there, named by the first that refers to it.
    fn dangling(&self, id: u64) -> Error {
        let text = format!("#{id}");
        let used = self.bytes.windows(text.len()).enumerate().position(|(at, window)| {
            window == text.as_bytes()
                && !self.bytes.get(at + text.len()).is_some_and(u8::is_ascii_digit)
        });
        let used = used.unwrap_or_default();
        let before = self.places.iter().filter(|(_, at)| *at <= used);
        let holder = before.max_by_key(|(_, at)| *at);
        let place = match holder {
            Some((holder, at)) => {
                let mut lexer = Lexer { bytes: self.bytes, at: *at };
                let name = parse_record(&mut lexer, *holder).map(|r| r.name());
                format!("#{holder}={}, line {}", name.unwrap_or_default(), self.line(used))
            }
            None => format!("line {}", self.line(used)),
        };
        let allowed = "each reference names an instance of the file; export the part again";
        Error::format(self.path, place, format!("no instance #{id}"), allowed)
    }

    /// Bounds the work of a file whose instances multiply each other, far over what sharing needs.
    fn count(&self, bytes: u64) -> Result<()> {
        let (records, before) = self.parsed.get();
        let (records, bytes) = (records + 1, before + bytes);
        self.parsed.set((records, bytes));
        let most_records = 16 * self.places.len() as u64 + RECORDS_BESIDES;
        let most_bytes = 4 * self.bytes.len() as u64 + BYTES_BESIDES;
        let over = |what: &str, found, limit| Error::Limit { what: what.into(), found, limit };
        if records > most_records {
            return Err(over("uses of the file's instances", records, most_records));
        }
        if bytes > most_bytes {
            return Err(over("bytes of instances read again", bytes, most_bytes));
        }
        Ok(())
    }

    /// `#12=CIRCLE, line 40`.
    pub(super) fn place(&self, id: u64, name: &str) -> String {
        let line = self.at(id).map_or(0, |at| self.line(at));
        format!("#{id}={name}, line {line}")
    }

    fn broken(&self, fault: &Fault) -> Error {
        Error::format(
            self.path,
            format!("line {}", self.line(fault.at)),
            &fault.found,
            fault.allowed,
        )
    }

    fn line(&self, at: usize) -> usize {
        let before = &self.bytes[..at.min(self.bytes.len())];
        1 + before.iter().filter(|b| **b == b'\n').count()
    }

    fn scan_header(&mut self, lexer: &mut Lexer<'a>) -> std::result::Result<(), Fault> {
        if self.bytes.starts_with(BYTE_ORDER_MARK) {
            lexer.at = BYTE_ORDER_MARK.len();
        }
        let start = lexer.clone();
        if lexer.next().ok() != Some(Token::Keyword("ISO-10303-21")) {
            return Err(start.fault("ISO-10303-21; at the start"));
        }
        loop {
            match lexer.next()? {
                Token::Keyword("DATA") => return lexer.skip_statement(|_| ()),
                Token::Keyword("FILE_SCHEMA") => {
                    while !matches!(lexer.next()?, Token::Text(_) | Token::Semicolon | Token::End) {
                    }
                    self.schema = schema_text(lexer);
                }
                Token::End => return Err(lexer.fault("a DATA section")),
                _ => (),
            }
        }
    }

    fn scan_data(&mut self, lexer: &mut Lexer<'a>, wanted: &[&'static str]) -> Result<()> {
        loop {
            let before = lexer.clone();
            match lexer.next().map_err(|f| self.broken(&f))? {
                Token::Reference(id) => self.scan_instance(lexer, id, wanted)?,
                Token::Keyword("ENDSEC" | "DATA" | "END-ISO-10303-21") => {
                    lexer.skip_statement(|_| ()).map_err(|f| self.broken(&f))?;
                }
                // What follows the end is a signature or the next file of a chain.
                Token::End if self.places.is_empty() => {
                    return Err(self.broken(&lexer.fault("instances in the DATA section")));
                }
                Token::End => return Ok(()),
                _ => return Err(self.broken(&before.fault("an instance #n=TYPE(...); or ENDSEC;"))),
            }
        }
    }

    fn scan_instance(
        &mut self,
        lexer: &mut Lexer<'a>,
        id: u64,
        wanted: &[&'static str],
    ) -> Result<()> {
        let equals = lexer.clone();
        if lexer.next().map_err(|f| self.broken(&f))? != Token::Equals {
            return Err(self.broken(&equals.fault("= after the instance number")));
        }
        let start = lexer.at;
        let simple = match lexer.clone().next() {
            Ok(Token::Keyword(name)) => Some(name),
            _ => None,
        };
        let mut note = |name: &str| {
            if let Some(known) = wanted.iter().find(|w| **w == name) {
                let ids = self.kinds.entry(known).or_default();
                if ids.last() != Some(&id) {
                    ids.push(id);
                }
            }
        };
        simple.into_iter().for_each(&mut note);
        let complex = simple.is_none();
        lexer
            .skip_statement(|name| {
                if complex {
                    note(name)
                }
            })
            .map_err(|f| self.broken(&f))?;
        if self.places.len() as u64 >= MOST_INSTANCES {
            let what = "instances of the file".into();
            return Err(Error::Limit { what, found: MOST_INSTANCES + 1, limit: MOST_INSTANCES });
        }
        self.places.push((id, start));
        Ok(())
    }

    /// Sorts the instances by number; each may stand once.
    fn sort(&mut self) -> Result<()> {
        if !self.places.is_sorted() {
            self.places.sort_unstable();
        }
        let twice = self.places.windows(2).find(|pair| pair[0].0 == pair[1].0);
        let Some([(id, earlier), (_, later)]) = twice else { return Ok(()) };
        Err(Error::format(
            self.path,
            format!("line {}", self.line(*later)),
            format!("#{id} again, first on line {}", self.line(*earlier)),
            "each instance number once",
        ))
    }

    fn at(&self, id: u64) -> Option<usize> {
        let index = self.places.binary_search_by_key(&id, |(id, _)| *id).ok()?;
        Some(self.places[index].1)
    }
}

fn schema_text(lexer: &Lexer<'_>) -> String {
    // The lexer stands behind the closing apostrophe of the first text.
    let before = &lexer.bytes[..lexer.at.saturating_sub(1)];
    let start = before.iter().rposition(|b| *b == b'\'').map_or(before.len(), |at| at + 1);
    String::from_utf8_lossy(&before[start..]).trim().to_owned()
}

fn parse_record<'a>(lexer: &mut Lexer<'a>, id: u64) -> std::result::Result<Record<'a>, Fault> {
    let start = lexer.clone();
    let mut parts = Vec::new();
    let mut left = MOST_VALUES;
    match lexer.next()? {
        Token::Keyword(name) => parts.push((name, arguments(lexer, &mut left)?)),
        Token::Open => loop {
            match lexer.next()? {
                Token::Keyword(name) => parts.push((name, arguments(lexer, &mut left)?)),
                Token::Close => break,
                _ => return Err(start.fault("a list of TYPE(...) in parentheses")),
            }
        },
        _ => return Err(start.fault("TYPE(...)")),
    }
    Ok(Record { id, parts })
}

fn arguments<'a>(
    lexer: &mut Lexer<'a>,
    left: &mut usize,
) -> std::result::Result<Vec<Value<'a>>, Fault> {
    let start = lexer.clone();
    *left = left.checked_sub(1).ok_or_else(|| start.fault(TOO_MANY_VALUES))?;
    if lexer.next()? != Token::Open {
        return Err(start.fault("( after the type"));
    }
    list(lexer, 0, left)
}

/// Values up to the closing parenthesis, of which `left` are allowed; the opening one is read.
fn list<'a>(
    lexer: &mut Lexer<'a>,
    depth: usize,
    left: &mut usize,
) -> std::result::Result<Vec<Value<'a>>, Fault> {
    if depth > DEEPEST_LIST {
        return Err(lexer.fault("lists nested at most 16 deep"));
    }
    let mut values = Vec::new();
    let mut expects_value = true;
    loop {
        let before = lexer.clone();
        let token = lexer.next()?;
        match token {
            Token::Close if values.is_empty() || !expects_value => return Ok(values),
            Token::Comma if !expects_value => expects_value = true,
            _ if expects_value => {
                *left = left.checked_sub(1).ok_or_else(|| before.fault(TOO_MANY_VALUES))?;
                let value = value(lexer, token, depth, left)?;
                values.push(value.ok_or_else(|| before.fault("a value"))?);
                expects_value = false;
            }
            _ => return Err(before.fault(", or )")),
        }
    }
}

fn value<'a>(
    lexer: &mut Lexer<'a>,
    token: Token<'a>,
    depth: usize,
    left: &mut usize,
) -> std::result::Result<Option<Value<'a>>, Fault> {
    Ok(Some(match token {
        Token::Reference(id) => Value::Reference(id),
        Token::Text(text) => Value::Text(text),
        Token::Number(number) => Value::Number(number),
        Token::Enumeration(name) => Value::Enumeration(name),
        Token::Missing | Token::Binary => Value::Missing,
        Token::Derived => Value::Derived,
        Token::Open => Value::List(list(lexer, depth + 1, left)?),
        Token::Keyword(_) => {
            let before = lexer.clone();
            if lexer.next()? != Token::Open {
                return Err(before.fault("( after the type of a value"));
            }
            Value::Typed(list(lexer, depth + 1, left)?)
        }
        _ => return Ok(None),
    }))
}

const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";
const RECORDS_BESIDES: u64 = 1_000_000;
const BYTES_BESIDES: u64 = 256 << 20;
const DEEPEST_LIST: usize = 16;
const MOST_INSTANCES: u64 = 20_000_000;
/// Of one instance: ten times the largest net of control points that is read.
const MOST_VALUES: usize = 2_000_000;
const TOO_MANY_VALUES: &str = "2 million values in one instance; export the part as a mesh instead";
