//! What an importer may do wrong is an error that names it; what it does right arrives as it was said.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use fitwright::exchange::{Part, PartOptions};
use fitwright::plugin::{LoadOptions, Registry, Trial, manifests, try_plugin};
use fitwright::primitive::{Point3, Primitive, Vec3};
use fitwright::{Context, Error, Result};
use fitwright_tests::skipped;

use super::{cube_plugin, cubes, options, temporary, worker};

/// Reads a file by the importer that behaves as `name` says.
fn import(name: &str, options: &LoadOptions) -> Option<Result<Part>> {
    let folder = temporary();
    let file = folder.path().join("part.cube");
    std::fs::write(&file, "").expect("a file");
    let importer = cubes(name, options, folder.path())?;
    Some(Part::read_with(&file, &PartOptions::default(), &importer, None))
}

/// The cube is what `tests/plugins/importers.c` makes: 10 mm, a corner at the origin.
#[test]
fn an_honest_part_arrives_the_same_by_both_places() {
    let mut seen = Vec::new();
    for trusted in [&[][..], &["hostile.honest"]] {
        let Some(part) = import("honest", &options(trusted, 20)) else { return };
        let part = part.expect("a part");
        assert_eq!(part.closed(), Ok(()));
        assert_eq!((part.solids, part.faces.len(), part.triangles.len()), (1, 6, 12));
        assert_eq!((part.volume(), part.area()), (1000.0, 600.0));
        assert_eq!((part.schema.as_str(), part.chord_error), ("CUBE", 0.01));
        assert_eq!((part.holes.len(), part.notes.len()), (0, 0));
        for (index, face) in part.face_of_triangle.iter().enumerate() {
            let face = &part.faces[*face as usize];
            let Some(Primitive::Plane(plane)) = &face.shape else { panic!("{face:?}") };
            let [a, b, c] = part.corners(index).expect("a triangle");
            let outwards = (b - a).cross(&(c - a)).dot(&plane.normal) > 0.0;
            assert_eq!((plane.distance(&a), outwards), (0.0, !face.reversed));
        }
        seen.push((part.points, part.triangles, part.faces));
    }
    assert_eq!(seen[0], seen[1]);
}

#[test]
fn a_hole_that_is_named_is_the_part_s() {
    let Some(part) = import("with-a-hole", &options(&[], 20)) else { return };
    let holes = part.expect("a part").holes;
    assert_eq!(holes.len(), 1);
    assert_eq!(holes[0].point, Point3::new(5.0, 5.0, 5.0));
    assert_eq!(
        (holes[0].axis.into_inner(), holes[0].radius, holes[0].depth),
        (Vec3::z(), 2.0, 10.0)
    );
}

/// Behaviours of the source, and what their error must say beside the importer's id.
const WRONG: [(&str, &str); 24] = [
    ("nan-corner", "point 2: NaN"),
    ("far-corner", "point 2: 1000000000"),
    ("index-out-of-range", "triangle 1: point 8 of 8"),
    ("face-out-of-range", "triangle 3: face 6 of 6"),
    ("long-direction", "face 2 direction"),
    ("nan-direction", "face 2 direction"),
    ("turned-face", "face 3 reversed"),
    ("odd-flag", "face 3 reversed: 7"),
    ("no-radius", "face 1 size_1"),
    ("huge-radius", "face 1 size_1"),
    ("other-surface", "face 1 shape"),
    ("curve-as-face", "face 1 shape"),
    ("small-face", "a face says that it has 8 bytes"),
    ("null-points", "points are NULL"),
    ("nothing", "0 solids of 0 triangles"),
    ("faces-of-some", "faces of some"),
    ("hole-outside", "hole 0 point_mm"),
    ("hole-of-no-radius", "hole 0 radius_mm: NaN"),
    ("endless-triangles", "more than 20000000 triangles"),
    ("endless-points", "more than 20000000 points"),
    ("reports-a-fit", "reports a fit"),
    ("crash", "signal 11"),
    ("hang", "took longer than 2 s"),
    ("waits", "took longer than 2 s"),
];

