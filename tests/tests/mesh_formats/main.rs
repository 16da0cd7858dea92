//! Mesh files out and in again, and against readers and writers of others: trimesh (GLB, 3MF, OBJ, PLY, STL),
//! the Open CASCADE kernel (GLB, STL) and libE57Format, all in Python.
//!
//! What needs Python reads `FITWRIGHT_PYTHON` (`tests/python/requirements.txt`); without it the test says so.

mod hostile;
mod job;
mod outside;

use std::path::{Path, PathBuf};

use fitwright::exchange::{MeshBody, Part, PartOptions, write_meshes};
use fitwright::primitive::{Point3, Vec3};
use fitwright::scan::{ReadOptions, Scan, read_mesh};
use fitwright::simulate::random::Random;
use fitwright::units::LengthUnit;
use fitwright::{Error, Result};

/// A ball of triangles: closed, corners of no round numbers.
fn ball(centre: Vec3, radius: f64, rings: u32, seed: u64) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let mut random = Random::new(seed);
    let columns = 2 * rings;
    let angle = |k: u32, n: u32| f64::from(k) / f64::from(n) * std::f64::consts::PI;
    let mut points = vec![Point3::from(centre + Vec3::z() * radius)];
    for i in 1..rings {
        for j in 0..columns {
            let (a, b) = (angle(i, rings), angle(2 * j, columns));
            let out = Vec3::new(a.sin() * b.cos(), a.sin() * b.sin(), a.cos());
            points.push(Point3::from(centre + out * (radius + 0.01 * random.uniform())));
        }
    }
    points.push(Point3::from(centre - Vec3::z() * radius));
    let last = points.len() as u32 - 1;
    let at = |i: u32, j: u32| 1 + (i - 1) * columns + j % columns;
    let mut triangles = Vec::new();
    for j in 0..columns {
        triangles.push([0, at(1, j), at(1, j + 1)]);
        triangles.push([last, at(rings - 1, j + 1), at(rings - 1, j)]);
        for i in 1..rings - 1 {
            triangles.push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            triangles.push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
    (points, triangles)
}

fn read(path: &Path) -> Result<Scan> {
    Scan::read(path, LengthUnit::Millimetre)
}

const ALL: [&str; 5] = ["ply", "stl", "obj", "glb", "3mf"];

/// What is written is read: to the bit where the format is double, to the half unit of single precision about
/// the body's middle where it is not. Six metres from the origin, so that a lost digit shows.
#[test]
fn what_is_written_is_read() -> Result<()> {
    let folder = tempfile::tempdir().expect("a folder");
    let (points, triangles) = ball(Vec3::new(6000.1, -321.7, 45.3), 31.3, 12, 5);
    let body =
        MeshBody { name: "ball", points: &points, triangles: &triangles, colour: Some([1, 2, 3]) };
    for format in ALL {
        let path = folder.path().join("ball").with_extension(format);
        write_meshes(&path, &[body])?;
        let back = read(&path)?;
        assert_eq!(back.triangles().len(), triangles.len(), "{format}");
        // Sixteen bits before the point are about the middle, or about the origin.
        let allowed = match format {
            "ply" | "obj" | "3mf" => 0.0,
            "glb" => 32.0 * f64::from(f32::EPSILON),
            _ => 8192.0 * f64::from(f32::EPSILON),
        };
        // STL has no numbers of its own.
        if format != "stl" {
            assert_eq!(back.triangles(), triangles, "{format}");
        }
        for (ours, theirs) in triangles.iter().zip(back.triangles()) {
            for (a, b) in ours.iter().zip(theirs) {
                let off = (points[*a as usize] - back.points()[*b as usize]).amax();
                assert!(off <= allowed, "{format}: {off}");
            }
        }
        let part = Part::read(&path, &PartOptions::default())?;
        assert!(part.closed().is_ok(), "{format}");
        assert_eq!(part.solids, 1, "{format}");
    }
    Ok(())
}

/// Written, read and written again: the same bytes.
#[test]
fn a_second_writing_is_the_first() -> Result<()> {
    let folder = tempfile::tempdir().expect("a folder");
    let (points, triangles) = ball(Vec3::new(-12.25, 700.5, 3.0), 8.0, 7, 9);
    for format in ALL {
        let path = |name: &str| folder.path().join(name).with_extension(format);
        let write = |name: &str, points: &[Point3], triangles: &[[u32; 3]]| {
            write_meshes(path(name), &[MeshBody { name: "ball", points, triangles, colour: None }])
        };
        write("one", &points, &triangles)?;
        let once = read(&path("one"))?;
        write("two", once.points(), once.triangles())?;
        let twice = read(&path("two"))?;
        write("three", twice.points(), twice.triangles())?;
        let bytes = |name: &str| std::fs::read(path(name)).expect("the file");
        assert_eq!(bytes("two"), bytes("three"), "{format}");
        if matches!(format, "ply" | "obj" | "3mf") {
            assert_eq!(bytes("one"), bytes("two"), "{format}");
        }
    }
    Ok(())
}

/// Bare points go through the formats that have them, and are refused by name where there are only triangles.
#[test]
fn bare_points() -> Result<()> {
    let folder = tempfile::tempdir().expect("a folder");
    let points: Vec<Point3> = ball(Vec3::zeros(), 5.0, 6, 1).0;
    let body = MeshBody { name: "cloud", points: &points, triangles: &[], colour: None };
    for format in ["ply", "obj", "glb"] {
        let path = folder.path().join("cloud").with_extension(format);
        write_meshes(&path, &[body])?;
        let back = read(&path)?;
        assert!(!back.is_mesh(), "{format}");
        assert_eq!(back.points().len(), points.len(), "{format}");
    }
    for format in ["stl", "3mf"] {
        let path = folder.path().join("cloud").with_extension(format);
        let error = write_meshes(&path, &[body]).expect_err("no triangles");
        assert!(
            error.to_string().contains("\"cloud\"") && error.to_string().contains("PLY"),
            "{error}"
        );
        assert!(!path.exists());
    }
    Ok(())
}

#[test]
fn bad_bodies_are_refused_and_nothing_is_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let (points, triangles) = ball(Vec3::zeros(), 5.0, 4, 1);
    let mut broken = points.clone();
    broken[3].y = f64::NAN;
    let body = MeshBody { name: "a", points: &points, triangles: &triangles, colour: None };
    let long = "n".repeat(300);
    let cases: Vec<(Vec<MeshBody<'_>>, &str)> = vec![
        (vec![], "at least one"),
        (vec![body, body], "used twice"),
        (vec![MeshBody { name: "", ..body }], "name of body 1"),
        (vec![MeshBody { name: &long, ..body }], "name of body 1"),
        (vec![MeshBody { name: "a\0b", ..body }], "name of body 1"),
        (vec![MeshBody { points: &broken, ..body }], "finite"),
        (vec![MeshBody { points: &points[..9], ..body }], "corners below 9"),
    ];
    for format in ALL {
        for (bodies, said) in &cases {
            let path = folder.path().join("x").with_extension(format);
            let error = write_meshes(&path, bodies).expect_err(said).to_string();
            assert!(error.contains(said), "{format}: {error}");
        }
        let missing = folder.path().join("no/x").with_extension(format);
        assert!(matches!(write_meshes(missing, &[body]), Err(Error::Io { .. })), "{format}");
    }
    let other = write_meshes(folder.path().join("x.dxf"), &[body]).expect_err("a format");
    assert!(other.to_string().contains("ply, stl, obj, glb, 3mf"), "{other}");
    assert_eq!(std::fs::read_dir(folder.path()).expect("the folder").count(), 0);
}

fn write_file(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).expect("a file");
    path
}

fn error_of(folder: &Path, name: &str, bytes: &[u8]) -> String {
    let path = write_file(folder, name, bytes);
    match read_mesh(&path, LengthUnit::Millimetre, &ReadOptions::default()) {
        Ok(mesh) => panic!("{name}: read {} points", mesh.points.len()),
        Err(e) => e.to_string(),
    }
}
