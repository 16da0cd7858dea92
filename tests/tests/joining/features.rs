//! Joining by features: poses and covariances against draws of known truth, and what is refused.

use std::path::Path;

use fitwright::associate::Covariance;
use fitwright::job::{Folder, Job};
use fitwright::primitive::{
    Circle, Cylinder, Direction, Line, Plane, Point3, Pose, Primitive, Sphere, Torus, Vec3,
    any_perpendicular, unit,
};
use fitwright::register::{FeatureJoin, FeatureOptions, SameFeature, by_features};
use fitwright::report::ReportOptions;
use fitwright::scan::{Precision, write_ply};
use fitwright::simulate::random::Random;
use fitwright::{Context, Error, Result};
use fitwright_tests::machines::{labelled, pump};
use nalgebra::{Matrix6, SMatrix, Translation3, UnitQuaternion, Vector6};

type Failure = Box<dyn std::error::Error>;

/// Standard deviations of place (mm) and tilt (rad) of the features drawn.
const PLACE: f64 = 0.01;
const TILT: f64 = 2e-4;

fn direction(x: f64, y: f64, z: f64) -> Direction {
    unit(Vec3::new(x, y, z)).expect("a direction")
}

fn plane(p: [f64; 3], n: [f64; 3]) -> Primitive {
    Plane { point: p.into(), normal: direction(n[0], n[1], n[2]) }.into()
}

fn bore(p: [f64; 3], a: [f64; 3]) -> Primitive {
    Cylinder { point: p.into(), axis: direction(a[0], a[1], a[2]), radius: 4.0 }.into()
}

fn ball(p: [f64; 3]) -> Primitive {
    Sphere { centre: p.into(), radius: 10.0 }.into()
}

/// A seat with two holes, a side face, a ring and a ball: more than a pose needs.
fn layout() -> Vec<(&'static str, Primitive)> {
    let ring = Torus {
        centre: Point3::new(60.0, 90.0, 30.0),
        axis: direction(0.1, 1.0, 0.2),
        major_radius: 20.0,
        minor_radius: 4.0,
    };
    vec![
        ("deck", plane([50.0, 40.0, 0.0], [0.0, 0.0, 1.0])),
        ("hole A", bore([10.0, 10.0, 0.0], [0.0, 0.0, 1.0])),
        ("hole B", bore([150.0, 40.0, 0.0], [0.02, 0.0, 1.0])),
        ("side", plane([0.0, 50.0, -20.0], [-1.0, 0.1, 0.0])),
        ("ring", ring.into()),
        ("ball", ball([100.0, -60.0, 80.0])),
    ]
}

fn any_pose(random: &mut Random) -> Pose {
    let turn = random.normal_vector().normalize() * (std::f64::consts::PI * random.uniform());
    let shift = Translation3::from(random.normal_vector() * 300.0);
    Pose::from_parts(shift, UnitQuaternion::from_scaled_axis(turn))
}

/// The shape moved a little at random, about its own place, with the covariance that it was drawn from.
fn drawn(shape: &Primitive, scale: f64, random: &mut Random) -> (Primitive, Covariance) {
    let at = shape.point();
    let turn = UnitQuaternion::from_scaled_axis(random.normal_vector() * (scale * TILT));
    let moved = Translation3::from(random.normal_vector() * (scale * PLACE))
        * Pose::rotation_wrt_point(turn, at);
    let shape = shape.transformed(&moved);
    // As fits state it: no spread along what the shape does not show.
    let along = shape.direction().map(|d| d.into_inner() * d.transpose()).unwrap_or_default();
    let one = nalgebra::Matrix3::identity();
    let (place, tilt) = match &shape {
        Primitive::Plane(_) => (along, one - along),
        Primitive::Cylinder(_) | Primitive::Line(_) => (one - along, one - along),
        Primitive::Sphere(_) => (one, one * 0.0),
        _ => (one, one - along),
    };
    let mut matrix = SMatrix::<f64, 8, 8>::zeros();
    matrix.fixed_view_mut::<3, 3>(0, 0).copy_from(&(place * (scale * PLACE).powi(2)));
    matrix.fixed_view_mut::<3, 3>(3, 3).copy_from(&(tilt * (scale * TILT).powi(2)));
    (shape, Covariance { at, matrix })
}

