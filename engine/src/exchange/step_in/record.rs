//! One parsed instance and typed access to its attributes, with errors that name entity and line.

use super::file::StepFile;
use crate::error::{Error, Result};

/// Value of an attribute.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value<'a> {
    Number(f64),
    Text(&'a [u8]),
    Enumeration(&'a str),
    Reference(u64),
    List(Vec<Value<'a>>),
    /// Value under a type of its own, `LENGTH_MEASURE(25.4)`.
    Typed(Vec<Value<'a>>),
    Missing,
    Derived,
}

/// One instance: a simple one has one part, a complex one several.
#[derive(Debug, Clone)]
pub(super) struct Record<'a> {
    pub id: u64,
    pub parts: Vec<(&'a str, Vec<Value<'a>>)>,
}

/// Attributes of one part of an instance.
#[derive(Clone, Copy)]
pub(super) struct Attributes<'r, 'a> {
    file: &'r StepFile<'a>,
    pub id: u64,
    pub name: &'a str,
    values: &'r [Value<'a>],
}

impl<'a> Record<'a> {
    /// Type of a simple instance, or all types of a complex one.
    pub(super) fn name(&self) -> String {
        self.parts.iter().map(|(name, _)| *name).collect::<Vec<_>>().join("+")
    }

    pub(super) fn is(&self, name: &str) -> bool {
        self.parts.iter().any(|(part, _)| *part == name)
    }

    /// Attributes of the part of this type.
    pub(super) fn part<'r>(
        &'r self,
        file: &'r StepFile<'a>,
        name: &str,
    ) -> Option<Attributes<'r, 'a>> {
        let (name, values) = self.parts.iter().find(|(part, _)| *part == name)?;
        Some(Attributes { file, id: self.id, name, values })
    }

    /// Attributes of the part of this type, which must be there.
    pub(super) fn expect<'r>(
        &'r self,
        file: &'r StepFile<'a>,
        name: &str,
    ) -> Result<Attributes<'r, 'a>> {
        self.part(file, name).ok_or_else(|| self.fault(file, self.name(), name))
    }

    /// Attributes of the first part: of a simple instance, all there are.
    pub(super) fn first<'r>(&'r self, file: &'r StepFile<'a>) -> Result<Attributes<'r, 'a>> {
        match self.parts.first() {
            Some((name, values)) => Ok(Attributes { file, id: self.id, name, values }),
            None => Err(self.fault(file, "an instance without a type", "#n=TYPE(...)")),
        }
    }

    pub(super) fn fault(
        &self,
        file: &StepFile<'_>,
        found: impl Into<String>,
        allowed: impl Into<String>,
    ) -> Error {
        Error::format(file.path(), file.place(self.id, &self.name()), found, allowed)
    }

    /// The instance is of a type that cannot be read here.
    pub(super) fn unsupported(&self, file: &StepFile<'_>, what: impl Into<String>) -> Error {
        Error::Unsupported {
            path: file.path().to_owned(),
            place: file.place(self.id, &self.name()),
            what: what.into(),
            remedy: REMEDY.into(),
        }
    }
}

impl<'r, 'a> Attributes<'r, 'a> {
    pub(super) fn number(&self, at: usize) -> Result<f64> {
        match self.get(at)? {
            Value::Number(number) => Ok(*number),
            Value::Typed(inner) => match inner.as_slice() {
                [Value::Number(number)] => Ok(*number),
                _ => Err(self.wrong(at, "a number")),
            },
            _ => Err(self.wrong(at, "a number")),
        }
    }

    /// A number over zero.
    pub(super) fn positive(&self, at: usize) -> Result<f64> {
        let number = self.number(at)?;
        if number > 0.0 { Ok(number) } else { Err(self.fault(at, number.to_string(), "over 0")) }
    }

    pub(super) fn reference(&self, at: usize) -> Result<u64> {
        match self.get(at)? {
            Value::Reference(id) => Ok(*id),
            _ => Err(self.wrong(at, "a reference")),
        }
    }

    /// A reference, or none for `$` and `*`.
    pub(super) fn optional_reference(&self, at: usize) -> Result<Option<u64>> {
        match self.values.get(at) {
            None | Some(Value::Missing | Value::Derived) => Ok(None),
            Some(_) => self.reference(at).map(Some),
        }
    }

    pub(super) fn len(&self) -> usize {
        self.values.len()
    }

    pub(super) fn is_missing(&self, at: usize) -> bool {
        matches!(self.values.get(at), None | Some(Value::Missing | Value::Derived))
    }

