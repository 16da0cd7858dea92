//! `plugins/occt`: the OCCT kernel reads the parts that the built-in reader reads, and both agree with the kernel's own
//! values (data/parts/README.md says where these come from). Without the kernel's headers the tests say so.

use std::collections::BTreeSet;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::Instant;

use fitwright::exchange::{FaceSurface, Part, PartOptions};
use fitwright::plugin::{Importer, Trial, try_plugin};
use fitwright::primitive::Point3;
use fitwright::simulate::random::Random;
use fitwright_tests::c::build::{compiler, succeeded, tool};
use fitwright_tests::c::root;
use fitwright_tests::{python_with, shared, skipped};
use serde_json::Value;

use super::{options, registry, temporary, worker};

const CHORD: f64 = 0.01;

/// The folder of the plug-in as its own Makefile builds it, once for all tests.
fn occt() -> Option<&'static Path> {
    static FOLDER: OnceLock<Option<PathBuf>> = OnceLock::new();
    FOLDER.get_or_init(built).as_deref()
}

fn built() -> Option<PathBuf> {
    let cxx = compiler("CXX", "c++")?;
    if !tool("make") {
        return None;
    }
    // As far from the header as in the repository, beside the worker.
    let into = worker().with_file_name("fitwright-test-importers");
    let home = into.join("plugins/occt");
    std::fs::create_dir_all(&home).expect("a folder");
    let probe = into.join("probe.cpp");
    std::fs::write(&probe, "#include <STEPControl_Reader.hxx>\n").expect("a file");
    let mut command = Command::new(&cxx);
    command.args(["-std=c++17", "-fsyntax-only", "-isystem", "/usr/include/opencascade"]);
    if !command.arg(&probe).output().is_ok_and(|o| o.status.success()) {
        skipped(&format!("{cxx} finds no OCCT 7.6 (apt-get install libocct-data-exchange-dev)"));
        return None;
    }
    copy(&root().join("include"), &into.join("include"));
    copy(&root().join("plugins/occt"), &home);
    succeeded(Command::new("make").arg("-B").arg("-C").arg(&home).env("CXX", cxx));
    for file in ["", "fitwright-plugin.toml", "libocct-exchange.so"] {
        let rights = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(home.join(file), rights).expect("rights");
    }
    Some(home)
}

/// The files of a folder but libraries.
fn copy(from: &Path, into: &Path) {
    std::fs::create_dir_all(into).expect("a folder");
    for entry in std::fs::read_dir(from).expect("a folder") {
        let path = entry.expect("a file").path();
        if path.extension().is_none_or(|e| e != "so") {
            std::fs::copy(&path, into.join(path.file_name().expect("a name"))).expect("a copy");
        }
    }
}

fn importer(folder: &Path, id: &str) -> Importer {
    registry(folder, &options(&[], 60)).importer(id).expect("its importer")
}

