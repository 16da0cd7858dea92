//! The command line as a user has it: what it prints, what it writes, and its exit status.

use std::path::Path;
use std::process::{Command, Output};

use fitwright_tests::c::build::library_of;
use fitwright_tests::plugins;

fn fitwright(arguments: &[&str]) -> Output {
    let program = library_of("fitwright").join("fitwright");
    Command::new(program).args(arguments).output().expect("the program runs")
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a path in UTF-8")
}

/// Two programs are built: `cargo run` must know which is meant.
#[test]
fn cargo_run_means_the_command_line() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut command = Command::new(env!("CARGO"));
    let out = command.args(["metadata", "--format-version", "1", "--no-deps", "--locked"]);
    let out = out.current_dir(root).output().expect("cargo runs");
    let about: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let packages = about["packages"].as_array().expect("packages");
    let engine = packages.iter().find(|p| p["name"] == "fitwright").expect("the engine");
    assert_eq!(engine["default_run"], "fitwright");
}

/// A STEP part as every mesh format, and its own volume back.
#[test]
fn convert_writes_what_it_read() {
    let folder = tempfile::tempdir().expect("a folder");
    let part = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/parts/p08_two_solids.step");
    for format in ["ply", "stl", "obj", "glb", "3mf"] {
        let to = folder.path().join("two").with_extension(format);
        let out = fitwright(&["convert", text(&part), text(&to)]);
        assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
        assert!(String::from_utf8_lossy(&out.stdout).contains("2 solids"));
        let again = folder.path().join("again.stl");
        assert_eq!(fitwright(&["convert", text(&to), text(&again)]).status.code(), Some(0));
        let options = fitwright::exchange::PartOptions::default();
        let part = fitwright::exchange::Part::read(&again, &options).expect("a part");
        assert_eq!((part.solids, part.closed()), (2, Ok(())), "{format}");
    }
    // By the importer of a plug-in: a cube, whatever the file holds.
    let plugins = folder.path().join("plugins");
    std::fs::create_dir(&plugins).expect("a folder");
    if let Some(plugin) = plugins::cube_plugin("honest", |manifest| manifest, &plugins) {
        let (from, to) = (folder.path().join("a.cube"), folder.path().join("cube.3mf"));
        std::fs::write(&from, "cube").expect("a file");
        let by = ["--reader", "hostile.honest-cube", "--plugins", text(&plugin)];
        let out = fitwright(&[&["convert", text(&from), text(&to)], &by[..]].concat());
        assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
        assert!(String::from_utf8_lossy(&out.stdout).contains("12 triangles"));
    }
    // Usage, bad input, input and output: each its own exit status, with the reason.
    let other = folder.path().join("two.dxf");
    for (arguments, status, said) in [
        (vec!["convert", text(&part)], 64, "Usage"),
        (vec!["convert", text(&part), text(&other)], 65, "ply, stl, obj, glb, 3mf"),
        (vec!["convert", "none.stl", "none.ply"], 74, "none.stl"),
        (vec!["convert", text(&part), "a.ply", "--unit", "furlong"], 65, "mm, cm, m, in"),
    ] {
        let out = fitwright(&arguments);
        assert_eq!(out.status.code(), Some(status), "{arguments:?}");
        let error = String::from_utf8_lossy(&out.stderr).into_owned();
        assert!(error.contains(said), "{error}");
    }
}

/// `plugins check` fails for a plug-in that breaks a rule, and passes for one that breaks none.
#[test]
fn plugins_check_tells_by_its_status() {
    let folder = tempfile::tempdir().expect("a folder");
    let good = plugins::built_here("fitwright-stud", "plugins/stud", folder.path());
    let out = fitwright(&["plugins", "check", text(&good)]);
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(said.contains("passed") && !said.contains("FAILED"), "{said}");
    let Some(bad) = plugins::hostile("nan-number", folder.path()) else { return };
    let out = fitwright(&["plugins", "check", text(&bad)]);
    assert_eq!(out.status.code(), Some(1), "{}", String::from_utf8_lossy(&out.stderr));
    assert!(String::from_utf8_lossy(&out.stdout).contains("FAILED"));
}

/// A hole as the largest pin enters it: `result.json` says so, and names the points that decide.
#[test]
fn the_criterion_and_its_contacts_stand_in_the_result() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut points = String::new();
    // A bore of three lobes, 10 mm deep: the pin touches the three narrow places, at 4.95.
    for i in 0..360 {
        for j in 0..11 {
            let angle = f64::from(i).to_radians();
            let radius = 5.0 - 0.05 * (3.0 * angle).cos();
            points += &format!("{} {} {j}\n", radius * angle.cos(), radius * angle.sin());
        }
    }
    std::fs::write(folder.path().join("bore.xyz"), points).expect("a scan");
    let job = "[job]\nname = \"bore\"\n[[scan]]\nname = \"bore\"\nfile = \"bore.xyz\"\n\
               [[feature]]\nname = \"pin\"\nfit = \"cylinder\"\nregion = \"all\"\n\
               criterion = \"maximum-inscribed\"\n";
    let file = folder.path().join("bore.toml");
    std::fs::write(&file, job).expect("a job");
    let out = fitwright(&["run", text(&file), "--out", text(folder.path())]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let result = std::fs::read_to_string(folder.path().join("result.json")).expect("a result");
    let result: serde_json::Value = serde_json::from_str(&result).expect("JSON");
    let feature = &result["features"][0];
    assert_eq!(feature["criterion"], "maximum-inscribed", "{feature}");
    let contacts = feature["contacts"].as_array().expect("contacts");
    let narrow = |p: &serde_json::Value| {
        let [x, y] = [0, 1].map(|k| p[k].as_f64().expect("a number"));
        (x.hypot(y) - 4.95).abs() < 1e-9
    };
    assert!(contacts.len() >= 3 && contacts.iter().all(narrow), "{contacts:?}");
    let radius = feature["parameters"]["radius"].as_f64();
    assert!((radius.expect("a radius") - 4.95).abs() < 1e-9, "{radius:?}");
}
