//! Ours read by libraries of others, theirs read by us.

use std::process::Command;

use fitwright::Result;
use fitwright::exchange::{MeshBody, Part, PartOptions, write_meshes};
use fitwright::primitive::{Point3, Vec3};
use fitwright_tests::python_with;
use serde_json::Value;

use super::{ball, read};

fn python(arguments: &[&std::ffi::OsStr]) -> Option<Value> {
    let python = python_with(&["OCP", "trimesh", "lxml", "networkx", "pye57"])?;
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/python/mesh_files.py");
    let out = Command::new(python).arg(script).args(arguments).output().expect("python runs");
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{said}");
    // The kernel prints lines of its own before.
    let text = String::from_utf8_lossy(&out.stdout);
    Some(serde_json::from_str(text.lines().last().expect("a line")).expect("JSON"))
}

fn triple(value: &Value) -> Vec3 {
    Vec3::from_fn(|i, _| value[i].as_f64().expect("a number"))
}

/// Volume, counts, places, names and colours of two bodies, hostile names among them.
#[test]
fn ours_are_read_by_others() -> Result<()> {
    let folder = tempfile::tempdir().expect("a folder");
    let (near, of_near) = ball(Vec3::new(40.0, -30.0, 20.0), 9.0, 9, 2);
    let (far, of_far) = ball(Vec3::new(-900.0, 50.5, 7.25), 25.0, 14, 3);
    let names = ["bearing cap <1> & \"lid\"", "Mühle 麦"];
    let colours = [[200, 40, 90], [10, 120, 250]];
    let bodies = [
        MeshBody { name: names[0], points: &near, triangles: &of_near, colour: Some(colours[0]) },
        MeshBody { name: names[1], points: &far, triangles: &of_far, colour: Some(colours[1]) },
    ];
    let formats = ["ply", "stl", "obj", "glb", "3mf"];
    let paths: Vec<_> =
        formats.iter().map(|f| folder.path().join("two").with_extension(f)).collect();
    for path in &paths {
        write_meshes(path, &bodies)?;
    }
    let mut arguments: Vec<&std::ffi::OsStr> = vec!["read".as_ref()];
    arguments.extend(paths.iter().map(|p| p.as_os_str()));
    let Some(found) = python(&arguments) else { return Ok(()) };
    for (format, libraries) in formats.iter().zip(found.as_array().expect("a list")) {
        for (library, bodies) in libraries.as_object().expect("libraries") {
            let place = format!("{format} by {library}");
            let bodies = bodies.as_array().expect("bodies");
            // trimesh leaves glTF's metres with Y up as they are.
            let metres = *format == "glb" && library == "trimesh";
            check_solids(&place, bodies, metres, [(&near, &of_near), (&far, &of_far)]);
            if library == "trimesh" && matches!(*format, "glb" | "3mf" | "obj") {
                for name in names {
                    let known = bodies.iter().any(|b| b["name"] == name);
                    // trimesh's reader of OBJ splits at blanks (5.2.0).
                    assert!(known || *format == "obj", "{place}: {name} not in {bodies:?}");
                }
            }
            if library == "trimesh" && *format == "glb" {
                for (name, colour) in names.iter().zip(colours) {
                    let body = bodies.iter().find(|b| b["name"] == *name).expect("the body");
                    // The file has linear light; what comes back is that times 255.
                    let linear = colour.map(|c: u8| {
                        let v = f64::from(c) / 255.0;
                        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
                    });
                    for (k, expected) in linear.iter().enumerate() {
                        let found = body["colour"][k].as_f64().expect("a colour") / 255.0;
                        assert!((found - expected).abs() < 1.01 / 255.0, "{place}: {body}");
                    }
                }
            }
        }
    }
    Ok(())
}

type Solid<'a> = (&'a Vec<Point3>, &'a Vec<[u32; 3]>);

