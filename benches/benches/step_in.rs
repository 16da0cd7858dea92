//! Seconds to read each reference STEP part to a mesh at a chord error of 0.01 mm.
//!
//! All parts of `tests/data/parts`, and those of `shared/exchange/parts` beside the checkout when
//! they are there. Beside each time stands the reference: the same file read as plain bytes.

use std::path::{Path, PathBuf};
use std::time::Instant;

use fitwright::exchange::{Part, PartOptions};

fn main() {
    let options = PartOptions { chord_error_mm: 0.01, ..PartOptions::default() };
    let mut slowest = (0.0, String::new());
    println!("{:40} {:>9} {:>11} {:>10}", "part", "seconds", "bytes only", "triangles");
    for path in parts() {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let bytes = seconds(|| std::fs::read(&path).map(|b| b.len()).unwrap_or_default()).0;
        let (time, part) = seconds(|| Part::read(&path, &options));
        match part {
            Ok(part) => println!("{name:40} {time:9.4} {bytes:11.6} {:10}", part.triangles.len()),
            Err(error) => println!("{name:40} {time:9.4} {bytes:11.6} {error}"),
        }
        if time > slowest.0 {
            slowest = (time, name);
        }
    }
    println!("slowest: {} in {:.3} s", slowest.1, slowest.0);
}

/// The best of three runs, and the last one's result.
fn seconds<T>(run: impl Fn() -> T) -> (f64, T) {
    let timed = || {
        let start = Instant::now();
        let result = run();
        (start.elapsed().as_secs_f64(), result)
    };
    let before = timed().0.min(timed().0);
    let (last, result) = timed();
    (before.min(last), result)
}

fn parts() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let shared = root.join("../../shared/exchange/parts");
    let folders = [root.join("../tests/data/parts"), shared.join("nist"), shared];
    let mut found: Vec<PathBuf> = folders
        .iter()
        .filter_map(|folder| std::fs::read_dir(folder).ok())
        .flatten()
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| {
            let extension = path.extension().unwrap_or_default().to_ascii_lowercase();
            extension == "step" || extension == "stp"
        })
        .collect();
    found.sort_by_key(|path| path.file_name().map(ToOwned::to_owned));
    found.dedup_by_key(|path| path.file_name().map(ToOwned::to_owned));
    found
}