#[test]
fn each_wrong_is_an_error_that_names_importer_and_field() {
    let mut wrong = Vec::new();
    for (name, must) in WRONG {
        let begin = Instant::now();
        let waits = ["hang", "waits", "crash"].contains(&name);
        let seconds = if waits { 2 } else { 60 };
        let Some(outcome) = import(name, &options(&[], seconds)) else { return };
        let said = outcome.map_or_else(|e| e.to_string(), |_| "a part".into());
        if !said.contains(&format!("hostile.{name}-cube")) || !said.contains(must) {
            wrong.push(format!("{name}: \"{must}\" is not in \"{said}\""));
        }
        println!("{name}: {:.2} s: {said}", begin.elapsed().as_secs_f64());
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn what_it_cannot_read_is_told_in_its_words_with_file_and_remedy() {
    let Some(outcome) = import("cannot-read", &options(&[], 20)) else { return };
    let error = outcome.expect_err("an error");
    assert!(matches!(error, Error::Unsupported { .. }), "{error:?}");
    let said = error.to_string();
    assert!(said.contains("part.cube") && said.contains("hostile.cannot-read-cube"), "{said}");
    assert!(said.contains("a cube of no corners") && said.contains("bake it again"), "{said}");
}

#[test]
fn it_is_stopped_when_the_host_cancels_and_serves_again() {
    let folder = temporary();
    let file = folder.path().join("part.cube");
    std::fs::write(&file, "").expect("a file");
    let Some(importer) = cubes("waits", &options(&[], 20), folder.path()) else { return };
    for _ in 0..2 {
        let context = Context::new(1).expect("a context");
        let (other, begin) = (context.clone(), Instant::now());
        let canceller = std::thread::spawn(move || {
            std::thread::sleep(Duration::from_millis(100));
            other.cancel();
        });
        let outcome = Part::read_with(&file, &PartOptions::default(), &importer, Some(&context));
        canceller.join().expect("the canceller");
        assert_eq!(outcome.err(), Some(Error::Cancelled));
        assert!(begin.elapsed() < Duration::from_millis(1900), "{:?}", begin.elapsed());
    }
}

#[test]
fn files_that_are_not_its_own_do_not_reach_it() {
    let folder = temporary();
    let Some(importer) = cubes("crash", &options(&[], 20), folder.path()) else { return };
    let read = |name: &str, chord_error_mm: f64| {
        let options = PartOptions { chord_error_mm, ..PartOptions::default() };
        Part::read_with(folder.path().join(name), &options, &importer, None)
    };
    let other = read("part.ball", 0.1).expect_err("an error").to_string();
    assert!(other.contains("ball") && other.contains("cube"), "{other}");
    assert!(matches!(read("nowhere.cube", 0.1), Err(Error::Io { .. })));
    assert!(matches!(read("nowhere.cube", 0.0), Err(Error::Argument { .. })));
}

/// The folder of a plug-in whose manifest was changed; why it is refused.
fn refusal(from: &str, to: &str) -> Option<String> {
    let folder = temporary();
    let change = |text: String| {
        assert!(text.contains(from), "{from} is not in {text}");
        text.replace(from, to)
    };
    let plugin = cube_plugin("honest", change, folder.path())?;
    let mut registry = Registry::new();
    assert_eq!(registry.load(&plugin, &options(&[], 20)), Ok(0));
    Some(registry.refused()[0].reason.to_string())
}

#[test]
fn manifest_and_library_must_agree() {
    let importers = "importers = [{ id = \"hostile.honest-cube\", extensions = [\"cube\"] }]";
    for (from, to, must) in [
        ("[\"cube\"]", "[\"cube\", \"box\"]", "box"),
        ("[\"cube\"]", "[]", "at least one"),
        ("[\"cube\"]", "[\".cube\"]", "without the point"),
        ("-cube\"", "-ball\"", "hostile.honest-ball"),
        ("\"hostile.honest-cube\"", "\"other.cube\"", "must begin with \"hostile.\""),
        (importers, "", "no fitter and no importer"),
        (importers, "fitters = [\"hostile.ball\"]", "fitters"),
        (
            "lowest = \"1.2\", highest = \"1.2\"",
            "lowest = \"1.0\", highest = \"1.1\"",
            "they need interface 1.2",
        ),
    ] {
        let Some(said) = refusal(from, to) else { return };
        assert!(said.contains(must), "{to}: \"{must}\" is not in \"{said}\"");
    }
}

#[test]
fn listing_and_registry_know_importers() {
    let folder = temporary();
    let Some(plugin) = cube_plugin("honest", |m| m, folder.path()) else { return };
    let listed = manifests(&plugin).expect("a folder");
    let manifest = listed[0].1.as_ref().expect("a manifest");
    assert_eq!(manifest.importers[0].extensions, ["cube"]);
    let out = std::process::Command::new(worker().with_file_name("fitwright"))
        .args(["plugins", "list"])
        .arg(&plugin)
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(said.contains("importers  hostile.honest-cube (cube)\n"), "{said}");
    let registry = super::registry(&plugin, &options(&[], 20));
    let ids: Vec<&str> = registry.importers().iter().map(|i| i.id()).collect();
    assert_eq!(ids, ["hostile.honest-cube"]);
    let unknown = registry.importer("acme.cube").expect_err("an error").to_string();
    assert!(unknown.contains("acme.cube") && unknown.contains("hostile.honest-cube"), "{unknown}");
    // Another plug-in of the same importer is refused, and one that was refused tells why.
    let mut registry = registry;
    let other = temporary();
    let twin = |text: String| text.replacen("hostile.honest\"", "hostile.twin\"", 1);
    let twin: PathBuf = cube_plugin("honest", twin, other.path()).expect("a compiler");
    assert_eq!(registry.load(&twin, &options(&[], 20)), Ok(0));
    let reason = registry.refused()[0].reason.to_string();
    assert!(reason.contains("hostile.honest-cube") && reason.contains("taken"), "{reason}");
}

#[test]
fn the_checker_tries_importers() {
    let trial = |name: &str| {
        let folder = temporary();
        let plugin = cube_plugin(name, |m| m, folder.path())?;
        let mut trial = Trial::default();
        trial.worker = Some(worker().to_path_buf());
        trial.time_limit = Duration::from_secs(2);
        let report = try_plugin(&plugin, &trial).expect("a plug-in that loads");
        let failed: Vec<String> =
            report.findings.iter().filter(|f| f.failed()).map(ToString::to_string).collect();
        Some(failed.join("\n"))
    };
    let Some(good) = trial("cannot-read") else {
        skipped("no compiler");
        return;
    };
    // It takes no version it does not know, but does not look at the lowest either.
    assert!(!good.contains("hostile.cannot-read-cube"), "{good}");
    for name in ["crash", "hang", "honest"] {
        let bad = trial(name).expect("a compiler");
        assert!(bad.contains("refuses what is no file of its format"), "{name}: {bad}");
    }
}