fn read(path: &Path, importer: &Importer) -> Part {
    let options = PartOptions { chord_error_mm: CHORD, ..PartOptions::default() };
    let part = Part::read_with(path, &options, importer, None);
    part.unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn place(value: &Value) -> Point3 {
    Point3::new(number(&value[0]), number(&value[1]), number(&value[2]))
}

/// The kernel's values and the files that are there.
fn references() -> Vec<(PathBuf, Value)> {
    let data = root().join("tests/data/parts");
    let text = std::fs::read_to_string(data.join("kernel.json")).expect("the values");
    let list: Vec<Value> = serde_json::from_str(&text).expect("a list");
    let folders = [Some(data), shared("exchange/parts"), shared("exchange/parts/nist")];
    let find = |value: Value| {
        let name = value["file"].as_str().expect("a name").to_owned();
        let mut places = folders.iter().flatten().map(|folder| folder.join(&name));
        Some((places.find(|p| p.exists())?, value))
    };
    list.into_iter().filter_map(find).collect()
}

/// What is wrong with a part that should be as the kernel says.
fn objections(part: &Part, kernel: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut hold = |good: bool, what: String| {
        if !good {
            wrong.push(what);
        }
    };
    hold(part.closed().is_ok(), format!("{:?}", part.closed()));
    hold(Some(part.solids as u64) == kernel["solids"].as_u64(), format!("{} solids", part.solids));
    hold(
        Some(part.faces.len() as u64) == kernel["faces"].as_u64(),
        format!("{} faces", part.faces.len()),
    );
    let volume = number(&kernel["volume"]);
    // Where edges are off their surfaces the part says how far.
    let off = part.chord_error;
    let allowed = off * number(&kernel["area"]);
    hold(
        (part.volume() - volume).abs() <= allowed,
        format!("volume {} of {volume}", part.volume()),
    );
    let (low, high) = part.bounding_box().expect("triangles");
    for axis in 0..3 {
        // The kernel widens its boxes by its own tolerance of 1e-7.
        let ends = [(low[axis], axis), (high[axis], axis + 3)];
        for (found, k) in ends {
            let stated = number(&kernel["box"][k]);
            hold((found - stated).abs() <= off + 2e-7, format!("box {k}: {found} of {stated}"));
        }
    }
    let bores = kernel["holes"].as_array().expect("a list");
    hold(part.holes.len() == bores.len(), format!("{} of {} holes", part.holes.len(), bores.len()));
    for bore in bores {
        let (on_axis, along) = (place(&bore["point"]), place(&bore["axis"]).coords);
        let same = part.holes.iter().any(|hole| {
            (hole.radius - number(&bore["radius"])).abs() < 1e-9
                && hole.axis.cross(&along).norm() < 1e-9
                && (hole.point - on_axis).cross(&along).norm() < 1e-9
        });
        hold(same, format!("{bore} is not among the holes"));
    }
    wrong
}

#[test]
fn the_kernel_and_the_built_in_reader_give_the_same_parts() {
    let Some(plugin) = occt() else { return };
    let importer = importer(plugin, "occt.step");
    let all = references();
    assert!(all.len() >= 10, "the copied parts are always there");
    let mut wrong = Vec::new();
    for (path, kernel) in &all {
        let name = kernel["file"].as_str().expect("a name");
        let begin = Instant::now();
        let options = PartOptions { chord_error_mm: CHORD, ..PartOptions::default() };
        let part = match Part::read_with(path, &options, &importer, None) {
            Ok(part) => part,
            Err(e) => {
                // A part that the newer kernel wrote: an error in words, never half a part.
                let known = NOT_READ_BY_7_6.contains(&name) && e.to_string().contains("occt.step");
                wrong.extend((!known).then(|| format!("{name}: {e}")));
                continue;
            }
        };
        let seconds = begin.elapsed().as_secs_f64();
        println!(
            "{name}: {seconds:.3} s, {} triangles, keeps {:.2e}",
            part.triangles.len(),
            part.chord_error
        );
        wrong.extend(objections(&part, kernel).into_iter().map(|o| format!("{name}: {o}")));
        // Some of the NIST files have edges off their own surfaces.
        if !name.starts_with("nist") && part.chord_error > CHORD {
            wrong.push(format!("{name}: keeps {}", part.chord_error));
        }
        let own = Part::read(path, &options).expect("the built-in reader");
        wrong.extend(differences(&part, &own).into_iter().map(|o| format!("{name}: {o}")));
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

/// Of the parts made by kernel 8.0 for surfaces of revolution; 7.6 finds no shape in them.
const NOT_READ_BY_7_6: [&str; 1] = ["g_hyperboloid.step"];

/// Between the two roads.
fn differences(part: &Part, own: &Part) -> Vec<String> {
    let mut all = Vec::new();
    if (&part.schema, part.solids) != (&own.schema, own.solids) {
        all.push(format!("{} {} and {} {}", part.schema, part.solids, own.schema, own.solids));
    }
    // Sorts of faces, and of round ones which are turned inwards; a plane has two normals.
    let sorts = |part: &Part| {
        let sort = |f: &FaceSurface| {
            let kind = f.shape.as_ref().map(|s| s.kind().name());
            (kind, f.reversed && kind.is_some_and(|k| k != "plane"))
        };
        part.faces.iter().map(sort).collect::<BTreeSet<_>>()
    };
    // Ours also knows a circle swept along its axis as the cylinder it is.
    let mut ours = sorts(own);
    ours.insert((None, false));
    if !ours.is_superset(&sorts(part)) {
        all.push(format!("faces {:?} and {:?}", sorts(part), sorts(own)));
    }
    for hole in &part.holes {
        let same = own.hole_near(&hole.point).is_some_and(|(other, _)| {
            (other.depth - hole.depth).abs() < 2.0 * CHORD
                && (other.point - hole.point).norm() < CHORD
        });
        if !same {
            all.push(format!("{hole:?} is none of the built-in reader's"));
        }
    }
    all
}

/// A coarse and a fine mesh both keep what was asked, by the distance of triangles from exact surfaces.
#[test]
fn the_chord_error_is_kept() {
    let Some(plugin) = occt() else { return };
    let importer = importer(plugin, "occt.step");
    let path = root().join("tests/data/parts/p05_torus_fillets.step");
    let mut counts = Vec::new();
    for chord_error_mm in [0.3, 0.01, 0.001] {
        let options = PartOptions { chord_error_mm, ..PartOptions::default() };
        let part = Part::read_with(&path, &options, &importer, None).expect("a part");
        assert_eq!(part.closed(), Ok(()));
        let mut worst: f64 = 0.0;
        for (index, face) in part.face_of_triangle.iter().enumerate() {
            let Some(shape) = &part.faces[*face as usize].shape else { continue };
            let [a, b, c] = part.corners(index).expect("a triangle");
            let middle = Point3::from((a.coords + b.coords + c.coords) / 3.0);
            worst = worst.max(shape.distance(&middle).abs());
            worst = worst.max(shape.distance(&nalgebra::center(&a, &b)).abs());
        }
        assert!(worst <= chord_error_mm * 1.001 && worst > 0.02 * chord_error_mm, "{worst}");
        counts.push(part.triangles.len());
    }
    assert!(counts[0] < counts[1] && counts[1] < counts[2], "{counts:?}");
}

/// The kernel of another release writes the part as IGES; read back it is the part that its STEP file says.
#[test]
fn iges_of_the_kernel_is_the_same_part() {
    let Some(python) = python_with(&["OCP"]) else { return };
    let folder = temporary();
    let Some(plugin) = occt() else { return };
    let importer = importer(plugin, "occt.iges");
    let data = root().join("tests/data/parts");
    let all = references();
    for name in ["p03_boss_counterbore_chamfer", "p06_cone_turned", "p10_inch_plate"] {
        let iges = folder.path().join(name).with_extension("igs");
        let mut command = Command::new(&python);
        command.arg(root().join("tests/python/to_iges.py"));
        succeeded(command.arg(data.join(name).with_extension("step")).arg(&iges));
        let part = read(&iges, &importer);
        let step = format!("{name}.step");
        let kernel = all.iter().find(|(_, v)| v["file"] == step.as_str()).expect("its values");
        assert_eq!(objections(&part, &kernel.1), [""; 0], "{name}");
        assert_eq!(part.schema, "IGES");
    }
}

#[test]
fn the_checker_passes_it() {
    let Some(plugin) = occt() else { return };
    let mut trial = Trial::default();
    trial.worker = Some(worker().to_path_buf());
    let report = try_plugin(plugin, &trial).expect("a plug-in that loads");
    let failed: Vec<String> =
        report.findings.iter().filter(|f| f.failed()).map(ToString::to_string).collect();
    assert_eq!(failed, [""; 0]);
    assert!(report.findings.len() >= 8, "{report:?}");
}

/// The kernel crashes on many a damaged file: that is an error, and the next file is read all the same.
#[test]
fn damaged_files_do_not_take_the_host_along() {
    let folder = temporary();
    let Some(plugin) = occt() else { return };
    let importer = importer(plugin, "occt.step");
    let good = root().join("tests/data/parts/p06_cone_turned.step");
    let bytes = std::fs::read(&good).expect("the part");
    let (mut random, mut crashes) = (Random::new(5), 0);
    for round in 0..16 {
        let mut damaged = bytes.clone();
        for _ in 0..4 {
            let at = (random.uniform() * bytes.len() as f64) as usize;
            damaged[at] = b"0123456789#(),;'.$*"[(random.uniform() * 19.0) as usize];
        }
        damaged.truncate(if round % 4 == 0 { bytes.len() / 2 } else { bytes.len() });
        let file = folder.path().join(format!("damaged{round}.step"));
        std::fs::write(&file, damaged).expect("a file");
        let options = PartOptions { chord_error_mm: 0.1, ..PartOptions::default() };
        match Part::read_with(&file, &options, &importer, None) {
            Ok(part) => assert!(!part.triangles.is_empty()),
            Err(e) => {
                let said = e.to_string();
                assert!(said.contains("occt.step"), "{said}");
                crashes += usize::from(said.contains("signal"));
            }
        }
    }
    println!("{crashes} of 16 damaged files crashed the kernel");
    assert_eq!(read(&good, &importer).closed(), Ok(()));
}