/// Features as two scans show them; the second lies at the inverse of the truth.
fn same(
    layout: &[(&str, Primitive)],
    truth: &Pose,
    directed: bool,
    random: &mut Random,
) -> Vec<SameFeature> {
    let pair = |(name, shape): &(&str, Primitive)| {
        let (to, to_covariance) = drawn(shape, 1.0, random);
        let (from, from_covariance) = drawn(&shape.transformed(&truth.inverse()), 1.5, random);
        let plane = matches!(shape, Primitive::Plane(_));
        // The sign of an axis is chance.
        let from =
            if (!plane || !directed) && random.uniform() < 0.5 { turned(&from) } else { from };
        SameFeature {
            name: (*name).into(),
            to,
            to_covariance,
            from,
            from_covariance,
            directed: directed && plane,
        }
    };
    layout.iter().map(pair).collect()
}

fn turned(shape: &Primitive) -> Primitive {
    match shape.clone() {
        Primitive::Plane(s) => Plane { normal: -s.normal, ..s }.into(),
        Primitive::Line(s) => Line { direction: -s.direction, ..s }.into(),
        Primitive::Cylinder(s) => Cylinder { axis: -s.axis, ..s }.into(),
        Primitive::Torus(s) => Torus { axis: -s.axis, ..s }.into(),
        Primitive::Circle(s) => Circle { normal: -s.normal, ..s }.into(),
        other => other,
    }
}

fn join(same: &[SameFeature]) -> Result<FeatureJoin> {
    by_features(same, &FeatureOptions::default())
}

fn refusal(same: &[SameFeature]) -> String {
    match join(same) {
        Err(Error::Join { reason }) => reason,
        other => panic!("no refusal: {other:?}"),
    }
}

/// Error as a motion about the middle of what was matched, and its square in the stated uncertainty.
fn error(found: &FeatureJoin, truth: &Pose) -> std::result::Result<(Vector6<f64>, f64), Failure> {
    let covariance = &found.join.covariance;
    let e = found.join.to_from_this * truth.inverse();
    let shift = e * covariance.at - covariance.at;
    let turn = e.rotation.scaled_axis();
    let e = Vector6::new(shift.x, shift.y, shift.z, turn.x, turn.y, turn.z);
    let c: Matrix6<f64> = covariance.matrix.fixed_view::<6, 6>(0, 0).into_owned();
    Ok((e, e.dot(&(c.try_inverse().ok_or("singular")? * e))))
}

/// From any pose; mean squares against those of chi-square distributions of 6 and of so many freedoms.
#[test]
fn pose_and_covariance_are_what_draws_show() -> std::result::Result<(), Failure> {
    let trials = 600;
    let (mut pose_square, mut square, mut freedoms, mut small) = (0.0, 0.0, 0, 0);
    for trial in 0..trials {
        let mut random = Random::new(trial);
        let truth = any_pose(&mut random);
        let found = join(&same(&layout(), &truth, true, &mut random))?;
        let (e, s) = error(&found, &truth)?;
        assert!(e.fixed_rows::<3>(0).norm() < 0.1, "{trial}: {e}");
        assert!(found.join.converged);
        pose_square += s;
        // An outlier is seen once in a thousand times where there is none.
        small += u32::from(found.features.iter().any(|f| !f.used) || found.probability < 1e-3);
        square += found.chi_square;
        freedoms = freedoms.max(found.freedoms);
    }
    let n = trials as f64;
    println!("{:.3} (6), {:.3} ({freedoms}), {small}", pose_square / n, square / n);
    assert_eq!(freedoms, 3 + 4 + 4 + 3 + 5 + 3 - 6);
    // Mean of n chi-squares of k freedoms: sqrt(2 k / n); four of them.
    let allowed = |k: f64| 4.0 * (2.0 * k / n).sqrt();
    assert!((pose_square / n - 6.0).abs() < allowed(6.0));
    assert!((square / n - freedoms as f64).abs() < allowed(freedoms as f64));
    assert!(small <= 5, "{small}");
    Ok(())
}

