//! The engine's layers: a room uses only rooms before it, read off the `use` lines and paths.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The order of the house; rooms in one row may not use each other unless they are the same.
const ORDER: [&[&str]; 21] = [
    &["error"],
    &["units"],
    &["context"],
    &["files"],
    &["primitive"],
    &["numeric"],
    &["scan"],
    &["region"],
    &["associate"],
    &["plugin"],
    &["feature"],
    &["datum"],
    &["survey"],
    &["register"],
    &["exchange"],
    &["solid"],
    &["simulate"],
    &["fitcheck"],
    &["job"],
    &["report"],
    &["cli"],
];

#[test]
fn each_layer_uses_only_those_before_it() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../engine/src");
    let rank: BTreeMap<&str, usize> = ORDER
        .iter()
        .enumerate()
        .flat_map(|(k, row)| row.iter().map(move |room| (*room, k)))
        .collect();
    let files = rust_files(&source);
    assert!(files.len() > 20, "found only {} source files", files.len());
    let mut wrong = Vec::new();
    let mut uses = 0;
    for file in files {
        let relative = file.strip_prefix(&source).expect("a file under the source folder");
        let room = room_of(relative);
        if ["lib", "main", "bin"].contains(&room.as_str()) {
            continue;
        }
        let own =
            *rank.get(room.as_str()).unwrap_or_else(|| panic!("{room}: no place in the order"));
        let text = std::fs::read_to_string(&file).expect("a readable source file");
        for (number, line) in statements(&text) {
            for used in rooms_used(&line) {
                uses += 1;
                match rank.get(used.as_str()) {
                    Some(&other) if other <= own => {}
                    // What the crate's root gives under its own name is of the lowest layers.
                    None if ["Error", "Result", "Context"].contains(&used.as_str()) => {}
                    _ => wrong.push(format!(
                        "{}:{}: {room} uses {used}",
                        relative.display(),
                        number + 1
                    )),
                }
            }
        }
    }
    assert!(uses > 50, "found only {uses} uses: the test reads nothing");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_wrong_use_is_seen() {
    assert_eq!(rooms_used("use crate::job::Job;"), ["job"]);
    assert_eq!(rooms_used("use crate::{report, simulate::Demo};"), ["report", "simulate"]);
    assert_eq!(rooms_used("    crate::scan::Scan::read(path)"), ["scan"]);
    assert_eq!(rooms_used("use crate::{scan::{Scan, read}, job};"), ["scan", "job"]);
    assert!(rooms_used("//! see crate::job").is_empty());
}

/// Lines with their numbers, a `use` of several lines joined to one.
fn statements(text: &str) -> Vec<(usize, String)> {
    let mut all: Vec<(usize, String)> = Vec::new();
    let mut open = false;
    for (number, line) in text.lines().enumerate() {
        match all.last_mut() {
            Some((_, last)) if open => last.push_str(line),
            _ => all.push((number + 1, line.to_string())),
        }
        let code = line.trim_start();
        open = (open || code.starts_with("use ") || code.starts_with("pub use "))
            && !code.ends_with(';');
    }
    all
}

/// First names after `crate::` on a line of code.
fn rooms_used(line: &str) -> Vec<String> {
    let code = line.split("//").next().unwrap_or_default();
    let mut found = Vec::new();
    for rest in code.split("crate::").skip(1) {
        let names: Vec<&str> = match rest.strip_prefix('{') {
            Some(group) => top_level(group),
            None => vec![rest],
        };
        for name in names {
            let word: String =
                name.trim().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            if !word.is_empty() {
                found.push(word);
            }
        }
    }
    found
}

/// Items of a group, without what stands in groups inside it.
fn top_level(group: &str) -> Vec<&str> {
    let mut depth = 0;
    let mut items = Vec::new();
    let mut start = 0;
    for (k, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => {
                items.push(&group[start..k]);
                break;
            }
            '}' => depth -= 1,
            ',' if depth == 0 => {
                items.push(&group[start..k]);
                start = k + 1;
            }
            _ => {}
        }
    }
    items
}

fn room_of(relative: &Path) -> String {
    let first = relative.components().next().expect("a path is not empty");
    first.as_os_str().to_string_lossy().trim_end_matches(".rs").to_string()
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("a readable entry").path();
        if path.is_dir() {
            all.extend(rust_files(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            all.push(path);
        }
    }
    all.sort();
    all
}
