//! Scans adjusted all together: a closed round of a drum, against its truth and against the chain of joins.

use fitwright::job::{Folder, Job};
use fitwright::register::{AdjustOptions, Adjusted, ObservedJoin, adjust};

use fitwright::report::ReportOptions;
use fitwright::scan::{Precision, write_ply};

use super::*;

/// A cast drum, 80 mm in radius, with bosses all round; `u` runs round it, mm.
fn drum(u: f64, v: f64) -> Point3 {
    let turn = u / RADIUS;
    let mut r = RADIUS + 2.0 * (3.0 * turn + 0.4).sin() * (v / 23.0).cos();
    let mut random = Random::new(11);
    for _ in 0..36 {
        let (a, b) = (ROUND * random.uniform(), 70.0 * random.uniform());
        let (high, wide) = (2.0 + 5.0 * random.uniform(), 4.0 + 6.0 * random.uniform());
        let off = (u - a).rem_euclid(ROUND);
        let d = off.min(ROUND - off).hypot(v - b);
        r += high / (1.0 + ((d - wide) / 3.0).exp());
    }
    Point3::new(r * turn.cos(), r * turn.sin(), v)
}

/// Scans from so many places round it, each in coordinates of its own but the first.
fn round(count: usize, width: f64, spacing: f64, seed: u64) -> Result<(Vec<Scan>, Vec<Pose>)> {
    let (mut scans, mut poses) = (Vec::new(), Vec::new());
    for k in 0..count {
        let from = k as f64 * ROUND / count as f64;
        let seen = Sampling {
            u: [from, from + width],
            v: [0.0, 70.0],
            spacing,
            noise: 0.05,
            turn: 0.1 + 0.37 * k as f64,
            seed: 1000 * seed + k as u64,
        };
        let mut random = Random::new(7 * seed + k as u64);
        let turn = UnitQuaternion::from_scaled_axis(random.vector(if k == 0 { 0.0 } else { 1.0 }));
        let shift = random.vector(if k == 0 { 0.0 } else { 200.0 });
        let pose = Pose::from_parts(Translation3::from(shift), turn);
        scans.push(sample(drum, &seen)?.transformed(&pose.inverse()));
        poses.push(pose);
    }
    Ok((scans, poses))
}

/// Each scan joined to the one before it, from a start a little off.
fn chained(scans: &[Scan], truth: &[Pose], seed: u64) -> Result<Vec<Pose>> {
    let mut poses = vec![truth[0]];
    for k in 1..scans.len() {
        let mut random = Random::new(99 + seed + 31 * k as u64);
        let off = Pose::rotation_wrt_point(
            UnitQuaternion::from_scaled_axis(random.vector(0.003)),
            truth[k] * middle(&scans[k]),
        );
        let start =
            truth[k - 1].inverse() * Translation3::from(random.vector(0.3)) * off * truth[k];
        poses.push(poses[k - 1] * join(&scans[k - 1], &scans[k], &start)?.to_from_this);
    }
    Ok(poses)
}

fn middle(scan: &Scan) -> Point3 {
    let sum: Vec3 = scan.points().iter().map(|p| p.coords).sum();
    Point3::from(sum / scan.points().len() as f64)
}

fn together(
    scans: &[Scan],
    start: &[Pose],
    held: usize,
    options: &AdjustOptions,
) -> Result<Adjusted> {
    adjust(&scans.iter().collect::<Vec<_>>(), start, held, options, &Context::new(0)?)
}

/// Squared error of a scan's pose in its stated covariance, 6 on average, and the error at its middle, mm.
fn square(
    adjusted: &Adjusted,
    k: usize,
    scan: &Scan,
    truth: &Pose,
) -> std::result::Result<(f64, f64), Failure> {
    let (e, c) = (adjusted.common_from_scan[k] * truth.inverse(), &adjusted.covariances[k]);
    let (shift, turn) = (e * c.at - c.at, e.rotation.scaled_axis());
    let v = Vector6::from_iterator(shift.iter().chain(turn.iter()).copied());
    let stated: Matrix6<f64> = c.matrix.fixed_view::<6, 6>(0, 0).into_owned();
    let at = truth * middle(scan);
    Ok((v.dot(&(stated.try_inverse().ok_or("singular")? * v)), (e * at - at).norm()))
}

