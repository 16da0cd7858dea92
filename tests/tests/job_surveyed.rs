//! `surveyed` in the job file: a feature names a primitive of the survey by a place near it and a size.

use std::path::Path;

use fitwright::job::{Folder, Job, Outcome};
use fitwright::primitive::{Point3, Pose, Primitive, Vec3};
use fitwright::scan::{Precision, Scan, write_ply};
use fitwright::{Context, Error};
use fitwright_tests::machines::{labelled, valve};
use fitwright_tests::scenes::Mesh;
use nalgebra::{Translation3, UnitQuaternion};

type Failure = Box<dyn std::error::Error>;

fn written(scan: &Scan, folder: &Path) -> Result<(), Failure> {
    let (points, triangles) = (scan.points(), scan.triangles());
    Ok(write_ply(folder.join("scan.ply"), points, triangles, &[], Precision::Double)?)
}

fn run(folder: &Path, job: &str) -> Result<Outcome, Error> {
    Job::parse(job)?.run(&Folder::of(&folder.join("job.toml")), &Context::new(0)?)
}

#[test]
fn the_right_one_of_two_coaxial_bores_is_found_by_its_size() -> Result<(), Failure> {
    let truth = labelled(valve(), 1.3, 0.03, 5)?;
    let folder = tempfile::tempdir()?;
    written(&truth.scan.to_scan()?, folder.path())?;
    // The mouth of the counterbore of 52 mm, 25 mm over that of the main bore of 36 mm, in centimetres.
    let scan_from_machine = truth.scan.machine_from_scan.inverse();
    let [x, y, z]: [f64; 3] = (scan_from_machine * Point3::new(80.0, -10.0, 0.0) / 10.0).into();
    let feature = |name: &str, size: &str| {
        format!(
            "[[feature]]\nname = \"{name}\"\nfit = \"cylinder\"\n\
             surveyed = {{ near = [{x}, {y}, {z}]{size} }}\n"
        )
    };
    let job = format!(
        "[job]\nname = \"bores\"\nlength = \"cm\"\n[[scan]]\nname = \"a\"\nfile = \"scan.ply\"\nunit = \"mm\"\n\
         {}{}{}{}{}[[group]]\nname = \"g\"\nrelation = \"coaxial\"\nfeatures = [\"bore of a group\", \"wide of a group\"]\n",
        feature("bore", ", size = 3.6"),
        feature("wide", ", size = 5.2"),
        feature("nearest", ""),
        feature("bore of a group", ", size = 3.7"),
        feature("wide of a group", ", size = 5.0"),
    );
    let outcome = run(folder.path(), &job)?;
    let axis = scan_from_machine * Vec3::x();
    for (name, radius) in [
        ("bore", 18.0),
        ("wide", 26.0),
        ("nearest", 26.0),
        ("bore of a group", 18.0),
        ("wide of a group", 26.0),
    ] {
        let found = outcome.features.iter().find(|f| f.feature.name == name).expect("the feature");
        let Primitive::Cylinder(c) = &found.feature.shape else { panic!("{name} is no cylinder") };
        assert!((c.radius - radius).abs() < 0.02, "{name}: {} mm, true {radius}", c.radius);
        assert!(c.axis.dot(&axis).abs() > 0.999_99, "{name}: along {:?}", c.axis);
        assert!(found.surface.len() > 500, "{name}: {} points", found.surface.len());
    }
    Ok(())
}

