//! The binary interface as text, read from the header, and what may change of it.
//!
//! Only what the headers' generator writes is understood: defines, structs of plain fields and pointers to
//! functions, opaque structs, callback types, prototypes. Layout by the rules of every 64-bit C ABI: natural alignment.

use std::collections::BTreeMap;
use std::fmt::Write as _;

/// How the names of the constants end that hold the version.
const MAJOR: &str = "_MAJOR";
const MINOR: &str = "_MINOR";

/// The binary interface that a header describes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Abi {
    /// `FITW_…_MAJOR`, `FITW_…_MINOR`.
    pub version: (u32, u32),
    /// Values of constants: whole numbers, or texts in quotation marks.
    pub constants: BTreeMap<String, String>,
    /// Aliases of plain types.
    pub aliases: BTreeMap<String, String>,
    /// Opaque types.
    pub handles: Vec<String>,
    /// Public structs.
    pub structs: BTreeMap<String, Struct>,
    /// Types of callbacks.
    pub callbacks: BTreeMap<String, String>,
    /// Prototypes by name.
    pub functions: BTreeMap<String, String>,
}

/// Layout of a struct.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Struct {
    /// Bytes.
    pub size: usize,
    /// Alignment, bytes.
    pub align: usize,
    /// Fields in order.
    pub fields: Vec<Field>,
}

impl Struct {
    fn add(&mut self, name: &str, kind: String, (size, align): (usize, usize), count: usize) {
        let (offset, size) = (self.size.next_multiple_of(align), size * count);
        self.fields.push(Field { name: name.to_owned(), kind, offset, size });
        self.size = offset + size;
        self.align = self.align.max(align);
    }
}

/// A field of a struct.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    /// Name.
    pub name: String,
    /// Type as the header writes it, arrays with their length.
    pub kind: String,
    /// Bytes from the struct's start.
    pub offset: usize,
    /// Bytes.
    pub size: usize,
}

impl Abi {
    /// Reads a header.
    ///
    /// # Errors
    /// What was not understood.
    pub fn read(header: &str) -> Result<Self, String> {
        let mut abi = Abi::default();
        let text = without_comments(header);
        let mut code = String::new();
        for line in text.lines() {
            match line.trim().strip_prefix("#define FITW_") {
                Some(define) => abi.define(define)?,
                None if line.trim_start().starts_with('#') => {}
                None => {
                    code.push_str(line.split("//").next().unwrap_or(""));
                    code.push(' ');
                }
            }
        }
        let code = code.replace("extern \"C\" {", " ");
        for item in items(&code) {
            abi.item(item)?;
        }
        let number = |end: &str| {
            let mut found = abi.constants.iter().filter(|(name, _)| name.ends_with(end));
            found.next().and_then(|(_, value)| value.parse().ok())
        };
        abi.version =
            number(MAJOR).zip(number(MINOR)).ok_or("no constants that end in _MAJOR and _MINOR")?;
        Ok(abi)
    }

    fn define(&mut self, define: &str) -> Result<(), String> {
        let (name, value) = define.split_once(' ').unwrap_or((define, ""));
        // Conveniences of the source text, which no compiled program depends on.
        let convenience = ["NUL", "ZERO", "PLUGIN_EXPORT", "PLUGIN_VERSION", "PLUGIN_OLDEST"];
        if convenience.contains(&name) || name.contains('(') {
            return Ok(());
        }
        let value = value.trim();
        let text = value.len() > 2 && value.starts_with('"') && value.ends_with('"');
        if !text && value.parse::<i64>().is_err() {
            return Err(format!("value of FITW_{define}"));
        }
        self.constants.insert(format!("FITW_{name}"), value.to_owned());
        Ok(())
    }

