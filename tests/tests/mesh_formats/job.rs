//! What a job file asks to be written.

use fitwright::exchange::{MeshBody, Part, PartOptions, write_meshes};
use fitwright::job::{Folder, Job, WriteOptions};
use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::{Context, Result};
use nalgebra::Translation3;

use super::{ball, read};

/// A corner of three walls and a ball in it, turned and shifted away from the machine's axes.
#[test]
fn files_of_a_job_in_machine_coordinates() -> Result<()> {
    let folder = tempfile::tempdir().expect("a folder");
    let turn = nalgebra::UnitQuaternion::from_euler_angles(0.4, -0.3, 1.1);
    let scan_from_machine = Pose::from_parts(Translation3::new(100.0, 200.0, 300.0), turn);
    // Three walls of a corner, each 40 by 40 and a gap of one from the others.
    let (mut walls, mut triangles) = (Vec::new(), Vec::new());
    for axis in 0..3 {
        let first = walls.len() as u32;
        let at = |i: u32, j: u32| {
            let mut p = Point3::origin();
            p[(axis + 1) % 3] = f64::from(i) + 1.0;
            p[(axis + 2) % 3] = f64::from(j) + 1.0;
            scan_from_machine * p
        };
        walls.extend((0..41).flat_map(|i| (0..41).map(move |j| at(i, j))));
        let cell = |i: u32, j: u32| {
            let a = first + i * 41 + j;
            [[a, a + 41, a + 42], [a, a + 42, a + 1]]
        };
        triangles.extend((0..40).flat_map(|i| (0..40).flat_map(move |j| cell(i, j))));
    }
    let body = MeshBody { name: "corner", points: &walls, triangles: &triangles, colour: None };
    write_meshes(folder.path().join("corner.ply"), &[body])?;
    let (points, faces) = ball(Vec3::new(3.0, 4.0, 30.0), 8.0, 12, 1);
    let body = MeshBody { name: "cap", points: &points, triangles: &faces, colour: None };
    write_meshes(folder.path().join("cap.3mf"), &[body])?;
    let pick = |x: f64, y: f64, z: f64| {
        let p = scan_from_machine * Point3::new(x, y, z);
        format!("[{:.6}, {:.6}, {:.6}]", p.x, p.y, p.z)
    };
    let text = format!(
        r#"
        [job]
        name = "corner"
        [[scan]]
        name = "top"
        file = "corner.ply"
        [[feature]]
        name = "deck"
        fit = "plane"
        at = {}
        [[feature]]
        name = "left"
        fit = "plane"
        at = {}
        [[feature]]
        name = "front"
        fit = "plane"
        at = {}
        [datum]
        primary = {{ feature = "deck", axis = "+z" }}
        secondary = {{ feature = "left", axis = "+x" }}
        tertiary = {{ feature = "front", axis = "+y" }}
        [part]
        file = "cap.3mf"
        [output]
        step = "AP214"
        scan_date = "2026-02-28"
        [[output.mesh]]
        file = "all.glb"
        [[output.mesh]]
        file = "scan.3mf"
        of = ["top"]
        [[output.mesh]]
        file = "walls.stl"
        of = ["features"]
        [[output.mesh]]
        file = "cap.obj"
        of = ["part"]
        "#,
        pick(20.0, 20.0, 0.0),
        pick(0.0, 20.0, 20.0),
        pick(20.0, 0.0, 20.0)
    );
    let job = Job::parse(&text)?;
    let context = Context::new(2)?;
    let outcome = job.run(&Folder::of(&folder.path().join("job.toml")), &context)?;
    let written = outcome.write(folder.path(), "", WriteOptions::default())?;
    let name = |p: &std::path::PathBuf| p.file_name().map(|n| n.to_string_lossy().into_owned());
    let names: Vec<String> = written.iter().filter_map(name).collect();
    for file in ["all.glb", "scan.3mf", "walls.stl", "cap.obj", "features.step"] {
        assert!(names.iter().any(|n| n == file), "{file} not in {names:?}");
    }
    let step = std::fs::read_to_string(folder.path().join("features.step")).expect("a file");
    assert!(step.contains("AUTOMOTIVE_DESIGN") && step.contains("'2026-02-28'"));
    // The walls are the machine's planes in every file; the part stays where it was designed.
    for (file, count) in [("scan.3mf", triangles.len()), ("walls.stl", 6)] {
        let scan = read(&folder.path().join(file))?;
        let thick = scan.points().iter().map(|p| p.coords.abs().min()).fold(0.0, f64::max);
        assert!(thick < 1e-5, "{file}: {thick}");
        let (low, high) = (scan.points()[0], scan.points()[0]);
        let (low, high) = scan.points().iter().fold((low, high), |(a, b), p| (a.inf(p), b.sup(p)));
        assert!(
            low.coords.amax() < 1e-5 && (high.coords - Vec3::repeat(41.0)).amax() < 1.0,
            "{file}: {high}"
        );
        assert!(scan.triangles().len() >= count, "{file}");
    }
    let cap = Part::read(folder.path().join("cap.obj"), &PartOptions::default())?;
    assert_eq!((cap.points.len(), cap.triangles.len()), (points.len(), faces.len()));
    assert!(cap.points.iter().zip(&points).all(|(a, b)| a == b));
    let all = read(&folder.path().join("all.glb"))?;
    assert!(all.triangles().len() > triangles.len() + faces.len());
    // The features' faces cover the walls: three of 40 by 40.
    let walls = Part::read(folder.path().join("walls.stl"), &PartOptions::default())?;
    assert!((walls.area() / 4800.0 - 1.0).abs() < 0.1, "{}", walls.area());
    Ok(())
}
