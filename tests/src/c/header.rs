//! Making `include/fitwright.h` of the source of `ffi/`.

use super::root;

/// The header as the source says it, with a headline before each group of functions.
///
/// # Panics
/// If cbindgen cannot read the source.
#[must_use]
pub fn generate() -> String {
    let source = root().join("ffi");
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
