//! A datum system of one day found again on another: simulated machines, scanned twice in different poses, with
//! what was moved between known from the simulation.

use std::path::Path;

use fitwright::associate::Covariance;
use fitwright::feature::FeatureKind;
use fitwright::job::{Folder, Job, Outcome, WriteOptions};
use fitwright::primitive::{Cylinder, Plane, Point3, Pose, Primitive, Vec3};
use fitwright::register::{AgainOptions, Moved, Placed, SavedDatum, SavedFeature, SavedRule};
use fitwright::report::{self, ReportOptions};
use fitwright::scan::{Precision, Scan, write_ply};
use fitwright::simulate::{Machine, Scanner, Solid, Viewpoint, scan};
use fitwright::{Context, Error};
use nalgebra::{Translation3, UnitQuaternion};

use super::Failure;

/// A block with its deck at z = 0, round bosses (x, y, radius, height) and blind holes (x, y, radius).
fn machine(bosses: &[[f64; 4]], holes: &[[f64; 3]]) -> Machine {
    let at = |x: f64, y: f64, z: f64| Pose::translation(x, y, z);
    let mut parts = vec![Solid::cuboid(&at(0.0, 0.0, -20.0), Vec3::new(200.0, 140.0, 40.0), 1.0)];
    for [x, y, radius, height] in bosses {
        parts.push(Solid::cylinder(&at(*x, *y, 0.0), *radius, -5.0, *height, 1.0));
    }
    let mut solid = Solid::union(parts, 1.0);
    for [x, y, radius] in holes {
        solid = solid.cut(&Solid::cylinder(&at(*x, *y, 0.0), *radius, -25.0, 5.0, 0.5), 0.5);
    }
    Machine { solid, surfaces: vec![], holes: vec![] }
}

fn scanned(machine: &Machine, machine_from_scan: &Pose, seed: u64) -> fitwright::Result<Scan> {
    let eye = |x: f64, y: f64| Viewpoint {
        eye: Point3::new(x, y, 330.0),
        target: Point3::origin(),
        roll: 0.0,
    };
    let views =
        [eye(180.0, 60.0), eye(-180.0, 80.0), eye(30.0, -200.0), eye(0.0, 30.0), eye(-40.0, 190.0)];
    let scanner = Scanner { resolution: 1.8, noise: 0.03, seed, ..Scanner::default() };
    let seen = scan(machine, &views, &scanner, machine_from_scan)?;
    Scan::from_mesh(seen.points, seen.triangles)
}

/// Machine from scan of a day.
fn pose(day: f64) -> Pose {
    let turn = Vec3::new(0.7, -0.4 + 0.3 * day, 1.9 - day);
    Pose::from_parts(
        Translation3::new(40.0 + 30.0 * day, -20.0, 300.0),
        UnitQuaternion::from_scaled_axis(turn),
    )
}

fn put(folder: &Path, name: &str, scan: &Scan) -> fitwright::Result<()> {
    write_ply(folder.join(name), scan.points(), scan.triangles(), &[], Precision::Double)
}

fn run(folder: &Path, day: &str, text: &str) -> Result<(Outcome, serde_json::Value), Failure> {
    let file = folder.join("job.toml");
    let outcome = Job::parse(text)?.run(&Folder::of(&file), &Context::new(2)?)?;
    let out = folder.join(day);
    let mut plain = ReportOptions::default();
    plain.pictures = false;
    let page = report::html(&outcome, &plain)?;
    assert_eq!(page.contains("What moved since"), outcome.again.is_some());
    outcome.write(&out, &page, WriteOptions::default())?;
    let json = serde_json::from_str(&std::fs::read_to_string(out.join("result.json"))?)?;
    Ok((outcome, json))
}