#[test]
fn errors_do_not_pile_up_round_a_machine() -> std::result::Result<(), Failure> {
    let (seeds, count) = (5, 10);
    let (mut chain, mut closed, mut squares) = (0.0, 0.0, 0.0);
    for seed in 0..seeds {
        let (scans, truth) = round(count, 78.0, 2.0, seed)?;
        let start = chained(&scans, &truth, seed)?;
        let adjusted = together(&scans, &start, 0, &AdjustOptions::default())?;
        assert!(adjusted.converged, "{:?}", adjusted.notes);
        assert_eq!(adjusted.pairs.len(), count, "a pair of each two neighbours and no other");
        let last = count - 1;
        let at = truth[last] * middle(&scans[last]);
        let alone = (start[last] * truth[last].inverse() * at - at).norm();
        let mut sum = 0.0;
        for k in 1..count {
            let (s, off) = square(&adjusted, k, &scans[k], &truth[k])?;
            sum += s / last as f64;
            if k == last {
                println!(
                    "{seed}: chain {alone:.4} mm, together {off:.4} mm, stated {:.4}",
                    adjusted.covariances[k].deviation_at(&at)
                );
                chain += alone.powi(2);
                closed += off.powi(2);
            }
        }
        squares += sum;
        for p in &adjusted.pairs {
            assert!(p.rms < 0.1 && p.offset.abs() < 0.01 && p.misfit < 1.0, "{p:?}");
        }
    }
    let (ratio, mean) = (f64::sqrt(chain / closed), squares / seeds as f64);
    println!("the chain's end {ratio:.1} times as far off; mean square {mean:.2} (6)");
    // A chain of n alike joins strays as n, in a closed round its end as (n - 1) / n, and more where angles
    // add up over the distance.
    assert!(ratio > f64::sqrt(count as f64 - 1.0), "{ratio}");
    // Over 60 rounds it is 6.1; those of one round hang together.
    assert!((3.0..10.0).contains(&mean), "{mean}");
    Ok(())
}

/// Five scans round it, from starts 0.2 mm and 0.1 degrees off.
fn five(seed: u64) -> Result<(Vec<Scan>, Vec<Pose>, Vec<Pose>)> {
    let (scans, truth) = round(5, 140.0, 3.0, seed)?;
    let mut random = Random::new(seed);
    let mut off = |k: usize| {
        let turn =
            UnitQuaternion::from_scaled_axis(random.vector(if k == 0 { 0.0 } else { 0.001 }));
        let shift = random.vector(if k == 0 { 0.0 } else { 0.1 });
        let at = truth[k] * middle(&scans[k]);
        Translation3::from(shift) * Pose::rotation_wrt_point(turn, at) * truth[k]
    };
    let start = (0..5).map(&mut off).collect();
    Ok((scans, truth, start))
}

#[test]
fn the_bits_of_an_adjustment_do_not_depend_on_the_threads() -> std::result::Result<(), Failure> {
    let (scans, _, start) = five(3)?;
    let scans: Vec<&Scan> = scans.iter().collect();
    let run =
        |threads| adjust(&scans, &start, 0, &AdjustOptions::default(), &Context::new(threads)?);
    let (one, many) = (run(1)?, run(5)?);
    assert_eq!(one.common_from_scan, many.common_from_scan);
    assert_eq!(one.covariances, many.covariances);
    assert_eq!(one.pairs, many.pairs);
    Ok(())
}