/// A bracket's own 3-2-1: seat and two holes square to it, the far one drilled on the same face.
#[test]
fn a_seat_and_two_holes_are_enough_and_one_is_not() -> std::result::Result<(), Failure> {
    let mut random = Random::new(3);
    let seat = [
        ("deck", plane([50.0, 40.0, 0.0], [0.0, 0.0, 1.0])),
        ("hole A", bore([10.0, 10.0, 0.0], [0.0, 0.0, 1.0])),
        ("hole B", bore([150.0, 40.0, 0.0], [0.0, 0.0, 1.0])),
    ];
    for _ in 0..20 {
        let truth = any_pose(&mut random);
        let found = join(&same(&seat, &truth, true, &mut random))?;
        assert!(error(&found, &truth)?.1 < 40.0);
    }
    let truth = any_pose(&mut random);
    let said = refusal(&same(&seat[..2], &truth, true, &mut random));
    println!("{said}");
    assert!(said.contains("1 of 6") && said.contains("free to turn about"), "{said}");
    assert!(said.contains("the axis of \"hole A\"") && said.contains("off that line"), "{said}");
    // Without the seat nothing stops it along the holes: parallel to within their tilt is parallel.
    let said = refusal(&same(&seat[1..], &truth, true, &mut random));
    println!("{said}");
    assert!(said.contains("free to slide along"), "{said}");
    assert!(said.contains("\"hole A\"") && said.contains("a plane across"), "{said}");
    let said = refusal(&same(&seat[..1], &truth, true, &mut random));
    println!("{said}");
    assert!(said.contains("3 of 6") && said.contains("slide any way across"), "{said}");
    let said = refusal(&[]);
    assert!(said.contains("no feature is named"), "{said}");
    Ok(())
}

#[test]
fn layouts_that_fit_twice_are_refused_with_both() -> std::result::Result<(), Failure> {
    let mut random = Random::new(5);
    let truth = any_pose(&mut random);
    // Three bores through one point, square to each other: half turns about each change nothing.
    let bores = [
        ("a", bore([0.0, 0.0, 0.0], [1.0, 0.0, 0.0])),
        ("b", bore([0.0, 0.0, 0.0], [0.0, 1.0, 0.0])),
        ("c", bore([0.0, 0.0, 0.0], [0.0, 0.0, 1.0])),
    ];
    let said = refusal(&same(&bores, &truth, true, &mut random));
    println!("{said}");
    assert!(said.contains("ambiguous") && said.contains("two poses"), "{said}");
    assert!(said.contains("180.0 degrees"), "{said}");
    // A ball off every axis settles it.
    let mut more = bores.to_vec();
    more.push(("ball", ball([30.0, 50.0, 20.0])));
    let found = join(&same(&more, &truth, true, &mut random))?;
    assert!(error(&found, &truth)?.1 < 40.0);
    // Planes of bare points have no side: a corner of three is any of four.
    let corner = [
        ("x", plane([0.0, 20.0, 20.0], [1.0, 0.0, 0.0])),
        ("y", plane([20.0, 0.0, 20.0], [0.0, 1.0, 0.0])),
        ("z", plane([20.0, 20.0, 0.0], [0.0, 0.0, 1.0])),
    ];
    assert!(refusal(&same(&corner, &truth, false, &mut random)).contains("ambiguous"));
    let found = join(&same(&corner, &truth, true, &mut random))?;
    assert!(error(&found, &truth)?.1 < 40.0);
    assert!(found.freedoms == 3 && found.features.iter().all(|f| f.used));
    Ok(())
}

