//! Hosts that a reader can copy, each run on the made-up mill, whose truth is known. The one in C runs with the C
//! interface's own tests.

use std::process::{Command, Output};
use std::sync::LazyLock;

use fitwright::job::Job;
use fitwright::primitive::Primitive;
use fitwright::simulate::{self, DEMO_JOB, Demo};
use fitwright_tests::c::build::{Linked, compiler, program, succeeded};
use fitwright_tests::c::root;
use fitwright_tests::package::python;
use fitwright_tests::skipped;

/// The demo's data in a folder, and its picks as "x,y,z".
struct Mill {
    folder: tempfile::TempDir,
    demo: &'static Demo,
    job: Job,
}

impl Mill {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        static DEMO: LazyLock<Demo> = LazyLock::new(|| simulate::demo().expect("the demo's data"));
        let demo = &*DEMO;
        demo.write(folder.path()).expect("the demo's files");
        let job = Job::read(folder.path().join(DEMO_JOB)).expect("the demo's job");
        Mill { folder, demo, job }
    }

    fn path(&self, name: &str) -> std::path::PathBuf {
        self.folder.path().join(name)
    }

    fn pick(&self, name: &str) -> String {
        let at = self.job.features.iter().find(|f| f.name == name).and_then(|f| f.at);
        let [x, y, z] = at.expect("a pick");
        format!("{x},{y},{z}")
    }
}

/// The numbers that follow `start` at the start of a line.
fn numbers(text: &str, start: &str) -> Vec<f64> {
    let line = text.lines().find_map(|l| l.trim_start().strip_prefix(start));
    let line = line.unwrap_or_else(|| panic!("no {start:?} in\n{text}"));
    line.split(|c: char| !"+-.e0123456789".contains(c)).filter_map(|w| w.parse().ok()).collect()
}

