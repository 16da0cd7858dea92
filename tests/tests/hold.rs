//! `hold` and `[[group]]` of the job file: from the text to the result.

use std::fmt::Write as _;

use fitwright::Context;
use fitwright::job::{Folder, Job};
use fitwright::primitive::{Primitive, Vec3};
use fitwright::simulate::random::Random;
use serde_json::Value;

const NOISE: f64 = 0.02;

const JOB: &str = r#"
[job]
name = "Known things"
length = "cm"

[[scan]]
name = "front"
file = "front.xyz"
unit = "mm"

[[feature]]
name = "deck"
fit = "plane"
region = { box = [[-1, -1, -0.3], [7, 5, 0.3]] }

[[feature]]
name = "fillet"
fit = "cylinder"
region = { box = [[9, -2, 0.5], [15, 2, 3]] }
hold = { radius = 1.0, parallel = "deck" }

[[feature]]
name = "wall"
fit = "plane"
region = { box = [[-3, -1, 0.5], [-1, 5, 5]] }
hold = { perpendicular = "deck", through = [-2, 0, 0] }

[[feature]]
name = "journal"
fit = "cylinder"
region = { box = [[0, 10, -3], [6, 16, 3]] }

[[feature]]
name = "stub"
fit = "cylinder"
region = { box = [[6.5, 10, -3], [9, 16, 3]] }

[[group]]
name = "shaft line"
relation = "coaxial"
features = ["journal", "stub"]
"#;

/// Deck in z = 0, a 20-degree fillet of radius 10 about z, a wall in x = -20, a shaft along x.
fn points() -> Vec<Vec3> {
    let mut n = Random::new(40);
    let mut out = Vec::new();
    for _ in 0..4000 {
        out.push(Vec3::new(60.0 * n.uniform(), 40.0 * n.uniform(), NOISE * n.normal()));
        let (sin, cos) = (20f64.to_radians() * (n.uniform() - 0.5)).sin_cos();
        let r = 10.0 + NOISE * n.normal();
        out.push(Vec3::new(100.0 + r * cos, r * sin, 6.0 + 20.0 * n.uniform()));
        out.push(Vec3::new(
            -20.0 + NOISE * n.normal(),
            40.0 * n.uniform(),
            6.0 + 40.0 * n.uniform(),
        ));
        let (sin, cos) = (std::f64::consts::TAU * n.uniform()).sin_cos();
        let r = 15.0 + NOISE * n.normal();
        out.push(Vec3::new(60.0 * n.uniform(), 130.0 + r * cos, r * sin));
        let (sin, cos) = (5f64.to_radians() * n.uniform()).sin_cos();
        let r = 8.0 + NOISE * n.normal();
        out.push(Vec3::new(66.0 + 20.0 * n.uniform(), 130.0 + r * cos, r * sin));
    }
    out
}