    fn item(&mut self, item: &str) -> Result<(), String> {
        let words = item.split_whitespace().collect::<Vec<_>>().join(" ");
        let unknown = || format!("not understood: {words}");
        if let Some(rest) = words.strip_prefix("typedef struct") {
            let Some((_, body)) = rest.split_once('{') else {
                self.handles.push(rest.rsplit(' ').next().ok_or_else(unknown)?.to_owned());
                return Ok(());
            };
            let (fields, name) = body.rsplit_once('}').ok_or_else(unknown)?;
            let layout = self.layout(fields)?;
            self.structs.insert(name.trim().to_owned(), layout);
        } else if let Some(rest) = words.strip_prefix("typedef ") {
            match rest.split_once("(*") {
                Some((result, rest)) => {
                    let (name, arguments) = rest.split_once(')').ok_or_else(unknown)?;
                    let kind = format!("{} {}", result.trim(), arguments.trim());
                    self.callbacks.insert(name.to_owned(), kind);
                }
                None => {
                    let (kind, name) = rest.rsplit_once(' ').ok_or_else(unknown)?;
                    self.aliases.insert(name.to_owned(), kind.to_owned());
                }
            }
        } else if words.contains('(') {
            let (front, arguments) = words.split_once('(').ok_or_else(unknown)?;
            let (result, name) = front.trim().rsplit_once(' ').ok_or_else(unknown)?;
            let result = result.trim_start_matches("FITW_PLUGIN_EXPORT ");
            self.functions.insert(name.to_owned(), format!("{result} ({}", arguments.trim()));
        } else if !words.is_empty() && words != "}" {
            return Err(unknown());
        }
        Ok(())
    }

    fn layout(&self, fields: &str) -> Result<Struct, String> {
        let mut out = Struct { size: 0, align: 1, fields: Vec::new() };
        for field in fields.split(';').map(str::trim).filter(|f| !f.is_empty()) {
            if let Some((result, rest)) = field.split_once("(*") {
                let (name, arguments) = rest.split_once(')').ok_or_else(|| field.to_owned())?;
                let kind = format!("{} (*){arguments}", result.trim());
                out.add(name, kind, (8, 8), 1);
                continue;
            }
            let (front, count) = match field.split_once('[') {
                Some((front, count)) => {
                    let count = count.trim_end_matches(']').parse::<usize>();
                    (front, Some(count.map_err(|_| format!("array length in {field}"))?))
                }
                None => (field, None),
            };
            let at = front.rfind([' ', '*']).ok_or_else(|| format!("field {field}"))? + 1;
            let (kind, name) = (front[..at].trim(), front[at..].trim());
            let shown = count.map_or_else(|| kind.to_owned(), |n| format!("{kind} [{n}]"));
            out.add(name, shown, self.size_of(kind)?, count.unwrap_or(1));
        }
        out.size = out.size.next_multiple_of(out.align);
        Ok(out)
    }

    fn size_of(&self, kind: &str) -> Result<(usize, usize), String> {
        let plain = kind.trim_start_matches("const ").trim_start_matches("struct ");
        if plain.ends_with('*') || self.callbacks.contains_key(plain) {
            return Ok((8, 8));
        }
        if let Some(alias) = self.aliases.get(plain) {
            return self.size_of(alias);
        }
        Ok(match plain {
            "int32_t" | "uint32_t" => (4, 4),
            "int64_t" | "uint64_t" | "size_t" | "double" => (8, 8),
            other => {
                let inner = self.structs.get(other).ok_or_else(|| format!("type {other}"))?;
                (inner.size, inner.align)
            }
        })
    }

    /// The description that is committed.
    #[must_use]
    pub fn describe(&self) -> String {
        let mut out = format!("abi {}.{}\n", self.version.0, self.version.1);
        let mut line = |text: String| {
            let _ = writeln!(out, "{text}");
        };
        for (name, value) in &self.constants {
            line(format!("constant {name} {value}"));
        }
        for (name, kind) in &self.aliases {
            line(format!("alias {name} {kind}"));
        }
        let mut handles = self.handles.clone();
        handles.sort();
        handles.iter().for_each(|name| line(format!("handle {name}")));
        for (name, kind) in &self.callbacks {
            line(format!("callback {name} {kind}"));
        }
        for (name, s) in &self.structs {
            line(format!("struct {name} size {} align {}", s.size, s.align));
            for f in &s.fields {
                line(format!("  {} {} {} : {}", f.offset, f.size, f.name, f.kind));
            }
        }
        for (name, kind) in &self.functions {
            line(format!("function {name} {kind}"));
        }
        out
    }
}

