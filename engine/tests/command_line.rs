//! The command line as a shell sees it: exit status, what is printed where, what is written.

use std::path::Path;
use std::process::{Command, Output};

fn fitwright(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fitwright"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the program starts")
}

fn status(output: &Output) -> i32 {
    output.status.code().expect("an exit status, not a signal")
}

fn error(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A flat scan of 21 by 21 points 1 mm apart, as text.
fn flat_scan(folder: &Path) {
    let rows = (0..21 * 21).map(|k| format!("{} {} 0.5\n", k % 21, k / 21));
    std::fs::write(folder.join("flat.xyz"), rows.collect::<String>()).expect("a written scan");
}

const HEAD: &str = "[job]\nname = \"flat\"\n[[scan]]\nname = \"a\"\nfile = \"flat.xyz\"\n";

fn job(folder: &Path, more: &str) {
    std::fs::write(folder.join("job.toml"), format!("{HEAD}{more}")).expect("a written job");
}

#[test]
fn usage_errors_are_64_and_help_is_none() {
    let folder = tempfile::tempdir().expect("a folder");
    assert_eq!(status(&fitwright(&["frob"], folder.path())), 64);
    assert_eq!(status(&fitwright(&["run"], folder.path())), 64);
    let help = fitwright(&["--help"], folder.path());
    assert_eq!(status(&help), 0);
    assert!(String::from_utf8_lossy(&help.stdout).contains("Exit status"));
}

#[test]
fn the_schema_is_json_on_standard_output() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = fitwright(&["schema"], folder.path());
    assert_eq!(status(&output), 0);
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(value["title"], "Job");
}

#[test]
fn missing_files_are_74_and_bad_ones_65_and_nothing_is_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let missing = fitwright(&["run", "none.toml"], folder.path());
    assert_eq!(status(&missing), 74);
    assert!(error(&missing).contains("none.toml"));
    job(folder.path(), "");
    let no_scan = fitwright(&["run", "job.toml"], folder.path());
    assert_eq!(status(&no_scan), 74);
    assert!(error(&no_scan).contains("flat.xyz"));
    std::fs::write(folder.path().join("flat.xyz"), "0 0 0\n1 0 nan\n").expect("a written scan");
    let bad = fitwright(&["run", "job.toml"], folder.path());
    assert_eq!(status(&bad), 65);
    assert!(error(&bad).contains("line 2"), "{}", error(&bad));
    assert!(!folder.path().join("job.out").exists());
}

#[test]
fn a_plane_is_found_and_written_and_pipes_stay_quiet() {
    let folder = tempfile::tempdir().expect("a folder");
    flat_scan(folder.path());
    job(folder.path(), "[[feature]]\nname = \"top\"\nfit = \"plane\"\nregion = \"all\"\n");
    let output = fitwright(&["run", "job.toml", "--scan-machine"], folder.path());
    assert_eq!((status(&output), error(&output)), (0, String::new()));
    let out = folder.path().join("job.out");
    for name in ["result.json", "features.step", "report.html", "scan-machine.ply"] {
        assert!(out.join(name).is_file(), "{name}");
    }
    let text = std::fs::read(out.join("result.json")).expect("the result");
    let value: serde_json::Value = serde_json::from_slice(&text).expect("JSON");
    let point = &value["features"][0]["parameters"]["point"];
    assert!((point[2].as_f64().expect("a height") - 0.5).abs() < 1e-12);
    assert_eq!(std::fs::read_dir(&out).expect("the folder").count(), 4, "leftovers");
}

#[test]
fn a_pick_in_the_air_names_distance_and_limit() {
    let folder = tempfile::tempdir().expect("a folder");
    flat_scan(folder.path());
    job(folder.path(), "[[feature]]\nname = \"top\"\nfit = \"plane\"\nat = [10, 10, 90]\n");
    let output = fitwright(&["run", "job.toml"], folder.path());
    assert_eq!(status(&output), 65);
    let message = error(&output);
    assert!(message.contains("\"top\"") && message.contains("89.500 mm"), "{message}");
}

#[test]
fn results_do_not_depend_on_the_number_of_threads() {
    let folder = tempfile::tempdir().expect("a folder");
    flat_scan(folder.path());
    job(folder.path(), "[[feature]]\nname = \"top\"\nfit = \"plane\"\nat = [10, 10, 0.4]\n");
    let result = |threads: &str| {
        let arguments = ["run", "job.toml", "--out", threads, "--threads", threads];
        assert_eq!(status(&fitwright(&arguments, folder.path())), 0);
        std::fs::read(folder.path().join(threads).join("result.json")).expect("the result")
    };
    assert_eq!(result("1"), result("2"));
    assert_eq!(result("1"), result("8"));
}