#[test]
fn the_one_that_disagrees_is_named() -> std::result::Result<(), Failure> {
    for seed in 0..10 {
        let mut random = Random::new(100 + seed);
        let truth = any_pose(&mut random);
        let mut pairs = same(&layout(), &truth, true, &mut random);
        // Another hole of the pattern, 25 mm beside; or a dent of a tenth.
        let wrong = (seed % 6) as usize;
        let by = if seed % 2 == 0 { 25.0 } else { 0.2 };
        let across = match pairs[wrong].from.direction() {
            Some(d) if matches!(pairs[wrong].from, Primitive::Plane(_)) => d,
            Some(d) => any_perpendicular(&d),
            None => Vec3::x_axis(),
        };
        let beside = Translation3::from(across.into_inner() * by);
        pairs[wrong].from =
            pairs[wrong].from.transformed(&Pose::from_parts(beside, UnitQuaternion::identity()));
        let found = join(&pairs)?;
        let out: Vec<&str> =
            found.features.iter().filter(|f| !f.used).map(|f| f.name.as_str()).collect();
        println!("{wrong} {by}: {out:?} {:?}", found.join.notes);
        assert_eq!(out, [pairs[wrong].name.as_str()]);
        assert!((found.features[wrong].distance - by).abs() < 0.1);
        assert!(found.join.notes.iter().any(|n| n.contains(pairs[wrong].name.as_str())));
        assert!(error(&found, &truth)?.1 < 40.0);
    }
    Ok(())
}

/// Of a seat and two holes no one can be told from the others: not left out, but refused.
#[test]
fn a_contradiction_without_enough_features_is_refused() {
    let mut random = Random::new(77);
    let truth = any_pose(&mut random);
    let mut pairs = same(&layout()[..3], &truth, true, &mut random);
    let along = (pairs[2].from.point() - pairs[1].from.point()).normalize() * 25.0;
    pairs[2].from = pairs[2].from.transformed(&Pose::translation(along.x, along.y, along.z));
    let said = refusal(&pairs);
    println!("{said}");
    assert!(said.contains("contradict") && said.contains("name more features"), "{said}");
}

/// Residuals twice what was stated: the covariance says so.
#[test]
fn disagreement_widens_the_uncertainty() -> std::result::Result<(), Failure> {
    let trials = 200;
    let (mut sum, mut count) = (0.0, 0);
    for trial in 0..trials {
        let mut random = Random::new(5000 + trial);
        let truth = any_pose(&mut random);
        let mut pairs = same(&layout(), &truth, true, &mut random);
        for p in &mut pairs {
            p.to_covariance.matrix /= 16.0;
            p.from_covariance.matrix /= 16.0;
        }
        let found = join(&pairs)?;
        if found.features.iter().all(|f| f.used) {
            sum += error(&found, &truth)?.1;
            count += 1;
        }
    }
    let mean = sum / f64::from(count);
    println!("{mean:.2} (6) of {count}");
    // Divided by a variance from 16 freedoms: 6 · 16 / 14; as stated it would be 96.
    assert!(count > trials as i32 / 2 && (4.0..10.0).contains(&mean), "{mean} {count}");
    Ok(())
}

#[test]
fn what_cannot_be_used_is_an_error() {
    let mut random = Random::new(9);
    let truth = any_pose(&mut random);
    let mut pairs = same(&layout(), &truth, true, &mut random);
    pairs[0].from = ball([0.0, 0.0, 0.0]);
    let said = join(&pairs).expect_err("two kinds").to_string();
    assert!(said.contains("\"deck\"") && said.contains("the same kind"), "{said}");
    pairs[0].from = plane([f64::NAN, 0.0, 0.0], [0.0, 0.0, 1.0]);
    assert!(join(&pairs).expect_err("not finite").to_string().contains("finite"));
    let mut options = FeatureOptions::default();
    options.loosest = 0.0;
    assert!(matches!(by_features(&pairs[1..], &options), Err(Error::Argument { .. })));
}

