//! Joins by targets against known poses, and layouts that must be refused.

#![expect(clippy::unwrap_used, reason = "a failed fixture is a failed test")]

use nalgebra::{SMatrix, SVector, Translation3, UnitQuaternion};

use super::*;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose, Vec3};
use crate::scan::testing::Random;

fn pose() -> Pose {
    Pose::from_parts(
        Translation3::new(310.0, -45.0, 1200.0),
        UnitQuaternion::from_scaled_axis(Vec3::new(1.1, -2.0, 0.7)),
    )
}

fn layout(count: usize, seed: u64) -> Vec<Point3> {
    let mut random = Random::new(seed);
    (0..count)
        .map(|_| {
            let mut c = |size: f64| (random.uniform() - 0.5) * size;
            Point3::new(c(600.0), c(400.0), c(150.0))
        })
        .collect()
}

/// What another scan sees of targets: in its own coordinates, in another order, with noise.
fn seen(targets: &[Point3], sigma: f64, seed: u64) -> Vec<Point3> {
    let mut random = Random::new(seed);
    let mut list: Vec<Point3> = targets
        .iter()
        .map(|p| {
            let noise = Vec3::from_fn(|_, _| sigma * random.normal());
            pose().inverse() * (p + noise)
        })
        .collect();
    for i in (1..list.len()).rev() {
        list.swap(i, (random.uniform() * (i + 1) as f64) as usize);
    }
    list
}

fn join(to: &[Point3], from: &[Point3]) -> Result<Join> {
    by_targets(to, from, &TargetOptions::default())
}

fn refusal(to: &[Point3], from: &[Point3]) -> String {
    match join(to, from) {
        Err(Error::Join { reason }) => reason,
        other => panic!("{other:?}"),
    }
}

/// Small motion about `at` that takes the join's pose to the true one.
fn error(join: &Join, truth: &Pose) -> SVector<f64, 6> {
    let e = truth * join.to_from_this.inverse();
    let at = join.covariance.at;
    let (t, r) = (e * at - at, e.rotation.scaled_axis());
    SVector::from_iterator(t.iter().chain(r.iter()).copied())
}

#[test]
fn exact_targets_give_the_exact_pose() {
    for (count, shared) in [(3, 3), (5, 3), (8, 5), (60, 20)] {
        let all = layout(2 * count - shared, 7 + count as u64);
        let from = seen(&all[count - shared..], 0.0, 5);
        let join = join(&all[..count], &from).unwrap();
        let far = Point3::new(1000.0, 0.0, 0.0);
        let off = (pose() * far - join.to_from_this * far).norm();
        assert!(off < 1e-9, "{count} {shared}: {off:e} {:?}", join.pairs);
        assert_eq!(join.pairs.len(), shared);
        assert!((join.overlap - shared as f64 / from.len() as f64).abs() < 1e-15);
        for pair in &join.pairs {
            assert!((pose() * from[pair.from] - all[pair.to]).norm() < 1e-9);
        }
        let leverage: f64 = join.pairs.iter().map(|p| p.leverage).sum();
        // Three coordinates a target, six freedoms of a pose: the leverages add up to two.
        assert!((leverage - 2.0).abs() < 1e-9, "{leverage}");
    }
}

