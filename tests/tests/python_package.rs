//! The Python package: its own tests, and the README's example, in an environment that it is installed in.

use std::process::Command;

use fitwright::simulate;
use fitwright_tests::c::build::succeeded;
use fitwright_tests::c::plugins::{put_plugins, worker};
use fitwright_tests::c::root;
use fitwright_tests::package::python;

#[test]
fn the_package_passes_its_tests() {
    let Some(python) = python() else { return };
    let plugins = tempfile::tempdir().expect("a folder");
    put_plugins(plugins.path());
    let mut command = Command::new(python);
    command.args(["-B", "-m", "unittest", "discover"]).current_dir(root().join("ffi/python/tests"));
    command.env("FITWRIGHT_TEST_PLUGINS", plugins.path()).env("FITWRIGHT_TEST_WORKER", worker());
    let out = succeeded(&mut command);
    // "Ran 51 tests in …": of the lines that unittest ends with.
    let text = String::from_utf8_lossy(&out.stderr).into_owned();
    let ran = text.lines().find_map(|l| l.strip_prefix("Ran ")?.split(' ').next()?.parse().ok());
    assert!(ran.is_some_and(|n: usize| n >= 50), "{text}");
    assert!(!text.contains("skipped"), "{text}");
    println!("{text}");
}

#[test]
fn the_program_of_the_readme_runs_as_printed() {
    let Some(python) = python() else { return };
    let readme = std::fs::read_to_string(root().join("README.md")).expect("the README");
    let (_, rest) = readme.split_once("<!-- python-example -->\n```python\n").expect("the example");
    let (text, _) = rest.split_once("```").expect("its end");
    let folder = tempfile::tempdir().expect("a folder");
    simulate::write_demo(folder.path().join("fitwright-demo")).expect("the demo's files");
    let mut command = Command::new(python);
    let out = succeeded(command.args(["-c", text]).current_dir(folder.path()));
    let out = String::from_utf8_lossy(&out.stdout).into_owned();
    // The demo's lube filter has a radius of 38 mm; one bolt hole of its bracket is 1.5 mm off.
    let words: Vec<&str> = out.split_whitespace().collect();
    let [_, radius, _, _, uncertainty, ..] = words[..] else { panic!("{out}") };
    let number = |word: &str| word.parse::<f64>().expect("a number");
    assert!((number(radius) - 38.0).abs() < 2.0 * number(uncertainty), "{out}");
    assert!(number(uncertainty) < 0.01, "{out}");
    assert!(out.contains("fail") && out.contains("hole B"), "{out}");
    let step = std::fs::read_to_string(folder.path().join("filter.step")).expect("the STEP file");
    assert!(step.contains("'lube filter'"));
}
