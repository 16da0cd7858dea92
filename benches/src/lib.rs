//! Runs programs on general-purpose libraries beside the engine, in the same run of a benchmark: ratios last where
//! seconds of one machine do not.
//!
//! The programs are in `benches/python` (for the Python that `FITWRIGHT_PYTHON` names, with what
//! `benches/python/requirements.txt` lists) and `benches/cpp` (for `c++`, with Debian's `libcgal-dev`).
#![forbid(unsafe_code)]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

/// Runs a script of `benches/python` and reads the JSON that it prints.
///
/// # Errors
/// What is missing, or what the script complained of.
pub fn python(script: &str, arguments: &[&Path]) -> Result<serde_json::Value, String> {
    let python = std::env::var("FITWRIGHT_PYTHON").map_err(|_| {
        "FITWRIGHT_PYTHON is not set (needs what benches/python/requirements.txt lists)".to_owned()
    })?;
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python").join(script);
    read(Command::new(python).arg(script).args(arguments))
}

/// Builds a program of `benches/cpp` into `folder`, runs it and reads the JSON that it prints.
///
/// # Errors
/// What is missing, or what compiler or program complained of.
pub fn cpp(source: &str, folder: &Path, arguments: &[&Path]) -> Result<serde_json::Value, String> {
    let program: PathBuf = folder.join(source).with_extension("program");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("cpp").join(source);
    let mut build = Command::new("c++");
    build.args(["-std=c++17", "-O3", "-DNDEBUG"]).arg(source).arg("-o").arg(&program);
    output(build.args(["-lgmp", "-lmpfr"]))?;
    read(Command::new(program).args(arguments))
}

fn read(command: &mut Command) -> Result<serde_json::Value, String> {
    let text = output(command)?;
    serde_json::from_str(text.lines().last().unwrap_or_default())
        .map_err(|e| format!("{e}: {text}"))
}

fn output(command: &mut Command) -> Result<String, String> {
    let run = command.output().map_err(|e| format!("{:?}: {e}", command.get_program()))?;
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    if run.status.success() {
        Ok(text(&run.stdout))
    } else {
        let said = text(&run.stderr);
        Err(said.lines().last().unwrap_or("failed").to_owned())
    }
}

/// Median of the seconds of some runs, the first left out, and the last answer.
pub fn median_seconds<T>(runs: usize, mut ask: impl FnMut() -> T) -> (f64, T) {
    let mut answer = ask();
    let mut seconds = Vec::new();
    for _ in 0..runs.max(1) {
        let start = Instant::now();
        answer = ask();
        seconds.push(start.elapsed().as_secs_f64());
    }
    seconds.sort_by(f64::total_cmp);
    (seconds[seconds.len() / 2], answer)
}