#[test]
fn any_scan_can_be_held_and_the_places_against_each_other_stay() -> std::result::Result<(), Failure>
{
    let (scans, truth, start) = five(5)?;
    let first = together(&scans, &start, 0, &AdjustOptions::default())?;
    let third = together(&scans, &start, 2, &AdjustOptions::default())?;
    assert_eq!(third.common_from_scan[2], start[2]);
    assert_eq!(third.covariances[2].matrix.norm(), 0.0);
    for k in 0..5 {
        let at = middle(&scans[k]);
        let against = |a: &Adjusted| a.common_from_scan[0].inverse() * a.common_from_scan[k] * at;
        let apart = (against(&first) - against(&third)).norm();
        let stated = first.covariances[k].deviation_at(&(truth[k] * at));
        println!("{k}: {apart:.5} mm, stated {stated:.5}");
        // Both stop within a part of their uncertainty.
        assert!(apart <= 0.3 * stated, "{apart} {stated}");
    }
    Ok(())
}

#[test]
fn what_hangs_on_nothing_is_named_or_tied_otherwise() -> std::result::Result<(), Failure> {
    let (scans, truth, start) = five(7)?;
    // Without the two beside it, the third is alone.
    let left = [0, 2];
    let some: Vec<&Scan> = left.iter().map(|&k| &scans[k]).collect();
    let begin: Vec<Pose> = left.iter().map(|&k| start[k]).collect();
    let context = Context::new(0)?;
    let mut options = AdjustOptions::default();
    options.names = vec!["front".into(), "rear".into()];
    let said = adjust(&some, &begin, 0, &options, &context).expect_err("alone").to_string();
    println!("{said}");
    assert!(said.contains("nothing ties \"rear\" to the held scan \"front\""), "{said}");
    options.pairs = vec![[0, 1]];
    let said = adjust(&some, &begin, 0, &options, &context).expect_err("no overlap").to_string();
    println!("{said}");
    assert!(said.contains("named as a pair and do not overlap"), "{said}");
    // Targets on both tie it: it lies where they say, with their uncertainty.
    options.pairs.clear();
    let mut covariance = fitwright::associate::Covariance::zero(Point3::new(0.0, 0.0, 35.0));
    covariance.matrix.fixed_view_mut::<6, 6>(0, 0).fill_diagonal(0.01f64.powi(2));
    let to_from_this = truth[0].inverse() * truth[2];
    options.observed =
        vec![ObservedJoin { to: 0, from: 1, to_from_this, covariance: covariance.clone() }];
    let tied = adjust(&some, &begin, 0, &options, &context)?;
    let at = Point3::new(0.0, 0.0, 35.0);
    let e = tied.common_from_scan[1] * (truth[0] * to_from_this).inverse();
    assert!((e * at - at).norm() < 1e-6 && tied.converged && tied.pairs.is_empty());
    let stated = tied.covariances[1].about(at).matrix - covariance.matrix;
    assert!(stated.norm() < 1e-9, "{stated}");
    Ok(())
}

/// Three scans of one plane: what slides in it is named and has the reach as its deviation, the height has not.
#[test]
fn what_no_surface_holds_stays_and_is_named() -> std::result::Result<(), Failure> {
    let plane = |u: f64, v: f64| Point3::new(u, v, 0.0);
    let seen = |k: u64| Sampling {
        u: [60.0 * k as f64, 60.0 * k as f64 + 100.0],
        v: [0.0, 90.0],
        spacing: 1.5,
        noise: 0.02,
        turn: 0.3 * k as f64,
        seed: k,
    };
    let scans = [sample(plane, &seen(0))?, sample(plane, &seen(1))?, sample(plane, &seen(2))?];
    let start =
        [Pose::identity(), Pose::translation(0.2, -0.1, 0.1), Pose::translation(-0.1, 0.3, -0.2)];
    let mut options = AdjustOptions::default();
    options.surface.reach = Some(2.0);
    let adjusted = together(&scans, &start, 0, &options)?;
    println!("{:?}", adjusted.notes);
    for (k, begun) in start.iter().enumerate().skip(1) {
        let slides = format!("scan {k} is free to slide any way across");
        assert!(adjusted.notes.iter().any(|n| n.starts_with(&slides)), "{:?}", adjusted.notes);
        let c = &adjusted.covariances[k];
        let place = c.position(&c.at).map(|x| x.max(0.0).sqrt());
        let moved = adjusted.common_from_scan[k] * c.at - begun * c.at;
        println!("{k}: {place} {moved}");
        assert!(place[(0, 0)] > 1.0 && place[(1, 1)] > 1.0 && place[(2, 2)] < 0.02, "{place}");
        // In the plane as at the start, across it together.
        assert!(moved.xy().norm() < 0.05, "{moved}");
        assert!(
            (adjusted.common_from_scan[k] * c.at - c.at).z.abs() < 4.0 * place[(2, 2)],
            "{moved}"
        );
    }
    Ok(())
}