const BOSSES: [[f64; 4]; 2] = [[-50.0, 30.0, 18.0, 20.0], [60.0, -20.0, 14.0, 12.0]];
const HOLES: [[f64; 3]; 4] =
    [[-80.0, -50.0, 8.5], [75.0, 45.0, 9.5], [10.0, 50.0, 8.0], [0.0, -45.0, 10.5]];

fn first_job(day: f64) -> String {
    let scan_from_machine = pose(day).inverse();
    let mut text =
        String::from("[job]\nname = \"first\"\n[[scan]]\nname = \"first\"\nfile = \"first.ply\"\n");
    let mut feature = |name: &str, fit: &str, at: [f64; 3], more: &str| {
        let p = scan_from_machine * Point3::from(at);
        text += &format!(
            "[[feature]]\nname = \"{name}\"\nfit = \"{fit}\"\nat = [{}, {}, {}]\n{more}\n",
            p.x, p.y, p.z
        );
    };
    feature("deck", "plane", [-20.0, -20.0, 0.0], "");
    for (k, [x, y, _, height]) in BOSSES.iter().enumerate() {
        feature(&format!("boss {k}"), "plane", [*x, *y, *height], "");
    }
    for (k, [x, y, _]) in HOLES.iter().enumerate() {
        feature(&format!("hole {k}"), "hole", [*x, *y, 0.0], "on = \"deck\"");
    }
    text + "[datum]\nprimary = { feature = \"deck\", axis = \"+z\" }\n\
            secondary = { feature = \"hole 0\", sets = \"origin\" }\n\
            tertiary = { feature = \"hole 1\", axis = \"+x\" }\n"
}

const LATER: &str = "[job]\nname = \"later\"\nlength = \"mm\"\n[[scan]]\nname = \"later\"\nfile = \"later.ply\"\n\
                     [datum]\nagain = \"first/datum.json\"\n";

/// One hole is moved by 0.5 mm and one boss by 0.4 mm: both are named with what they moved by, nothing else is.
#[test]
fn what_moved_is_named() -> Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    put(folder.path(), "first.ply", &scanned(&machine(&BOSSES, &HOLES), &pose(0.0), 1)?)?;
    let (mut bosses, mut holes) = (BOSSES, HOLES);
    bosses[1][3] += 0.4;
    holes[2][0] += 0.3;
    holes[2][1] += 0.4;
    put(folder.path(), "later.ply", &scanned(&machine(&bosses, &holes), &pose(1.0), 2)?)?;
    let (first, _) = run(folder.path(), "first", &first_job(0.0))?;
    let (later, json) = run(folder.path(), "later", LATER)?;
    println!("{}", report::summary(&later));
    let again = later.again.as_ref().ok_or("nothing found again")?;
    for change in &again.changes.features {
        let moved = match change.name.as_str() {
            "boss 1" => 0.4,
            "hole 2" => 0.5,
            _ => 0.0,
        };
        let off = (change.shift.norm() - moved).abs();
        // Four standard deviations: a shift has two or three components, and there are seven of them.
        assert!(off < 2.0 * change.shift_uncertainty.max(0.005), "{change:?}");
        let expected = if moved > 0.0 { Moved::Yes } else { Moved::No };
        assert!(
            change.moved == expected || moved == 0.0 && change.moved == Moved::Undecided,
            "{change:?}"
        );
    }
    let still = again.changes.features.iter().filter(|c| c.moved == Moved::No).count();
    assert!(still >= 3, "{:?}", again.changes.features);
    // Both days' axes are the same: they differ by what their datum features are known to.
    let axes = |pose: &Pose, day: f64| {
        // The scanner's frame of a day is known, so the machine's axes are known in those of the solid.
        pose * super::again::pose(day).inverse()
    };
    let off = axes(&later.machine_from_scan, 1.0) * axes(&first.machine_from_scan, 0.0).inverse();
    let at = Point3::new(80.0, 50.0, 0.0);
    println!("axes differ by {:.4} mm", (off * at - at).norm());
    assert!((off * at - at).norm() < 0.05, "{off}");
    let moved: Vec<&str> = json["again"]["features"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|f| f["verdict"] == "moved")
        .filter_map(|f| f["name"].as_str())
        .collect();
    assert_eq!(moved, ["boss 1", "hole 2"]);
    // The later run can be found again in its turn.
    let saved = SavedDatum::read(folder.path().join("later/datum.json"))?;
    assert_eq!(saved.features.len(), 7);
    Ok(())
}