/// The datum system is the corner of the valve's top with its side of the bores and the one beside it; the bores'
/// mouth is at x = 0, y = 40, z = -35 from there. The second scan is the same, moved, and joined by four dots.
#[test]
fn a_place_in_the_machine_frame_is_taken_to_the_scan() -> Result<(), Failure> {
    let truth = labelled(valve(), 1.3, 0.03, 5)?;
    let folder = tempfile::tempdir()?;
    let scan = truth.scan.to_scan()?;
    written(&scan, folder.path())?;
    let b_from_a = Pose::from_parts(
        Translation3::new(40.0, -300.0, 11.0),
        UnitQuaternion::from_scaled_axis(Vec3::new(0.4, 1.1, -0.7)),
    );
    let moved = scan.transformed(&b_from_a);
    let file = folder.path().join("moved.ply");
    write_ply(file, moved.points(), moved.triangles(), &[], Precision::Double)?;
    let scan_from_machine = truth.scan.machine_from_scan.inverse();
    let in_scan = |place: [f64; 3]| <[f64; 3]>::from(scan_from_machine * Point3::from(place));
    let plane = |name: &str, place: [f64; 3]| {
        let near = in_scan(place);
        format!(
            "[[feature]]\nname = \"{name}\"\nfit = \"plane\"\nsurveyed = {{ near = {near:?} }}\n"
        )
    };
    let bore = |name: &str, more: &str, size: f64| {
        format!(
            "[[feature]]\nname = \"{name}\"\nfit = \"cylinder\"\n{more}\
             surveyed = {{ near = [0.0, 40.0, -35.0], size = {size} }}\n"
        )
    };
    let dots = [[0.0, 0.0, 0.0], [90.0, 10.0, 5.0], [20.0, 70.0, -30.0], [55.0, -40.0, 60.0]];
    let text = |moved: &Pose| {
        let line = |p: [f64; 3]| {
            (moved * Point3::from(p)).iter().map(f64::to_string).collect::<Vec<_>>().join(" ")
        };
        dots.map(line).join("\n") + "\n"
    };
    std::fs::write(folder.path().join("a.txt"), text(&Pose::identity()))?;
    std::fs::write(folder.path().join("b.txt"), text(&b_from_a))?;
    let job = format!(
        "[job]\nname = \"bores\"\n[[scan]]\nname = \"a\"\nfile = \"scan.ply\"\ntargets = \"a.txt\"\n\
         [[scan]]\nname = \"b\"\nfile = \"moved.ply\"\n\
         join = {{ to = \"a\", by = \"targets\", targets = \"b.txt\" }}\n{}{}{}{}{}\
         [datum]\nprimary = {{ feature = \"top\", axis = \"+z\" }}\n\
         secondary = {{ feature = \"side\", axis = \"+x\" }}\ntertiary = {{ feature = \"front\" }}\n",
        plane("top", [60.0, 0.0, 35.0]),
        plane("side", [80.0, -45.0, 25.0]),
        plane("front", [0.0, -50.0, 0.0]),
        bore("bore", "frame = \"machine\"\n", 36.0),
        bore("wide", "frame = \"machine\"\nscan = \"b\"\n", 52.0),
    );
    let outcome = run(folder.path(), &job)?;
    for (name, radius) in [("bore", 18.0), ("wide", 26.0)] {
        let found = outcome.features.iter().find(|f| f.feature.name == name).expect("the feature");
        let Primitive::Cylinder(c) = &found.feature.shape else { panic!("{name} is no cylinder") };
        assert!((c.radius - radius).abs() < 0.02, "{name}: {} mm, true {radius}", c.radius);
        let off = c.axis_line().distance(&Point3::new(0.0, 40.0, -35.0));
        assert!(off < 0.05, "{name}: its axis passes the mouth by {off} mm");
    }
    Ok(())
}

const HEAD: &str =
    "[job]\nname = \"n\"\n[[scan]]\nname = \"a\"\nfile = \"scan.ply\"\n[[feature]]\nname = \"f\"\n";