#[test]
fn wrong_numbers_of_an_adjustment_are_told() -> std::result::Result<(), Failure> {
    let (scans, _, start) = five(1)?;
    let scans: Vec<&Scan> = scans.iter().collect();
    let context = Context::new(1)?;
    let run = |start: &[Pose], held: usize, pairs: Vec<[usize; 2]>| {
        let mut options = AdjustOptions::default();
        options.pairs = pairs;
        adjust(&scans, start, held, &options, &context)
    };
    let wrong = |r: Result<Adjusted>| matches!(r, Err(Error::Argument { .. }));
    assert!(wrong(run(&start[1..], 0, vec![])));
    assert!(wrong(run(&start, 5, vec![])));
    assert!(wrong(run(&start, 0, vec![[0, 5]])));
    assert!(wrong(run(&start, 0, vec![[1, 1]])));
    let mut bad = start.clone();
    bad[1].translation.vector.x = f64::NAN;
    assert!(wrong(run(&bad, 0, vec![])));
    context.cancel();
    assert!(matches!(run(&start, 0, vec![]), Err(Error::Cancelled)));
    Ok(())
}

/// In the job: joined one after another, then together, against the third scan.
#[test]
fn a_job_adjusts_its_scans_together() -> std::result::Result<(), Failure> {
    let (scans, truth, start) = five(9)?;
    let folder = tempfile::tempdir()?;
    let mut text = String::from("[job]\nname = \"n\"\n[joining]\ntogether = true\nheld = \"s2\"\n");
    for (k, scan) in scans.iter().enumerate() {
        // The files lie where the starts put them.
        let lies = scan.transformed(&start[k]);
        let file = folder.path().join(format!("s{k}.ply"));
        write_ply(file, lies.points(), lies.triangles(), &[], Precision::Double)?;
        text += &format!("[[scan]]\nname = \"s{k}\"\nfile = \"s{k}.ply\"\n");
        if k > 0 {
            text += &format!("join = {{ to = \"s{}\", by = \"surface\" }}\n", k - 1);
        }
    }
    let outcome =
        Job::parse(&text)?.run(&Folder::of(&folder.path().join("job.toml")), &Context::new(0)?)?;
    assert_eq!(outcome.scans[0].first_from_this, Pose::identity());
    assert!(outcome.scans[2].spread.is_none());
    for (k, scan) in outcome.scans.iter().enumerate() {
        let found = scan.first_from_this * start[k];
        let at = truth[k] * middle(&scans[k]);
        let off = (found * truth[k].inverse() * at - at).norm();
        let stated = scan.spread.as_ref().map_or(0.0, |s| s.deviation_at(&at));
        println!("{k}: {off:.4} mm, stated {stated:.4}");
        assert!(off < 0.2 && (k == 2 || stated > 1e-4 && stated < 0.2), "{k}: {off} {stated}");
    }
    let json: serde_json::Value = serde_json::from_str(&outcome.to_json()?)?;
    let told = &json["adjustment"];
    assert_eq!(told["held"], "s2");
    assert_eq!(told["pairs"].as_array().map(Vec::len), Some(5));
    assert_eq!(told["scans"][2]["uncertainty"], 0.0);
    let page = fitwright::report::html(&outcome, &ReportOptions::default())?;
    assert!(page.contains("Pairs of the adjustment") && page.contains("Scans adjusted together"));
    Ok(())
}

const RADIUS: f64 = 80.0;
const ROUND: f64 = std::f64::consts::TAU * RADIUS;
