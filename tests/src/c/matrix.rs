//! What every compiler and standard must make of a header.

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use super::abi::Abi;
use super::build::{STRICT, compiler, succeeded};

/// Compiles a header of the folder `include`, by itself, in every standard of C and C++, without a warning.
///
/// # Panics
/// If one refuses: the compiler's words.
pub fn compiles_in_every_standard(header: &str, include: &Path) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("only.c");
    // Twice: the guard holds; and nothing else is included before it.
    let text =
        format!("#include <{header}>\n#include <{header}>\nint main(void) {{ return 0; }}\n");
    std::fs::write(&file, text).expect("a file");
    let languages = [
        ("CC", "cc", "c", &["c99", "c11", "c17"][..]),
        ("CXX", "c++", "c++", &["c++11", "c++14", "c++17", "c++20"][..]),
    ];
    for (variable, usual, language, standards) in languages {
        let Some(compiler) = compiler(variable, usual) else { continue };
        for standard in standards {
            let mut command = Command::new(&compiler);
            command.args(["-x", language, &format!("-std={standard}"), "-Wundef"]).args(STRICT);
            command.arg("-fsyntax-only").arg("-I").arg(include);
            succeeded(command.arg(&file));
        }
    }
}

/// Lets the compiler lay out every struct; the number of places and sizes compared.
///
/// # Panics
/// If one lies elsewhere than described, or has padding: what is copied between the two sides then has
/// undefined bytes.
#[must_use]
pub fn compiler_lays_out(header: &str, include: &Path, abi: &Abi) -> usize {
    let mut text = format!("#include <{header}>\n");
    let mut asserts = 0;
    for (name, s) in &abi.structs {
        let _ = writeln!(text, "_Static_assert(sizeof({name}) == {}, \"{name}\");", s.size);
        let _ = writeln!(text, "_Static_assert(_Alignof({name}) == {}, \"{name}\");", s.align);
        for f in &s.fields {
            let field = &f.name;
            let _ = writeln!(
                text,
                "_Static_assert(offsetof({name}, {field}) == {}, \"{name}.{field}\");\n\
                 _Static_assert(sizeof((({name} *)0)->{field}) == {}, \"{name}.{field}\");",
                f.offset, f.size
            );
            asserts += 2;
        }
        assert_eq!(s.fields.iter().map(|f| f.size).sum::<usize>(), s.size, "{name} has padding");
    }
    if let Some(cc) = compiler("CC", "cc") {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("layout.c");
        std::fs::write(&file, text).expect("a file");
        let mut command = Command::new(cc);
        succeeded(command.args(["-std=c11", "-fsyntax-only", "-I"]).arg(include).arg(file));
    }
    asserts
}