#[test]
fn a_job_holds_what_is_known_and_says_what_it_cost() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut text = String::new();
    for p in points() {
        writeln!(text, "{} {} {}", p.x, p.y, p.z).expect("text");
    }
    std::fs::write(dir.path().join("front.xyz"), text).expect("a scan");
    let job = Job::parse(JOB).expect("a job");
    let context = Context::new(1).expect("a thread");
    let folder = Folder::of(&dir.path().join("job.toml"));
    let outcome = job.run(&folder, &context).expect("a run");
    let shape = |name: &str| {
        let found = outcome.features.iter().find(|f| f.feature.name == name).expect(name);
        found.feature.clone()
    };
    let (deck, fillet, wall) = (shape("deck"), shape("fillet"), shape("wall"));
    let up = deck.shape.direction().expect("normal");
    let Primitive::Cylinder(c) = &fillet.shape else { panic!("a cylinder") };
    assert!((c.radius - 10.0).abs() < 1e-13 && c.axis.cross(&up).norm() < 1e-14);
    let (x, r) = (c.point.x - 100.0, fillet.covariance.deviation_at(&c.point));
    assert!(x.abs() < 4.0 * r, "{x} of {r}");
    assert!(wall.shape.direction().expect("normal").dot(&up).abs() < 1e-14);
    assert!(wall.shape.distance(&fitwright::primitive::Point3::new(-20.0, 0.0, 0.0)).abs() < 1e-13);
    // The deck's own tilt is in what is held to it.
    let (own, taken) = (deck.covariance.tilt(&up), fillet.covariance.tilt(&c.axis));
    assert!(own > 0.0 && (taken / own - 1.0).abs() < 1e-6, "{taken} of {own}");
    let (journal, stub) = (shape("journal"), shape("stub"));
    let (Primitive::Cylinder(a), Primitive::Cylinder(b)) = (&journal.shape, &stub.shape) else {
        panic!("cylinders")
    };
    assert!(a.axis_line().distance(&b.point) < 1e-12 && a.axis.cross(&b.axis).norm() < 1e-14);
    assert!((b.radius - 8.0).abs() < 4.0 * stub.covariance.size(0));

    let result: Value = serde_json::from_str(&outcome.to_json().expect("a result")).expect("JSON");
    let feature = &result["features"][1];
    assert_eq!(feature["held"]["radius"], 1.0);
    assert_eq!(feature["held"]["parallel"], "deck");
    assert_eq!(feature["cost"]["freedoms"], 3);
    assert!((feature["cost"]["sigma"].as_f64().expect("sigma") / (NOISE / 10.0) - 1.0).abs() < 0.1);
    assert_eq!(result["features"][2]["cost"]["freedoms"], 2);
    assert!(result["features"][2]["cost"]["probability"].as_f64().expect("p") > 1e-3);
    assert!(result["features"][0].get("held").is_none());
    assert_eq!(result["groups"][0]["name"], "shaft line");
    assert_eq!(result["groups"][0]["relation"], "coaxial");
    assert_eq!(result["groups"][0]["cost"]["freedoms"], 4);
}

/// The job with one text for another, and what its message must name.
#[test]
fn contradictions_name_their_place() {
    for (old, new, place, reason) in [
        ("radius = 1.0,", "radius = -1.0,", "\"fillet\" hold", "above zero"),
        ("radius = 1.0,", "direction = [0, 0, 1],", "\"fillet\" hold", "give one of them"),
        ("parallel = \"deck\"", "direction = [0, 0, 0]", "\"fillet\" hold", "three finite"),
        ("parallel = \"deck\"", "parallel = \"dek\"", "dek", "deck"),
        ("radius = 1.0, parallel = \"deck\"", "", "\"fillet\" hold", "holds nothing"),
        ("through = [-2, 0, 0]", "thru = [-2, 0, 0]", "line", "`through`"),
        ("\"coaxial\"", "\"coplanar\"", "\"shaft line\"", "cannot be coplanar"),
        ("\"coaxial\"", "\"coaxal\"", "line", "`coaxial`"),
        ("\"journal\", \"stub\"", "\"journal\"", "\"shaft line\"", "two features"),
        ("\"journal\", \"stub\"", "\"journal\", \"fillet\"", "\"shaft line\"", "`hold`"),
        ("\"journal\", \"stub\"", "\"journal\", \"journal\"", "feature of a group", "twice"),
        ("\"journal\", \"stub\"", "\"journal\", \"stab\"", "stab", "stub"),
    ] {
        let text = JOB.replacen(old, new, 1);
        assert_ne!(text, JOB);
        let message = Job::parse(&text).expect_err(new).to_string();
        assert!(message.contains(place) && message.contains(reason), "{new}: {message}");
    }
    // What builds on a feature of a group stands after the group.
    let early = JOB.replace("[[feature]]\nname = \"stub\"", "[[feature]]\nname = \"rim\"\nfit = \"plane\"\nregion = { near = \"journal\", within = 1 }\n\n[[feature]]\nname = \"stub\"");
    assert_ne!(early, JOB);
    let message = Job::parse(&early).expect_err("too early").to_string();
    assert!(message.contains("\"rim\"") && message.contains("after"), "{message}");
}