/// What a new interface does to those who were compiled against an old one.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Change {
    /// What no longer is as it was; empty if all that worked works.
    pub broken: Vec<String>,
    /// What is new.
    pub added: Vec<String>,
}

impl Change {
    /// Compares two descriptions (see [`Abi::describe`]).
    #[must_use]
    pub fn between(old: &str, new: &str) -> Self {
        let (old, new) = (Items::read(old), Items::read(new));
        let mut change = Change::default();
        for (name, was) in &old.0 {
            match new.0.get(name) {
                None => change.broken.push(format!("removed: {name}")),
                Some(is) if is == was => {}
                Some(is) if grown(was, is) => change.added.push(format!("grown: {name}")),
                Some(is) => {
                    change.broken.push(format!("changed: {name}\n  was {was:?}\n  is  {is:?}"))
                }
            }
        }
        let added = new.0.keys().filter(|name| !old.0.contains_key(*name));
        change.added.extend(added.map(|name| format!("added: {name}")));
        change
    }

    /// Why a version may not follow another with this change; `None` if it may.
    #[must_use]
    pub fn refusal(&self, old: (u32, u32), new: (u32, u32)) -> Option<String> {
        if new.0 != old.0 {
            let fine = new.0 == old.0 + 1 && new.1 == 0;
            return (!fine).then(|| format!("{old:?} is followed by {new:?}"));
        }
        if new.1 < old.1 {
            return Some(format!("the minor version fell from {} to {}", old.1, new.1));
        }
        if !self.broken.is_empty() {
            return Some(format!("raise the major number, or undo:\n{}", self.broken.join("\n")));
        }
        if !self.added.is_empty() && new.1 == old.1 {
            return Some(format!("raise the minor number for:\n{}", self.added.join("\n")));
        }
        None
    }
}

/// Version that a description begins with.
#[must_use]
pub fn version_of(description: &str) -> Option<(u32, u32)> {
    let (major, minor) = description.lines().next()?.strip_prefix("abi ")?.split_once('.')?;
    Some((major.parse().ok()?, minor.parse().ok()?))
}

/// Lines of a description by "kind name"; a struct has its fields after its head.
struct Items(BTreeMap<String, Vec<String>>);

impl Items {
    fn read(description: &str) -> Self {
        let mut items: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let mut last = String::new();
        for line in description.lines().skip(1) {
            if line.starts_with(' ') {
                items.entry(last.clone()).or_default().push(line.to_owned());
                continue;
            }
            let mut words = line.splitn(3, ' ');
            last = format!("{} {}", words.next().unwrap_or(""), words.next().unwrap_or(""));
            items.insert(last.clone(), vec![words.next().unwrap_or("").to_owned()]);
        }
        items.retain(|name, _| !(name.ends_with(MAJOR) || name.ends_with(MINOR)));
        Items(items)
    }
}

/// Whether a struct only got fields at its end, and says its size itself.
fn grown(was: &[String], is: &[String]) -> bool {
    let sized = was.get(1).is_some_and(|f| f.contains(" struct_size : "));
    let align = |head: &str| head.rsplit(' ').next().map(str::to_owned);
    sized && is.len() > was.len() && is[1..was.len()] == was[1..] && align(&was[0]) == align(&is[0])
}

fn without_comments(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once("/*") {
        out.push_str(before);
        rest = after.split_once("*/").map_or("", |(_, after)| after);
    }
    out.push_str(rest);
    out
}

/// Items up to their `;` outside braces.
fn items(code: &str) -> Vec<&str> {
    let (mut all, mut depth, mut start) = (Vec::new(), 0usize, 0);
    for (at, c) in code.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth = depth.saturating_sub(1),
            ';' if depth == 0 => {
                all.push(code[start..at].trim());
                start = at + 1;
            }
            _ => {}
        }
    }
    all.push(code[start..].trim());
    all
}
