//! Joining from no start: any pose, part of the surface in common, and refusing where shape decides nothing.

use fitwright::job::{Folder, Job};
use fitwright::register::{Candidate, UnknownStartOptions, from_unknown_start};
use fitwright::scan::{Precision, write_ply};

use super::*;

fn found(to: &Scan, from: &Scan) -> Result<(Join, Vec<Candidate>)> {
    from_unknown_start(to, from, &UnknownStartOptions::default(), &Context::new(0)?)
}

/// Any turn, and a shift of some hundred millimetres.
fn any_pose(seed: u64) -> Pose {
    let mut random = Random::new(seed);
    let (axis, shift) = (random.vector(1.0).normalize(), random.vector(300.0));
    let turn = axis * (std::f64::consts::PI * random.uniform());
    Pose::from_parts(Translation3::from(shift), UnitQuaternion::from_scaled_axis(turn))
}

/// Two scans of which a share of each lies on the other, in one frame.
fn overlapping(share: f64, seed: u64) -> Result<(Scan, Scan)> {
    let first = 280.0 * (1.0 - share) / (2.0 - share);
    let to = Sampling {
        u: [0.0, 280.0 - first],
        v: [0.0, 130.0],
        spacing: 1.0,
        noise: 0.03,
        turn: 0.0,
        seed,
    };
    let from = Sampling { u: [first, 280.0], turn: 0.4, seed: seed + 1, ..to };
    // Twice as high as the cover: what is that flat is sometimes refused.
    let tall = |u: f64, v: f64| {
        let p = housing(u, v);
        Point3::new(p.x, p.y, 2.0 * p.z)
    };
    Ok((sample(tall, &to)?, sample(tall, &from)?))
}

#[test]
fn a_scan_in_any_pose_is_laid_on_the_other() -> std::result::Result<(), Failure> {
    for (seed, share) in [(1, 0.6), (2, 0.45)] {
        let (to, from) = overlapping(share, 40 + 2 * seed)?;
        let truth = any_pose(seed);
        let (join, candidates) = found(&to, &from.transformed(&truth.inverse()))?;
        let middle = Point3::new(140.0, 65.0, 10.0);
        let (mm, degrees) = errors(&join, &truth, middle);
        assert!(mm < 0.01 && degrees < 0.01, "{share}: {mm} mm, {degrees} degrees");
        assert!((join.overlap - share).abs() < 0.05, "{share}: {}", join.overlap);
        assert!(
            join.notes.iter().any(|n| n.starts_with("found from no start")),
            "{:?}",
            join.notes
        );
        let best = candidates.first().ok_or("no candidate")?;
        assert!(best.probability > 0.99 && best.support.share_against() < 0.08);
    }
    Ok(())
}

#[test]
fn what_repeats_itself_or_has_no_shape_is_refused() -> std::result::Result<(), Failure> {
    let at = |u: [f64; 2], seed| Sampling {
        u,
        v: [0.0, 130.0],
        spacing: 1.2,
        noise: 0.03,
        turn: 0.1 * seed as f64,
        seed,
    };
    // Waves of 40 mm either way: shifted by one, half of it still fits as well.
    let waves = |u: f64, v: f64| {
        let turn = std::f64::consts::TAU / 40.0;
        Point3::new(u, v, 5.0 * (turn * u).sin() * (turn * v).cos())
    };
    let flat = |u: f64, v: f64| Point3::new(u, v, 0.0);
    // Another machine: bosses of other sizes in other places.
    let other = |u: f64, v: f64| {
        let boss =
            |x: f64, y: f64, h: f64, r: f64| h / (1.0 + (((u - x).hypot(v - y) - r) / 3.0).exp());
        let z = boss(40.0, 90.0, 22.0, 9.0) + boss(90.0, 30.0, 7.0, 22.0)
            - boss(170.0, 80.0, 15.0, 25.0);
        Point3::new(u, v, z + 4.0 * (u / 21.0).sin())
    };
    let moved = |s: Scan, seed| s.transformed(&any_pose(seed));
    let range = [0.0, 200.0];
    for (what, to, from) in [
        ("waves", sample(waves, &at(range, 1))?, sample(waves, &at(range, 2))?),
        ("flat", sample(flat, &at(range, 3))?, sample(flat, &at(range, 4))?),
        ("another", sample(housing, &at(range, 5))?, sample(other, &at(range, 6))?),
    ] {
        match found(&to, &moved(from, 9)) {
            Err(Error::Join { reason }) => {
                assert!(reason.starts_with("no pose is certain"), "{what}: {reason}");
                assert!(reason.contains("targets"), "{what}: {reason}");
            }
            other => panic!("{what}: {other:?}"),
        }
    }
    Ok(())
}