#[test]
fn what_is_not_there_or_not_clear_is_told_with_what_is() -> Result<(), Failure> {
    // A floor and a wall that meet in the y axis, 40 mm each way.
    let floor = Mesh::sheet([0.0; 3], [[40.0, 0.0, 0.0], [0.0, 40.0, 0.0]], [60, 60]);
    let wall = Mesh::sheet([0.0; 3], [[0.0, 40.0, 0.0], [0.0, 0.0, 40.0]], [60, 60]);
    let both = floor.and(&wall);
    let folder = tempfile::tempdir()?;
    written(&Scan::from_mesh(both.0, both.1)?, folder.path())?;
    let of = |fit: &str, surveyed: &str| {
        run(folder.path(), &format!("{HEAD}fit = \"{fit}\"\nsurveyed = {{ {surveyed} }}\n"))
    };
    let floor = of("plane", "near = [30.0, 20.0, 1.0]")?;
    let normal = floor.features[0].feature.shape.direction().expect("a normal");
    assert!(normal.z.abs() > 1.0 - 1e-9 && floor.features[0].surface.len() > 3000);
    for (fit, surveyed, words) in [
        (
            "cylinder",
            "near = [1.0, 20.0, 1.0], size = 96",
            ["surveyed cylinder of about 96 mm near [1, 20, 1]", "no cylinder at all", "`region`"],
        ),
        (
            "plane",
            "near = [500.0, 20.0, 0.0]",
            // 40 mm square, 460 mm from the floor's far edge.
            ["near [500, 20, 0]", "the nearest plane is plane", "460.000 mm away: correct `near`"],
        ),
        (
            "plane",
            "near = [0.0, 20.0, 0.0]",
            ["surveyed plane near [0, 20, 0]", "equally near", "give a place nearer to the one"],
        ),
    ] {
        let message = of(fit, surveyed).expect_err("no answer").to_string();
        assert!(message.contains("[[feature]] \"f\""), "{message}");
        for word in words {
            assert!(message.contains(word), "{word}: {message}");
        }
    }
    Ok(())
}

#[test]
fn what_contradicts_is_refused_when_read() {
    for (more, said) in [
        ("fit = \"hole\"\nsurveyed = { near = [0, 0, 0] }", "not with \"hole\""),
        ("fit = \"circle\"\nsurveyed = { near = [0, 0, 0] }", "give `at` or `region`"),
        ("fit = \"plane\"\nat = [0, 0, 0]\nsurveyed = { near = [0, 0, 0] }", "contradict"),
        ("fit = \"plane\"\nregion = \"all\"\nsurveyed = { near = [0, 0, 0] }", "contradict"),
        ("fit = \"plane\"\nsurveyed = { near = [0, 0, 0], size = 3 }", "a plane has not"),
        ("fit = \"sphere\"\nsurveyed = { near = [0, 0, 0], size = 0 }", "over 0"),
        ("fit = \"sphere\"\nsurveyed = { near = [0, 0, 0], size = nan }", "over 0"),
        ("fit = \"sphere\"\nsurveyed = { near = [inf, 0, 0] }", "three finite numbers"),
        ("fit = \"sphere\"\nreach = 1\nsurveyed = { near = [0, 0, 0] }", "`reach`"),
        ("fit = \"sphere\"\nsurveyed = { size = 3 }", "near"),
        ("fit = \"sphere\"\nsurveyed = { near = [0, 0, 0], siz = 3 }", "did you mean `size`?"),
    ] {
        let error = Job::parse(&format!("{HEAD}{more}\n")).expect_err("a job to be refused");
        assert!(error.to_string().contains(said), "{said}: {error}");
    }
    let schema = fitwright::job::schema().expect("a schema");
    assert!(schema.contains("\"surveyed\"") && schema.contains("SurveyedSpec"));
}

#[test]
fn a_starter_job_names_the_unit_of_its_scan() -> Result<(), Failure> {
    let sheet = Mesh::sheet([0.0; 3], [[4.0, 0.0, 0.0], [0.0, 4.0, 0.0]], [60, 60]);
    let scan = Scan::from_mesh(sheet.0, sheet.1)?;
    let survey = fitwright::survey::Survey::of(&scan, &Default::default())?;
    let unit = fitwright::units::LengthUnit::Inch;
    let files = fitwright::job::SurveyFiles { survey: &survey, scan_file: "scan.ply", unit };
    assert_eq!(Job::parse(&files.starter_job())?.scans[0].unit.as_deref(), Some("in"));
    Ok(())
}