fn check_solids(place: &str, bodies: &[Value], metres: bool, solids: [Solid<'_>; 2]) {
    let scale = if metres { 1e-3 } else { 1.0 };
    let count: u64 = bodies.iter().map(|b| b["triangles"].as_u64().expect("a count")).sum();
    let expected: usize = solids.iter().map(|s| s.1.len()).sum();
    assert_eq!(count as usize, expected, "{place}");
    let volume: f64 = bodies.iter().map(|b| b["volume"].as_f64().expect("a volume")).sum();
    let six: f64 = solids
        .iter()
        .flat_map(|(points, triangles)| {
            triangles.iter().map(|t| t.map(|i| points[i as usize].coords))
        })
        .map(|[a, b, c]| a.dot(&b.cross(&c)))
        .sum();
    let volume_due = six / 6.0 * scale * scale * scale;
    assert!((volume / volume_due - 1.0).abs() < 1e-4, "{place}: {volume} of {volume_due}");
    let all = || solids.iter().flat_map(|s| s.0.iter());
    let turned = |p: &Point3| if metres { Vec3::new(p.x, p.z, -p.y) * scale } else { p.coords };
    let (low, high) = all()
        .map(turned)
        .fold((Vec3::repeat(f64::INFINITY), Vec3::repeat(f64::NEG_INFINITY)), |(low, high), p| {
            (low.inf(&p), high.sup(&p))
        });
    let found = bodies
        .iter()
        .fold((Vec3::repeat(f64::INFINITY), Vec3::repeat(f64::NEG_INFINITY)), |(a, b), body| {
            (a.inf(&triple(&body["low"])), b.sup(&triple(&body["high"])))
        });
    // Single precision at 1000 mm.
    let off = (found.0 - low).amax().max((found.1 - high).amax());
    assert!(off < 1e-4 * scale, "{place}: {off}");
}

/// Bodies in turned, shifted and mirrored places, and scans with a pose.
#[test]
fn theirs_are_read_by_us() -> Result<()> {
    let folder = tempfile::tempdir().expect("a folder");
    let arguments = ["write".as_ref(), folder.path().as_os_str()];
    let Some(made) = python(&arguments) else { return Ok(()) };
    for (name, unit) in [("scene.glb", 1000.0), ("scene.3mf", 1.0)] {
        let part = Part::read(folder.path().join(name), &PartOptions::default())?;
        let due = &made[name];
        assert!(part.closed().is_ok(), "{name}");
        assert_eq!(
            part.triangles.len() as u64,
            due["triangles"].as_u64().expect("a count"),
            "{name}"
        );
        let volume = due["volume"].as_f64().expect("a volume") * unit * unit * unit;
        assert!(
            (part.volume() / volume - 1.0).abs() < 1e-6,
            "{name}: {} of {volume}",
            part.volume()
        );
        let (low, high) = part.bounding_box().expect("triangles");
        let (a, b) = (triple(&due["low"]) * unit, triple(&due["high"]) * unit);
        // glTF has Y up: (x, y, z) there is (x, -z, y) here.
        let (a, b) = match name {
            "scene.glb" => (Vec3::new(a.x, -b.z, a.y), Vec3::new(b.x, -a.z, b.y)),
            _ => (a, b),
        };
        let off = (low.coords - a).amax().max((high.coords - b).amax());
        assert!(off < 1e-6 * unit * 40.0, "{name}: {off}");
    }
    let scan = read(&folder.path().join("scan.e57"))?;
    let due = made["scan.e57"]["points"].as_array().expect("points");
    assert_eq!(scan.points().len(), due.len());
    for (ours, theirs) in scan.points().iter().zip(due) {
        let off = (ours.coords - triple(theirs) * 1000.0).amax();
        assert!(off < 1e-8, "{off}: {ours} {theirs}");
    }
    assert!(scan.notes().iter().any(|n| n.contains("2 scans")), "{:?}", scan.notes());
    Ok(())
}
