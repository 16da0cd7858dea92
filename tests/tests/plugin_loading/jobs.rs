//! Plug-ins in the job file and on the command line, through to result, STEP and page.

use std::path::Path;
use std::process::{Command, Output};

use fitwright_tests::plugins::{self, Interface};
use serde_json::Value;

use super::common::{slot, temporary, worker};

/// A scan of a slot and a job that fits it.
fn job(folder: &Path, unit: &str, plugins: &str, options: &str) -> std::path::PathBuf {
    let (points, _) = slot(6000, 9.0, 8.0, 0.02);
    let text: String =
        points.iter().map(|p| format!("{:.5} {:.5} {:.5}\n", p.x, p.y, p.z)).collect();
    std::fs::write(folder.join("slot.txt"), text).expect("a scan");
    let file = folder.join("slot.toml");
    let text = format!(
        "[job]\nname = \"slot\"\nlength = \"{unit}\"\n{plugins}\n[[scan]]\nname = \"a\"\n\
         file = \"slot.txt\"\nunit = \"mm\"\n[[feature]]\nname = \"slot\"\nfit = \"fitwright.obround\"\n\
         region = \"all\"\n{options}\n"
    );
    std::fs::write(&file, text).expect("a job");
    file
}

fn fitwright(arguments: &[&str]) -> Output {
    let program = worker().with_file_name("fitwright");
    let out = Command::new(program).env_remove("FITWRIGHT_PLUGINS").args(arguments).output();
    out.expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn result(folder: &Path) -> Value {
    let file = std::fs::read_to_string(folder.join("result.json")).expect("a result");
    serde_json::from_str(&file).expect("JSON")
}

#[test]
fn a_job_names_its_plug_ins_and_everything_it_writes_knows_their_shape() {
    let folder = temporary();
    let Some(plugin) = plugins::obround(Interface::Today, &[], folder.path()) else { return };
    let name = plugin.file_name().expect("a name").display().to_string();
    let mut seen = Vec::new();
    for trusted in ["", "trusted = [\"fitwright.obround-c\"]\n"] {
        let plugins = format!("[plugins]\nfolders = [\"{name}\"]\n{trusted}");
        let file = job(folder.path(), "mm", &plugins, "");
        let out = folder.path().join(format!("out{}", seen.len()));
        let ran =
            fitwright(&["run", &file.display().to_string(), "--out", &out.display().to_string()]);
        assert!(ran.status.success(), "{}{}", text(&ran.stdout), text(&ran.stderr));
        let feature = result(&out)["features"][0].clone();
        assert_eq!(feature["fitter"], "fitwright.obround");
        assert_eq!((&feature["kind"], &feature["shape"]), (&"composite".into(), &"obround".into()));
        let width = feature["parameters"]["width"].as_f64().expect("a width");
        let u = feature["uncertainty"]["width"].as_f64().expect("its uncertainty");
        assert!((width - 9.0).abs() < 0.006 && u > 1e-5 && u < 0.01, "{width} +- {u}");
        let step = std::fs::read_to_string(out.join("features.step")).expect("STEP");
        assert_eq!(step.matches("CYLINDRICAL_SURFACE(").count(), 2);
        let page = std::fs::read_to_string(out.join("report.html")).expect("the page");
        assert!(page.contains("fitwright.obround") && page.contains(">obround<"));
        assert!(text(&ran.stdout).contains("obround"), "{}", text(&ran.stdout));
        seen.push(feature);
    }
    assert_eq!(seen[0], seen[1], "worker and in process");
}

#[test]
fn options_are_in_the_job_s_units() {
    let folder = temporary();
    let Some(plugin) = plugins::obround(Interface::Today, &[], folder.path()) else { return };
    // 9 mm in inches, exactly 25.4 mm each.
    let width = 9.0 / 25.4;
    let file = job(folder.path(), "in", "", &format!("options = {{ width = {width} }}"));
    let plugins = plugin.display().to_string();
    let out = folder.path().join("out");
    let ran = fitwright(&[
        "run",
        &file.display().to_string(),
        "--out",
        &out.display().to_string(),
        "--plugins",
        &plugins,
    ]);
    assert!(ran.status.success(), "{}{}", text(&ran.stdout), text(&ran.stderr));
    let parameters = result(&out)["features"][0]["parameters"].clone();
    let found = |name: &str| parameters[name].as_f64().expect("a number");
    assert!((found("width") - width).abs() < 1e-12, "{parameters}");
    assert!((found("length") - 25.0 / 25.4).abs() < 0.006 / 25.4, "{parameters}");
}

#[test]
fn what_is_wrong_in_a_job_names_place_and_remedy() {
    let folder = temporary();
    let Some(plugin) = plugins::obround(Interface::Today, &[], folder.path()) else { return };
    let run = |plugins: &str, options: &str| {
        let file = job(folder.path(), "mm", plugins, options);
        let out = folder.path().join("none");
        let ran =
            fitwright(&["run", &file.display().to_string(), "--out", &out.display().to_string()]);
        assert_eq!(ran.status.code(), Some(65), "{}", text(&ran.stderr));
        assert!(!out.join("result.json").exists());
        text(&ran.stderr)
    };
    let missing = run("", "");
    assert!(missing.contains("fitwright.obround") && missing.contains("slot"), "{missing}");
    let nowhere = run("[plugins]\nfolders = [\"nowhere\"]\n", "");
    assert!(nowhere.contains("[plugins]") && nowhere.contains("nowhere"), "{nowhere}");
    let name = plugin.file_name().expect("a name").display().to_string();
    let here = format!("[plugins]\nfolders = [\"{name}\"]\n");
    let unknown = run(&here, "options = { wdth = 3.0 }");
    assert!(unknown.contains("wdth") && unknown.contains("width"), "{unknown}");
    let word = run(&here, "options = { width = \"wide\" }");
    assert!(word.contains("a number, or true or false"), "{word}");
    let limit = run(&format!("{here}time_limit = -1.0\n"), "");
    assert!(limit.contains("time_limit"), "{limit}");
    let held = run(&here, "hold = { radius = 3.0 }");
    assert!(held.contains("slot"), "{held}");
    let criterion = run(&here, "criterion = \"minimum-zone\"");
    assert!(criterion.contains("criterion"), "{criterion}");
}

#[test]
fn the_environment_names_folders_and_only_absolute_ones() {
    let folder = temporary();
    let Some(plugin) = plugins::obround(Interface::Today, &[], folder.path()) else { return };
    let program = worker().with_file_name("fitwright");
    let list = |value: &str| {
        let mut command = Command::new(&program);
        let out = command
            .current_dir(folder.path())
            .env("FITWRIGHT_PLUGINS", value)
            .args(["plugins", "list"]);
        out.output().expect("the program runs")
    };
    let found = list(&plugin.display().to_string());
    assert!(found.status.success() && text(&found.stdout).contains("fitwright.obround"));
    let relative = list("obround");
    assert_eq!(relative.status.code(), Some(65));
    assert!(text(&relative.stderr).contains("absolute"), "{}", text(&relative.stderr));
    // The current folder holds a plug-in, and is not looked in.
    let nothing = list("");
    assert_eq!(nothing.status.code(), Some(65));
    assert!(!text(&nothing.stdout).contains("obround"));
}