/// A datum hole that moved takes the axes with it; that is told. A boss that is gone is not seen, not still.
#[test]
fn a_datum_feature_that_moved_and_one_that_is_gone_are_told() -> Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    put(folder.path(), "first.ply", &scanned(&machine(&BOSSES, &HOLES), &pose(0.0), 1)?)?;
    let mut holes = HOLES;
    holes[0][1] += 0.6;
    put(folder.path(), "later.ply", &scanned(&machine(&BOSSES[..1], &holes), &pose(1.0), 3)?)?;
    run(folder.path(), "first", &first_job(0.0))?;
    let (later, _) = run(folder.path(), "later", LATER)?;
    println!("{}", report::summary(&later));
    let changes = &later.again.as_ref().ok_or("nothing found again")?.changes;
    let of = |name: &str| changes.features.iter().find(|c| c.name == name).ok_or("missing");
    assert_eq!(changes.stand_out, ["hole 0"]);
    assert!(of("hole 0")?.moved == Moved::Yes && (of("hole 0")?.shift.norm() - 0.6).abs() < 0.05);
    assert!(
        changes.notes.iter().any(|n| n.contains("datum feature \"hole 0\" moved")),
        "{:?}",
        changes.notes
    );
    assert!(changes.probability < 1e-3);
    assert_eq!(of("boss 1")?.moved, Moved::NotSeen);
    Ok(())
}

/// A saved feature that is exactly known.
fn exact(name: &str, kind: FeatureKind, shape: Primitive, extent: f64) -> SavedFeature {
    let at = shape.point();
    let covariance = Covariance::zero(at);
    SavedFeature { name: name.into(), kind, shape, covariance, middle: at, extent, recipe: None }
}

/// The machine's saved features as they truly are.
fn truth(bosses: &[[f64; 4]], holes: &[[f64; 3]]) -> SavedDatum {
    let plane = |p: Point3| Primitive::Plane(Plane { point: p, normal: Vec3::z_axis() });
    let mut features = vec![exact("deck", FeatureKind::Plane, plane(Point3::origin()), 120.0)];
    for (k, [x, y, r, h]) in bosses.iter().enumerate() {
        features.push(exact(
            &format!("boss {k}"),
            FeatureKind::Plane,
            plane(Point3::new(*x, *y, *h)),
            *r,
        ));
    }
    for (k, [x, y, r]) in holes.iter().enumerate() {
        let wall = Cylinder { point: Point3::new(*x, *y, 0.0), axis: Vec3::z_axis(), radius: *r };
        features.push(exact(&format!("hole {k}"), FeatureKind::Hole, wall.into(), 2.0 * r));
    }
    let rule = vec![SavedRule { feature: "deck".into(), axis: Some("+z".into()), sets: None }];
    SavedDatum { job: "truth".into(), machine_from_scan: pose(0.0), rule, features }
}

fn placed(scan: &Scan) -> [Placed<'_>; 1] {
    [Placed { scan, all_from_this: Pose::identity(), covariance: None }]
}

