//! Simulated round tubes against their truth.
#![allow(clippy::unwrap_used, reason = "tests")]

mod support;
use fitwright_tube::round::fit;
use support::*;

struct Truth {
    start: V3,
    axis: V3,
    length: f64,
    diameter: f64,
}

/// A tube of random size and place, seen from one side, `open` less than all of that half.
fn tube(random: &mut Random, open: f64) -> (Truth, Scan) {
    let axis = random.direction();
    let start = random.direction() * random.between(0.0, 800.0);
    let truth = Truth {
        start,
        axis,
        length: random.between(60.0, 300.0),
        diameter: random.between(10.0, 60.0),
    };
    let view = axis.cross(&random.direction()).normalize();
    let spacing = random.between(0.5, 1.0);
    let mut scan = Scan::default();
    let seen = |n: &V3| n.dot(&view) > open;
    let place = (start, axis, truth.length);
    cylinder(place, 0.5 * truth.diameter, spacing, &seen, random, &mut scan);
    (truth, scan)
}

#[test]
fn half_of_a_tube_gives_its_diameter_and_ends() {
    for seed in 0..12 {
        let mut random = Random::new(seed);
        let (truth, scan) = tube(&mut random, 0.1);
        let found = fit(&scan.input(), &Engine::new()).unwrap();
        sound(&found);
        let off = number(&found, "diameter") - truth.diameter;
        assert!(off.abs() < 0.02, "seed {seed}: diameter off by {off}");
        let axis = place(&found, "axis");
        assert!(axis.cross(&truth.axis).norm() < 1e-3, "seed {seed}");
        assert!((number(&found, "length") - truth.length).abs() < 1.5, "seed {seed}");
        let (start, end) = (place(&found, "start"), place(&found, "end"));
        let ends = [truth.start, truth.start + truth.axis * truth.length];
        let (p, q) = if axis.dot(&truth.axis) > 0.0 { (start, end) } else { (end, start) };
        assert!((p - ends[0]).norm() < 1.0 && (q - ends[1]).norm() < 1.0, "seed {seed}");
    }
}

#[test]
fn neighbours_and_strays_are_left_out() {
    for seed in 0..8 {
        let mut random = Random::new(100 + seed);
        let (truth, mut scan) = tube(&mut random, 0.1);
        let own = scan.points.len();
        // A plate that the tube stands on and strays, 10 % each or so.
        let a = truth.axis.cross(&random.direction()).normalize();
        let (a, b) = (a * truth.diameter * 2.0, truth.axis.cross(&a) * truth.diameter * 2.0);
        let spacing = (a.norm() * b.norm() / (0.1 * own as f64)).sqrt();
        plate((truth.start - a * 0.5 - b * 0.5, a, b), spacing, &mut random, &mut scan);
        strays(&mut scan, 0.1, &mut random);
        let found = fit(&scan.input(), &Engine::new()).unwrap();
        sound(&found);
        let off = number(&found, "diameter") - truth.diameter;
        assert!(off.abs() < 0.02, "seed {seed}: diameter off by {off}");
        let length = number(&found, "length") - truth.length;
        assert!(length.abs() < 2.5, "seed {seed}: length off by {length}");
        assert!(found.rejected.len() > (scan.points.len() - own) * 8 / 10, "seed {seed}");
    }
}

/// Errors over the stated uncertainty scatter by 1: 200 tubes.
#[test]
fn stated_uncertainties_are_those_found() {
    let (mut sizes, mut places) = (Vec::new(), Vec::new());
    for seed in 0..200 {
        let mut random = Random::new(1000 + seed);
        let axis = V3::new(0.1, 0.2, 0.97).normalize();
        let mut scan = Scan::default();
        let seen = |n: &V3| n.x > 0.1;
        cylinder((V3::zeros(), axis, 60.0), 10.0, 1.2, &seen, &mut random, &mut scan);
        let found = fit(&scan.input(), &Engine::new()).unwrap();
        let u = found.uncertainty("diameter").unwrap();
        sizes.push((number(&found, "diameter") - 20.0) / u);
        // Across the axis, in the direction of the view.
        let across = (V3::x() - axis * axis.x).normalize();
        let row = found.report.row("start").unwrap();
        let block = found.covariance.fixed_view::<3, 3>(row, row);
        let u = (across.transpose() * block * across)[0].sqrt();
        places.push(across.dot(&place(&found, "start")) / u);
    }
    let scatter = |v: &[f64]| (v.iter().map(|x| x * x).sum::<f64>() / v.len() as f64).sqrt();
    for (what, v) in [("diameter", sizes), ("start", places)] {
        let s = scatter(&v);
        println!("{what}: errors scatter by {s:.3} of the stated uncertainty");
        assert!((0.8..1.3).contains(&s), "{what}: {s}");
    }
}

#[test]
fn too_little_and_no_tube_are_refused() {
    for (name, scan) in poor() {
        let refused = fit(&scan.input(), &Engine::new()).unwrap_err();
        println!("{name}: {}", refused.reason);
        assert!(!refused.reason.is_empty(), "{name}");
    }
    let mut random = Random::new(5);
    let (_, scan) = tube(&mut random, 0.95);
    let refused = fit(&scan.input(), &Engine::new()).unwrap_err();
    assert!(refused.reason.contains("scan"), "{}", refused.reason);
}

#[test]
fn the_same_answer_every_time_and_none_when_stopped() {
    let mut random = Random::new(6);
    let (_, scan) = tube(&mut random, 0.1);
    let [a, b] = [(); 2].map(|()| fit(&scan.input(), &Engine::new()).unwrap());
    assert_eq!(a.report, b.report);
    assert_eq!(a.covariance, b.covariance);
    for questions in 0..3 {
        let stopped = fit(&scan.input(), &Engine::stopping_after(questions)).unwrap_err();
        assert_eq!(stopped, fitwright_plugin::Failure::cancelled());
    }
}