/// Predicted over actual variance is 1 within its sampling error for all six motions, and the
/// squared error in units of the covariance has the mean of its F distribution.
#[test]
fn covariance_is_what_trials_show() {
    let targets = layout(7, 3);
    let trials = 1500;
    let (mut actual, mut predicted) =
        (SMatrix::<f64, 6, 6>::zeros(), SMatrix::<f64, 6, 6>::zeros());
    let mut mahalanobis = 0.0;
    for trial in 0..trials {
        let join = join(&targets, &seen(&targets, 0.02, 100 + trial)).unwrap();
        assert_eq!(join.pairs.len(), 7);
        let e = error(&join, &pose());
        let c = join.covariance.matrix.fixed_view::<6, 6>(0, 0).into_owned();
        actual += e * e.transpose();
        predicted += c;
        mahalanobis += e.dot(&(c.try_inverse().unwrap() * e));
    }
    for k in 0..6 {
        let ratio = predicted[(k, k)] / actual[(k, k)];
        // Variance of a variance from n trials: 2/n; four standard deviations.
        assert!((ratio - 1.0).abs() < 4.0 * (2.0 / trials as f64).sqrt(), "{k}: {ratio}");
    }
    // 6 F(6, 15): mean 6 * 15 / 13, variance from Johnson, Kotz, Balakrishnan (1995), eq. 27.6.
    let mean = 6.0 * 15.0 / 13.0;
    let spread = 36.0 * (2.0 * 225.0 * 19.0) / (6.0 * 169.0 * 11.0) / trials as f64;
    let seen = mahalanobis / trials as f64;
    assert!((seen - mean).abs() < 4.0 * spread.sqrt(), "{seen} {mean}");
}

/// The lever: away from the targets a place is known worse, by the law for spread-out targets.
#[test]
fn places_away_from_the_targets_pay_the_lever() {
    let cube: Vec<Point3> = (0..8)
        .map(|k| {
            let c = |bit: i32| if k >> bit & 1 == 1 { 100.0 } else { -100.0 };
            // The bumps break the symmetry, and are small against the size.
            Point3::new(c(0) + f64::from(k), c(1) + f64::from(k * k % 7), c(2) - 2.0 * f64::from(k))
        })
        .collect();
    let join = join(&cube, &seen(&cube, 0.02, 9)).unwrap();
    let c = &join.covariance;
    let near = c.position(&c.at).trace();
    let far = c.position(&(c.at + Vec3::new(0.0, 600.0, 0.0))).trace();
    // Of a cube's corners with half edge h: sum of levers 16 h² each way, two turns move the place.
    let expected = 1.0 + 2.0 * 600.0_f64.powi(2) / (16.0 * 100.0_f64.powi(2)) / (3.0 / 8.0);
    assert!((far / near / expected - 1.0).abs() < 0.05, "{} {expected}", far / near);
}

#[test]
fn symmetric_layouts_are_refused() {
    let square = [(0.0, 0.0), (80.0, 0.0), (80.0, 80.0), (0.0, 80.0)];
    let square = square.map(|(x, y)| Point3::new(x, y, 0.0)).to_vec();
    let h = 50.0 * 3f64.sqrt();
    let equilateral =
        vec![Point3::origin(), Point3::new(100.0, 0.0, 0.0), Point3::new(50.0, h, 0.0)];
    let rectangle = [(0.0, 0.0), (120.0, 0.0), (120.0, 70.0), (0.0, 70.0)];
    let rectangle = rectangle.map(|(x, y)| Point3::new(x, y, 0.0)).to_vec();
    let grid: Vec<Point3> = (0..49)
        .map(|k| Point3::new(f64::from(k % 7) * 20.0, f64::from(k / 7) * 20.0, 0.0))
        .collect();
    for layout in [&square, &equilateral, &rectangle, &grid] {
        for sigma in [0.0, 0.03] {
            let reason = refusal(layout, &seen(layout, sigma, 4));
            assert!(reason.contains("ambiguous"), "{reason}");
        }
    }
    // A fifth target that only one scan saw does not help; one that both saw does.
    let mut five = square.clone();
    five.push(Point3::new(150.0, 20.0, 30.0));
    assert!(refusal(&five, &seen(&square, 0.01, 4)).contains("ambiguous"));
    let joined = join(&five, &seen(&five, 0.01, 4)).unwrap();
    assert_eq!(joined.pairs.len(), 5);
    assert!(error(&joined, &pose()).fixed_rows::<3>(0).norm() < 0.05);
}