#[test]
fn the_bits_of_a_search_do_not_depend_on_the_threads() -> std::result::Result<(), Failure> {
    let (to, from) = overlapping(0.5, 60)?;
    let from = from.transformed(&any_pose(8));
    let run = |threads| {
        from_unknown_start(&to, &from, &UnknownStartOptions::default(), &Context::new(threads)?)
    };
    let (one, two) = (run(1)?, run(2)?);
    assert_eq!(one.0.to_from_this, two.0.to_from_this);
    assert_eq!(one.1.len(), two.1.len());
    for (a, b) in one.1.iter().zip(&two.1) {
        assert_eq!(a.to_from_this, b.to_from_this);
        assert_eq!(a.support, b.support);
    }
    Ok(())
}

/// Neighbouring views of the bunny; the given poses are good to about the scans' spacing of 0.4 mm (README
/// of the data).
#[test]
fn real_range_scans_are_joined_from_no_start() -> std::result::Result<(), Failure> {
    let Some(folder) = fitwright_tests::shared("data/stanford_bunny_scans") else { return Ok(()) };
    let poses = std::fs::read_to_string(folder.join("bun.conf"))?;
    let scan = |name: &str| Scan::read(folder.join(name), LengthUnit::Metre);
    for (a, b) in [("bun045.ply", "bun090.ply"), ("bun270.ply", "bun315.ply")] {
        let truth = conf_pose(&poses, a)?.inverse() * conf_pose(&poses, b)?;
        let (to, from) = (scan(a)?, scan(b)?);
        let sum: Vec3 = from.points().iter().map(|p| p.coords).sum();
        let middle = truth * Point3::from(sum / from.points().len() as f64);
        let (mm, degrees) = errors(&found(&to, &from)?.0, &truth, middle);
        assert!(mm < 0.6 && degrees < 0.8, "{a} {b}: {mm} mm, {degrees} degrees");
    }
    Ok(())
}

#[test]
fn a_job_says_that_the_start_is_unknown() -> std::result::Result<(), Failure> {
    let (to, from) = overlapping(0.5, 70)?;
    let truth = any_pose(4);
    let folder = tempfile::tempdir()?;
    for (name, scan) in [("a.ply", &to), ("b.ply", &from.transformed(&truth.inverse()))] {
        let file = folder.path().join(name);
        write_ply(file, scan.points(), scan.triangles(), &[], Precision::Double)?;
    }
    let text = |join: &str| {
        format!(
            "[job]\nname = \"j\"\n[[scan]]\nname = \"a\"\nfile = \"a.ply\"\n[[scan]]\nname = \"b\"\n\
             file = \"b.ply\"\njoin = {{ to = \"a\", {join} }}\n"
        )
    };
    let run = |join: &str| {
        Job::parse(&text(join))?.run(&Folder::of(&folder.path().join("j.toml")), &Context::new(0)?)
    };
    let outcome = run("by = \"surface\", start = \"unknown\"")?;
    let e = outcome.scans[1].first_from_this * truth.inverse();
    let middle = Point3::new(140.0, 65.0, 10.0);
    assert!((e * middle - middle).norm() < 0.01);
    let result: serde_json::Value = serde_json::from_str(&outcome.to_json()?)?;
    let best = &result["scans"][1]["join"]["candidates"][0];
    let share = best["probability"].as_f64().ok_or("a number")?;
    assert!(share > 0.5 && share <= 1.0, "{best}");
    let shift = best["to_from_this"][0][3].as_f64().ok_or("a number")?;
    assert!((shift - truth.translation.x).abs() < 10.0, "{best}");
    let contradiction = run("by = \"nothing\", start = \"unknown\"").expect_err("a contradiction");
    assert!(contradiction.to_string().contains("goes with `by = \"surface\"`"), "{contradiction}");
    Ok(())
}
