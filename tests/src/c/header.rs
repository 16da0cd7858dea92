//! Making the headers of `include/` of their source.

use std::path::PathBuf;

use super::abi::{Abi, Change, version_of};
use super::{root, writing};

/// A header, and the crate whose source says it.
#[derive(Debug, Clone, Copy)]
pub struct Header {
    name: &'static str,
    source: &'static str,
}

/// `fitwright.h`, the C interface.
pub const LIBRARY: Header = Header { name: "fitwright", source: "ffi" };
/// `fitwright_plugin.h`, what crosses between host and plug-in.
pub const PLUGIN: Header = Header { name: "fitwright_plugin", source: "plugins/abi" };

impl Header {
    /// The committed header.
    #[must_use]
    pub fn file(&self) -> PathBuf {
        root().join("include").join(self.name).with_extension("h")
    }

    /// The committed description of its binary interface.
    #[must_use]
    pub fn description(&self) -> PathBuf {
        root().join("include").join(self.name).with_extension("abi.txt")
    }

    /// The binary interface of the committed header.
    ///
    /// # Panics
    /// If it is missing or of an unknown form.
    #[must_use]
    pub fn abi(&self) -> Abi {
        let text = std::fs::read_to_string(self.file()).expect("the header");
        Abi::read(&text).expect("a header of the known form")
    }

    /// Compares header and description with the source, and the interface with the one that was committed
    /// before; writes both if [`writing`].
    ///
    /// # Panics
    /// If they differ or if something that worked would no longer: how to go on.
    pub fn check(&self, test: &str) {
        let how = format!("FITWRIGHT_WRITE=1 cargo test -p fitwright-tests --test {test}");
        let made = generate(self);
        if writing() {
            std::fs::write(self.file(), &made).expect("the header");
        }
        let stands = std::fs::read_to_string(self.file()).expect("the committed header");
        assert!(made == stands, "{} is not what the source says; {how}", self.name);
        let abi = Abi::read(&made).expect("a header of the known form");
        let described = abi.describe();
        let committed = || std::fs::read_to_string(self.description());
        if let Ok(old) = committed() {
            let was = version_of(&old).expect("a version");
            let refusal = Change::between(&old, &described).refusal(was, abi.version);
            assert_eq!(refusal, None, "the binary interface");
        }
        if writing() {
            std::fs::write(self.description(), &described).expect("the description");
        }
        let committed = committed().expect("the committed description");
        assert!(described == committed, "{}.abi.txt is not of this header; {how}", self.name);
    }
}

/// The header as the source says it, with a headline before each group of functions.
///
/// # Panics
/// If cbindgen cannot read the source.
#[must_use]
pub fn generate(header: &Header) -> String {
    let source = root().join(header.source);
    let config = cbindgen::Config::from_file(source.join("cbindgen.toml")).expect("cbindgen.toml");
    let bindings = cbindgen::Builder::new()
        .with_config(config)
        .with_src(source.join("src/lib.rs"))
        .generate()
        .expect("a source that cbindgen can read");
    let mut bytes = Vec::new();
    bindings.write(&mut bytes);
    headlines(&String::from_utf8(bytes).expect("UTF-8"))
}

/// "SCAN. Makes …" at the start of a comment becomes a headline and "Makes …".
fn headlines(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut lines = text.lines().peekable();
    while let Some(line) = lines.next() {
        let title = (line == "/**").then(|| lines.peek().and_then(|l| title_of(l))).flatten();
        match title {
            Some((title, rest)) => {
                let dashes = "-".repeat(100 - title.len());
                out.push_str(&format!("/* ---- {title} {dashes} */\n\n/**\n * {rest}\n"));
                lines.next();
            }
            None => {
                out.push_str(line);
                out.push('\n');
            }
        }
    }
    out
}

fn title_of(line: &str) -> Option<(&str, &str)> {
    let (title, rest) = line.strip_prefix(" * ")?.split_once(". ")?;
    let loud = title.len() > 2 && title.chars().all(|c| c.is_ascii_uppercase() || c == ' ');
    loud.then_some((title, rest))
}