    pub(super) fn flag(&self, at: usize) -> Result<bool> {
        match self.get(at)? {
            Value::Enumeration("T") => Ok(true),
            Value::Enumeration("F") => Ok(false),
            _ => Err(self.wrong(at, ".T. or .F.")),
        }
    }

    pub(super) fn enumeration(&self, at: usize) -> Result<&'a str> {
        match self.get(at)? {
            Value::Enumeration(name) => Ok(name),
            _ => Err(self.wrong(at, "an enumeration value")),
        }
    }

    pub(super) fn list(&self, at: usize) -> Result<&'r [Value<'a>]> {
        match self.get(at)? {
            Value::List(values) => Ok(values),
            _ => Err(self.wrong(at, "a list")),
        }
    }

    pub(super) fn references(&self, at: usize) -> Result<Vec<u64>> {
        self.references_in(at, self.list(at)?)
    }

    /// A list of lists of references, row by row.
    pub(super) fn reference_rows(&self, at: usize) -> Result<Vec<Vec<u64>>> {
        let row = |value: &'r Value<'a>| match value {
            Value::List(values) => self.references_in(at, values),
            _ => Err(self.wrong(at, "a list of lists of references")),
        };
        self.list(at)?.iter().map(row).collect()
    }

    pub(super) fn numbers(&self, at: usize) -> Result<Vec<f64>> {
        self.numbers_in(at, self.list(at)?)
    }

    /// A list of lists of numbers, row by row.
    pub(super) fn number_rows(&self, at: usize) -> Result<Vec<Vec<f64>>> {
        let row = |value: &'r Value<'a>| match value {
            Value::List(values) => self.numbers_in(at, values),
            _ => Err(self.wrong(at, "a list of lists of numbers")),
        };
        self.list(at)?.iter().map(row).collect()
    }

    /// Whole number from 0 to 2^31.
    pub(super) fn count(&self, at: usize) -> Result<usize> {
        self.whole(at, self.number(at)?)
    }

    pub(super) fn counts(&self, at: usize) -> Result<Vec<usize>> {
        self.numbers(at)?.into_iter().map(|number| self.whole(at, number)).collect()
    }

    /// Error at attribute `at`, counted from 0 in the file's own order.
    pub(super) fn fault(&self, at: usize, found: impl Into<String>, allowed: &str) -> Error {
        let place = format!("{}, attribute {}", self.file.place(self.id, self.name), at + 1);
        Error::format(self.file.path(), place, found, allowed)
    }

    fn whole(&self, at: usize, number: f64) -> Result<usize> {
        if number >= 0.0 && number <= f64::from(i32::MAX) && number.fract() == 0.0 {
            Ok(number as usize)
        } else {
            Err(self.fault(at, number.to_string(), "a whole number, at least 0"))
        }
    }

    fn references_in(&self, at: usize, values: &[Value<'a>]) -> Result<Vec<u64>> {
        let one = |value: &Value<'a>| match value {
            Value::Reference(id) => Ok(*id),
            _ => Err(self.wrong(at, "a list of references")),
        };
        values.iter().map(one).collect()
    }

    fn numbers_in(&self, at: usize, values: &[Value<'a>]) -> Result<Vec<f64>> {
        let one = |value: &Value<'a>| match value {
            Value::Number(number) => Ok(*number),
            _ => Err(self.wrong(at, "a list of numbers")),
        };
        values.iter().map(one).collect()
    }

    fn get(&self, at: usize) -> Result<&'r Value<'a>> {
        self.values.get(at).ok_or_else(|| {
            self.fault(at, format!("{} attributes", self.values.len()), "an attribute here")
        })
    }

    fn wrong(&self, at: usize, allowed: &str) -> Error {
        let found = match self.values.get(at) {
            Some(Value::Number(number)) => number.to_string(),
            Some(Value::Text(_)) => "a text".into(),
            Some(Value::Enumeration(name)) => format!(".{name}."),
            Some(Value::Reference(id)) => format!("#{id}"),
            Some(Value::List(values)) => format!("a list of {}", values.len()),
            Some(Value::Typed(_)) => "a typed value".into(),
            Some(Value::Missing) => "$".into(),
            Some(Value::Derived) => "*".into(),
            None => "nothing".into(),
        };
        self.fault(at, found, allowed)
    }
}

const REMEDY: &str = "export the part as a mesh (STL, PLY or OBJ) and name that file instead";