#[test]
fn what_is_missing_is_said() {
    let all = layout(6, 11);
    let two = refusal(&all, &seen(&all[..2], 0.0, 1));
    assert!(two.contains("2 given") && two.contains("1 missing"), "{two}");
    let strangers = refusal(&all[..4], &seen(&layout(4, 12), 0.0, 1));
    assert!(strangers.contains("at least 3") && strangers.contains("missing"), "{strangers}");
    let line: Vec<Point3> = [0.0, 31.0, 75.0, 140.0].map(|x| Point3::new(x, 2.0 * x, -x)).to_vec();
    let collinear = refusal(&line, &seen(&line, 0.01, 1));
    assert!(
        collinear.contains("in line") && collinear.contains("0.408, 0.816, -0.408"),
        "{collinear}"
    );
}

#[test]
fn three_of_very_many_are_not_believed() {
    // Two crowds that share nothing: some group of three agrees, by chance.
    let reason = refusal(&layout(60, 1), &seen(&layout(60, 2), 0.0, 3));
    assert!(reason.contains("by chance") || reason.contains("ambiguous"), "{reason}");
}

#[test]
fn a_moved_target_is_named() {
    let to = layout(7, 21);
    // In order, so that indices are known.
    let mut from: Vec<Point3> = to.iter().map(|p| pose().inverse() * p).collect();
    let mut random = Random::new(3);
    for p in &mut from {
        *p += Vec3::from_fn(|_, _| 0.01 * random.normal());
    }
    for shift in [0.25, 2.0] {
        let mut moved = from.clone();
        moved[4] += Vec3::new(shift, 0.0, 0.0);
        let join = join(&to, &moved).unwrap();
        assert_eq!(join.pairs.len(), 6, "{shift}");
        assert!(join.notes.iter().any(|n| n.contains("target 4 of this scan")), "{:?}", join.notes);
        assert!(error(&join, &pose()).fixed_rows::<3>(0).norm() < 0.03);
    }
    assert!(join(&to, &from).unwrap().notes.iter().all(|n| !n.contains("moved")));
}

/// A mirrored layout has all the right distances, but no rigid motion brings more than some three
/// of its targets home, and any three do.
#[test]
fn a_mirrored_layout_is_not_joined() {
    let to = layout(6, 31);
    let mirrored: Vec<Point3> = to.iter().map(|p| Point3::new(-p.x, p.y, p.z)).collect();
    let reason = refusal(&to, &mirrored);
    assert!(reason.contains("3 shared targets fit in"), "{reason}");
}

#[test]
fn order_does_not_matter_and_bad_input_is_named() {
    let to = layout(9, 41);
    let a = join(&to, &seen(&to, 0.02, 6)).unwrap();
    let mut reversed = seen(&to, 0.02, 6);
    reversed.reverse();
    let b = join(&to, &reversed).unwrap();
    assert!((a.to_from_this.inverse() * b.to_from_this).translation.vector.norm() < 1e-9);
    let mut bad = to.clone();
    bad[2].y = f64::NAN;
    assert!(
        matches!(join(&to, &bad), Err(Error::Argument { name, .. }) if name.contains("index 2"))
    );
    let options = TargetOptions { tolerance: 0.0, ..TargetOptions::default() };
    assert!(matches!(by_targets(&to, &to, &options), Err(Error::Argument { .. })));
    let many = layout(1001, 1);
    assert!(matches!(join(&many, &to), Err(Error::Limit { .. })));
}

/// Large lists must not take for ever: half of 200 targets shared.
#[test]
fn two_hundred_targets_are_joined() {
    let all = layout(300, 51);
    let started = std::time::Instant::now();
    let join = join(&all[..200], &seen(&all[100..], 0.02, 8)).unwrap();
    println!("200 targets: {:?}", started.elapsed());
    assert!(join.pairs.len() >= 99, "{}", join.pairs.len());
    assert!(error(&join, &pose()).fixed_rows::<3>(0).norm() < 0.02);
}