/// Turned by half a turn about z, the machine looks the same: refused with both poses, decided by a start.
#[test]
fn a_symmetric_machine_is_refused() -> Result<(), Failure> {
    let bosses = [[-50.0, 30.0, 18.0, 20.0], [50.0, -30.0, 18.0, 20.0]];
    let holes = [[-80.0, -50.0, 5.0], [80.0, 50.0, 5.0], [70.0, -50.0, 5.0], [-70.0, 50.0, 5.0]];
    let datum = truth(&bosses, &holes);
    let scan = scanned(&machine(&bosses, &holes), &pose(1.0), 4)?;
    let context = Context::new(2)?;
    let refused = datum.find(&placed(&scan), &AgainOptions::default(), &context);
    let Err(Error::Join { reason }) = refused else { return Err("not refused".into()) };
    println!("{reason}");
    assert!(reason.contains("ambiguous") && reason.matches("shift (").count() == 2, "{reason}");
    let mut options = AgainOptions::default();
    options.start = Some(Translation3::new(2.0, 1.0, -1.0) * pose(1.0));
    let found = datum.find(&placed(&scan), &options, &context)?;
    let off = found.machine_from_scan * pose(1.0).inverse();
    println!("{} mm {} rad", off.translation.vector.norm(), off.rotation.angle());
    assert!(off.translation.vector.norm() < 0.1 && off.rotation.angle() < 2e-3);
    // Two holes leave a turn... and their own direction: the deck and the bosses alone leave the plane.
    let mut few = datum.clone();
    few.features.retain(|f| f.kind == FeatureKind::Plane);
    let Err(Error::Join { reason }) = few.find(&placed(&scan), &options, &context) else {
        return Err("planes of one direction were enough".into());
    };
    println!("{reason}");
    assert!(reason.contains("leave it free to"), "{reason}");
    Ok(())
}

/// A file that is damaged or lies is told with the place; nothing is believed or allocated from it.
#[test]
fn a_damaged_datum_file_is_told() -> Result<(), Failure> {
    let whole = truth(&BOSSES, &HOLES).to_json()?;
    let parse = |text: &str| SavedDatum::parse(text.as_bytes(), Path::new("datum.json"));
    assert_eq!(parse(&whole)?.features.len(), 7);
    let cut = &whole[..whole.len() / 2];
    let changed = |from: &str, to: &str| {
        assert!(whole.contains(from), "{from}");
        whole.replacen(from, to, 1)
    };
    let many: String = (0..1001).map(|k| format!("{{\"feature\": \"f{k}\"}},")).collect();
    for (text, said) in [
        (cut.to_owned(), "line"),
        (String::new(), "line"),
        ("[1, 2]".into(), "line"),
        (changed("\"fitwright_datum\": 1", "\"fitwright_datum\": 2"), "version 1"),
        (changed("\"length\": \"mm\"", "\"length\": \"in\""), "length"),
        (changed("\"extent\": 120.0", "\"extent\": NaN"), "line"),
        (changed("\"extent\": 120.0", "\"extent\": -1.0"), "\"deck\": extent"),
        (changed("\"extent\": 120.0", "\"extent\": 1e300"), "\"deck\": extent"),
        (changed("\"kind\": \"plane\"", "\"kind\": \"plain\""), "\"deck\": kind"),
        (changed("\"name\": \"hole 0\"", "\"name\": \"deck\""), "a name no other has"),
        (changed("\"feature\": \"deck\"", "\"feature\": \"desk\""), "\"desk\""),
        (changed("\"datums\": [", &format!("\"datums\": [{many}")), "one to three"),
        (changed("\"sizes\": [\n        8.5\n      ]", "\"sizes\": []"), "sizes"),
    ] {
        let error = parse(&text).err().ok_or_else(|| format!("believed: {said}"))?.to_string();
        assert!(error.contains("datum.json") && error.contains(said), "{said}: {error}");
    }
    let mut skewed = truth(&BOSSES, &HOLES);
    skewed.features[0].covariance.matrix[(0, 0)] = -1.0;
    let error = parse(&skewed.to_json()?).err().ok_or("believed")?.to_string();
    assert!(error.contains("negative variance"), "{error}");
    skewed.features[0].covariance.matrix[(0, 0)] = f64::NAN;
    assert!(matches!(skewed.to_json(), Err(Error::Internal(_))));
    Ok(())
}