/// Two scans of a pump, each picked in its own coordinates, in centimetres.
#[test]
fn a_job_joins_by_features_that_it_finds_in_both() -> std::result::Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    let truth = any_pose(&mut Random::new(4));
    let mut machine_from = Vec::new();
    for (name, seed, moved) in
        [("front.ply", 1, Pose::identity()), ("rear.ply", 2, truth.inverse())]
    {
        let simulated = labelled(pump(), 2.0, 0.03, seed)?.scan;
        let scan = simulated.to_scan()?.transformed(&moved);
        let file = folder.path().join(name);
        write_ply(file, scan.points(), scan.triangles(), &[], Precision::Double)?;
        machine_from.push(simulated.machine_from_scan * moved.inverse());
    }
    let same = |name: &str, fit: &str, more: &str, at: [f64; 3], off: f64| {
        let place = |k: usize| {
            let p = machine_from[k].inverse() * (Point3::from(at) + Vec3::x() * (off * k as f64));
            format!("[{}, {}, {}]", p.x / 10.0, p.y / 10.0, p.z / 10.0)
        };
        let (there, here) = (place(0), place(1));
        format!("{{ name = \"{name}\", fit = \"{fit}\"{more}, here = {here}, there = {there} }},\n")
    };
    let deck = same("deck", "plane", "", [60.0, 75.0, 0.0], 0.0);
    let side = same("side", "plane", "", [120.0, 10.0, -15.0], 0.0);
    let ball = same("ball", "sphere", "", [75.0, 50.0, 38.0], 0.0);
    let hole = |off| same("hole", "hole", ", on = \"deck\"", [105.0, 75.0, 0.0], off);
    let run = |same: &str| {
        let text = format!(
            "[job]\nname = \"n\"\nlength = \"cm\"\n[[scan]]\nname = \"a\"\nfile = \"front.ply\"\n\
             unit = \"mm\"\n[[scan]]\nname = \"b\"\nfile = \"rear.ply\"\nunit = \"mm\"\n\
             join = {{ to = \"a\", by = \"features\", same = [\n{same}] }}\n"
        );
        Job::parse(&text)?
            .run(&Folder::of(&folder.path().join(Path::new("job.toml"))), &Context::new(0)?)
    };
    let outcome = run(&format!("{deck}{side}{ball}{}", hole(0.0)))?;
    let scan = &outcome.scans[1];
    let join = scan.join.as_ref().ok_or("no join")?;
    let e = scan.first_from_this * truth.inverse();
    let at = join.covariance.at;
    let shift = e * at - at;
    let turn = e.rotation.scaled_axis();
    let e = Vector6::new(shift.x, shift.y, shift.z, turn.x, turn.y, turn.z);
    let c: Matrix6<f64> = join.covariance.matrix.fixed_view::<6, 6>(0, 0).into_owned();
    let square = e.dot(&(c.try_inverse().ok_or("singular")? * e));
    // Chi-square of 6 freedoms is over 33 once in 100,000 draws.
    assert!(square < 33.0 && shift.norm() < 0.1, "{e} {square}");
    assert!(scan.join_features.len() == 4 && scan.join_features.iter().all(|f| f.used));
    assert_eq!(scan.spread.as_ref(), Some(&join.covariance));
    let json: serde_json::Value = serde_json::from_str(&outcome.to_json()?)?;
    let told = &json["scans"][1]["join"]["features"];
    assert_eq!(told[3]["name"], "hole");
    assert!(
        (told[0]["distance"].as_f64().ok_or("no number")? * 10.0 - scan.join_features[0].distance)
            .abs()
            < 1e-12
    );
    let page = fitwright::report::html(&outcome, &ReportOptions::default())?;
    assert!(page.contains("Features joined by"));

    let said = run(&format!("{deck}{side}")).expect_err("a slide is left").to_string();
    println!("{said}");
    assert!(said.contains("scan \"b\"") && said.contains("free to slide along"), "{said}");
    let said = run(&format!("{deck}{side}{}", same("again", "plane", "", [60.0, 70.0, 0.0], 0.0)))
        .expect_err("one face twice")
        .to_string();
    println!("{said}");
    assert!(said.contains("\"deck\" and \"again\"") && said.contains("count twice"), "{said}");
    Ok(())
}