fn text(out: &Output) -> String {
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// A value with its expanded uncertainty is what is true.
fn is(found: &[f64], truth: f64) {
    let [value, uncertainty] = found[..2] else { panic!("{found:?}") };
    assert!((value - truth).abs() <= uncertainty, "{value} +- {uncertainty} is not {truth}");
    assert!(uncertainty < 0.1, "{uncertainty} says nothing");
}

#[test]
fn the_host_in_python_finds_what_is_wrong_with_the_bracket() {
    let Some(python) = python() else { return };
    let mill = Mill::new();
    let mut command = Command::new(python);
    command.arg("-B").arg(root().join("tests/hosts/python/main.py"));
    command.args([mill.path("front.ply"), mill.path("bracket.stl"), mill.path("features.step")]);
    command.args(["deck", "side"].map(|n| format!("{n}={}", mill.pick(n))));
    for truth in &mill.demo.truth.holes {
        let boss = truth.name.replace("hole", "boss");
        let p = truth.part_point;
        let part = format!("{}={},{},{}", truth.name.replace("hole", "part"), p.x, p.y, p.z);
        let picks = [&boss, &truth.name].map(|n| format!("{n}={}", mill.pick(n)));
        command.args(picks).arg(part);
    }
    let out = command.output().expect("the host runs");
    let said = text(&out);
    // The bracket fails.
    assert_eq!(out.status.code(), Some(1), "{said}\n{}", String::from_utf8_lossy(&out.stderr));
    for truth in &mill.demo.truth.holes {
        let verdict = if truth.margin < 0.0 { "fail" } else { "pass" };
        is(&numbers(&said, &format!("{verdict}: hole: {}:", truth.name)), truth.margin);
    }
    is(&numbers(&said, "fail: interference: front:"), mill.demo.truth.interference.depth);
    let air = numbers(&said, "deepest corner:")[0];
    assert!(air < -1.0 && air > -mill.demo.truth.interference.depth - 0.1, "{said}");
    let step = std::fs::read_to_string(mill.path("features.step")).expect("the STEP file");
    assert!(["'deck'", "'side'", "'boss C'", "'hole C'"].iter().all(|n| step.contains(n)));
}

#[test]
fn the_host_in_cpp_hands_features_to_its_kernel_and_checks_its_own_part() {
    let Some(cxx) = compiler("CXX", "c++") else { return };
    let Some(kernel) = kernel(&cxx) else { return };
    let mill = Mill::new();
    let options: Vec<&str> = kernel.iter().map(String::as_str).collect();
    let host = root().join("tests/hosts/cpp/main.cpp");
    let host = program(&cxx, &host, &options, Linked::Shared, mill.folder.path());
    let boss = mill.demo.truth.features.iter().find(|f| f.name == "boss A").expect("the boss");
    let Primitive::Plane(plane) = &boss.shape else { panic!("a plane") };
    let (p, n) = (plane.point, plane.normal);
    let place = format!("{},{},{},{},{},{}", p.x, p.y, p.z, n.x, n.y, n.z);
    let mut command = Command::new(host);
    command.arg(mill.path("front.ply")).arg(mill.folder.path()).arg(place);
    let picked = ["deck", "side", "boss A", "hole A", "lube filter", "guard cone"];
    let said = text(&succeeded(command.args(picked.map(|name| mill.pick(name)))));
    // The host itself ends with an error where the kernel disagrees with us.
    for name in ["deck", "side", "boss", "hole", "filter", "cone", "ball", "ring"] {
        let found = numbers(&said, &format!("feature {name}: differs"));
        assert!(found[0] <= 1e-9 && found[1] <= 1e-9, "{said}");
    }
    // The ring's points are 2.95 rad of a torus of radii 40 and 12 mm, from -0.5 to 0.66 rad round its tube:
    // the area is the integral of minor (major + minor cos v) over both.
    let (major, minor, turn, low, high) = (40.0, 12.0, 2.95, -0.5f64, 0.66f64);
    let area = turn * minor * (major * (high - low) + minor * (high.sin() - low.sin()));
    let found = numbers(&said, "feature ring: differs")[2];
    assert!((found - area).abs() < 0.01, "{found} is not {area}");
    // Half of the play of a bolt of 8 mm in a hole of 9 mm, less what the hole is off.
    let parts: Vec<&str> = said.split("part foot").skip(1).collect();
    let [good, bad] = parts[..] else { panic!("{said}") };
    assert!(
        good.starts_with("-0.05: verdict 10,") && bad.starts_with("-1.50: verdict 20,"),
        "{said}"
    );
    is(&numbers(good, "10 hole hole:"), 0.5 - 0.05);
    is(&numbers(bad, "20 hole hole:"), 0.5 - 1.5);
    is(&numbers(good, "10 seat boss:"), 0.0);
}

/// Options to compile and link with OCCT as Debian installs it; `None` where it is not.
fn kernel(cxx: &str) -> Option<Vec<String>> {
    let folder = tempfile::tempdir().expect("a folder");
    let mut options =
        vec!["-std=c++17", "-isystem", "/usr/include/opencascade", "-Wl,--no-as-needed"];
    options.extend(TOOLKITS);
    let probe = folder.path().join("probe.cpp");
    let text = "#include <STEPControl_Reader.hxx>\nint main() { return STEPControl_Reader().NbShapes(); }\n";
    std::fs::write(&probe, text).expect("a file");
    let mut command = Command::new(cxx);
    command.arg(&probe).args(&options).arg("-o").arg(folder.path().join("probe"));
    if command.output().is_ok_and(|o| o.status.success()) {
        return Some(options.into_iter().map(str::to_owned).collect());
    }
    skipped(&format!("{cxx} finds no OCCT 7.6 (apt-get install libocct-data-exchange-dev)"));
    None
}

/// The kernel's libraries that the host calls.
const TOOLKITS: [&str; 13] = [
    "-lTKSTEP",
    "-lTKXSBase",
    "-lTKMesh",
    "-lTKBO",
    "-lTKPrim",
    "-lTKTopAlgo",
    "-lTKGeomAlgo",
    "-lTKBRep",
    "-lTKGeomBase",
    "-lTKG3d",
    "-lTKG2d",
    "-lTKMath",
    "-lTKernel",
];
