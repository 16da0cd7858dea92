//! Simulated bent tubes against their truth.
#![allow(clippy::unwrap_used, reason = "tests")]

mod support;
use std::f64::consts::{FRAC_PI_2, PI};

use fitwright_tube::bends::Bend;
use fitwright_tube::bent::{Options, fit};
use fitwright_tube::{Outcome, Value};
use support::tube::Tube;
use support::*;

/// What angles a random tube has, degrees.
type Angles = fn(&mut Random) -> f64;

fn shallow(random: &mut Random) -> f64 {
    random.between(10.0, 20.0)
}

fn steep(random: &mut Random) -> f64 {
    random.between(90.0, 130.0)
}

fn any(random: &mut Random) -> f64 {
    match random.unit() {
        t if t < 0.3 => shallow(random),
        t if t < 0.6 => random.between(20.0, 90.0),
        _ => steep(random),
    }
}

/// A tube of random bends, clear of itself, and where to see it from.
fn tube(random: &mut Random, angles: Angles, common: bool, bends: usize) -> (Tube, V3) {
    loop {
        let d = random.between(12.0, 40.0);
        let one = random.between(2.0, 4.0) * d;
        let bend = |i: usize, random: &mut Random| Bend {
            feed: random.between(2.5, 6.0) * d,
            rotation: if i == 0 { 0.0 } else { random.between(-PI, PI) },
            angle: angles(random).to_radians(),
            radius: if common { one } else { random.between(2.0, 4.0) * d },
        };
        let tube = Tube {
            bends: (0..bends).map(|i| bend(i, random)).collect(),
            last: random.between(2.5, 6.0) * d,
            diameter: d,
            start: random.direction() * random.between(0.0, 900.0),
            turn: random.turn(),
        };
        if tube.clear()
            && let Some(view) = tube.view(random)
        {
            return (tube, view);
        }
    }
}

/// Against the truth, from whichever end it was followed. The figures asked for, or three times the stated
/// uncertainty where chance does not allow them; gives how many rows needed that.
fn against(tube: &Tube, found: &Outcome, what: &str) -> usize {
    sound(found);
    let u = |name: &str| found.uncertainty(name).unwrap();
    let off = number(found, "diameter") - tube.diameter;
    assert!(off.abs() < 0.02, "{what}: diameter off by {off}");
    let count = tube.bends.len();
    let rows = |i: usize| format!("bend_{}", i + 1);
    assert!(found.report.get(&format!("{}_feed", rows(count - 1))).is_some(), "{what}: {tube:?}");
    assert!(found.report.get(&format!("{}_feed", rows(count))).is_none(), "{what}: {tube:?}");
    let start = place(found, "start");
    let forward = (start - tube.start).norm() < (start - tube.end()).norm();
    let mut weak = 0;
    for (i, truth) in tube.bends.iter().enumerate() {
        let row = rows(if forward { i } else { count - 1 - i });
        let name = |what: &str| format!("{row}_{what}");
        let off = (number(found, &name("angle")) - truth.angle).to_degrees();
        let sigma = u(&name("angle")).to_degrees();
        println!(
            "{what}: bend {i} of {:.0} off by {off:+.4}, u {sigma:.4}",
            truth.angle.to_degrees()
        );
        assert!(off.abs() < 0.05f64.max(3.0 * sigma), "{what}: bend {i} off by {off}, u {sigma}");
        weak += usize::from(3.0 * sigma > 0.05);
        let off = number(found, &name("radius")) - truth.radius;
        let sigma = u(&name("radius"));
        assert!(off.abs() < 4.0 * sigma, "{what}: radius {i} off by {off}, u {sigma}");
        if i > 0 {
            let k = if forward { i } else { count - i };
            let name = format!("{}_rotation", rows(k));
            let off = (number(found, &name) - truth.rotation).to_degrees();
            let off = off - 360.0 * (off / 360.0).round();
            let sigma = u(&name).to_degrees();
            println!("{what}: rotation {i} off by {off:+.4}, u {sigma:.4}");
            assert!(
                off.abs() < 0.1f64.max(3.0 * sigma),
                "{what}: rotation {i} off by {off}, u {sigma}"
            );
            weak += usize::from(3.0 * sigma > 0.1);
        }
    }
    let off = number(found, "developed_length") - tube.length();
    assert!(off.abs() < 2.0, "{what}: length off by {off}");
    let end = place(found, "end");
    let (p, q) = if forward { (start, end) } else { (end, start) };
    assert!((p - tube.start).norm() < 1.2 && (q - tube.end()).norm() < 1.2, "{what}");
    weak
}

fn cases(first: u64, angles: Angles, common: bool) -> usize {
    let mut weak = 0;
    for seed in first..first + 10 {
        let mut random = Random::new(seed);
        let bends = 1 + (random.unit() * 4.0) as usize;
        let (tube, view) = tube(&mut random, angles, common, bends);
        // A clamp on a straight.
        let parts = tube.parts();
        let (part, length) = parts[2 * (random.unit() * (bends + 1) as f64) as usize];
        let clamp = part.way + 0.5 * length - 15.0;
        let hidden = |way: f64| length > 70.0 && (clamp..clamp + 30.0).contains(&way);
        let spacing = random.between(0.6, 1.0);
        let scan = tube.scan(&view, spacing, &hidden, &mut random);
        let options = Options { common_radius: common, ..Options::default() };
        let found = fit(&scan.input(), &options, &Engine::new());
        let found = found.unwrap_or_else(|e| panic!("seed {seed}: {e:?}: {tube:?}"));
        weak += against(&tube, &found, &format!("seed {seed}"));
    }
    println!("{weak} values where chance allows less than asked for");
    weak
}

#[test]
fn bends_of_their_own_radius() {
    cases(0, any, false);
}

#[test]
fn bends_of_one_radius() {
    cases(20, any, true);
}

#[test]
fn steep_bends() {
    assert_eq!(cases(40, steep, false), 0);
}

#[test]
fn shallow_bends() {
    cases(60, shallow, true);
    cases(80, shallow, false);
}

fn simple(random: &mut Random) -> (Tube, V3) {
    let bend = |feed, rotation, angle, radius| Bend { feed, rotation, angle, radius };
    let tube = Tube {
        bends: vec![bend(80.0, 0.0, FRAC_PI_2, 50.0), bend(70.0, 1.0, 1.0, 50.0)],
        last: 80.0,
        diameter: 20.0,
        start: V3::new(100.0, 50.0, -300.0),
        turn: random.turn(),
    };
    let view = tube.view(random).unwrap();
    (tube, view)
}

/// The clamp covers a part of a bend: what is left of it, and its straights, tell the rest.
#[test]
fn a_gap_over_a_bend() {
    for seed in 0..10 {
        let mut random = Random::new(100 + seed);
        let (tube, view) = simple(&mut random);
        let from = 80.0 + random.between(-10.0, 40.0);
        let hidden = |way: f64| (from..from + 30.0).contains(&way);
        let scan = tube.scan(&view, 0.8, &hidden, &mut random);
        let found = fit(&scan.input(), &Options::default(), &Engine::new());
        let found = found.unwrap_or_else(|e| panic!("seed {seed}: {e:?}: {from}"));
        against(&tube, &found, &format!("seed {seed}"));
    }
}

#[test]
fn neighbours_and_strays_are_left_out() {
    for seed in 0..10 {
        let mut random = Random::new(200 + seed);
        let (tube, view) = tube(&mut random, any, false, 2);
        let mut scan = tube.scan(&view, 0.8, &|_| false, &mut random);
        let own = scan.points.len();
        // A plate across the start.
        let a = tube.turn * V3::y() * (4.0 * tube.diameter);
        let b = tube.turn * V3::z() * (4.0 * tube.diameter);
        let spacing = (a.norm() * b.norm() / (0.1 * own as f64)).sqrt();
        plate((tube.start - (a + b) * 0.5, a, b), spacing, &mut random, &mut scan);
        strays(&mut scan, 0.08, &mut random);
        let found = fit(&scan.input(), &Options::default(), &Engine::new());
        let found = found.unwrap_or_else(|e| panic!("seed {seed}: {e:?}: {tube:?}"));
        against(&tube, &found, &format!("seed {seed}"));
    }
}

#[test]
fn bends_of_180_degrees_and_ten_bends() {
    let mut random = Random::new(300);
    let bend = |feed, rotation, angle, radius| Bend { feed, rotation, angle, radius };
    let uturn = Tube {
        bends: vec![bend(150.0, 0.0, PI, 40.0)],
        last: 120.0,
        diameter: 22.0,
        start: V3::zeros(),
        turn: random.turn(),
    };
    let view = uturn.turn * V3::new(0.1, 0.2, 0.97);
    let scan = uturn.scan(&view, 0.9, &|_| false, &mut random);
    let found = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap();
    against(&uturn, &found, "180 degrees");
    assert!(found.report.get("bend_1_corner").is_none());

    let zigzag = Tube {
        bends: (0..10)
            .map(|i| bend(60.0, if i == 0 { 0.0 } else { PI - 0.1 }, 0.8, 40.0))
            .collect(),
        last: 60.0,
        diameter: 16.0,
        start: V3::zeros(),
        turn: random.turn(),
    };
    let view = zigzag.turn * V3::new(0.1, 0.2, 0.97);
    let scan = zigzag.scan(&view, 1.0, &|_| false, &mut random);
    let found = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap();
    sound(&found);
    let Some(Value::Table(columns, values)) = found.report.get("bends") else { panic!() };
    assert_eq!(values.len(), 10 * columns.len());
    for row in values.chunks(columns.len()) {
        assert!((row[3] - 0.8).abs() < 0.05f64.to_radians().max(3.0 * row[7]), "{row:?}");
    }
    assert!(found.report.get("bend_8_feed").is_some() && found.report.get("bend_9_feed").is_none());
}

#[test]
fn too_little_and_no_tube_are_refused() {
    for (name, scan) in poor() {
        let refused = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap_err();
        println!("{name}: {}", refused.reason);
        assert!(!refused.reason.is_empty(), "{name}");
    }
    let mut random = Random::new(400);
    let mut straight = Scan::default();
    let place = (V3::zeros(), V3::z(), 200.0);
    cylinder(place, 10.0, 1.0, &|n| n.x > 0.1, &mut random, &mut straight);
    let refused = fit(&straight.input(), &Options::default(), &Engine::new()).unwrap_err();
    assert!(refused.reason.contains("no bend"), "{}", refused.reason);
    // A whole bend hidden.
    let (tube, view) = simple(&mut random);
    let hidden = |way: f64| (70.0..170.0).contains(&way);
    let scan = tube.scan(&view, 0.9, &hidden, &mut random);
    let refused = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap_err();
    println!("{}", refused.reason);
    assert!(refused.reason.contains("common_radius"), "{}", refused.reason);
    let common = Options { common_radius: true, ..Options::default() };
    against(&tube, &fit(&scan.input(), &common, &Engine::new()).unwrap(), "one radius");
    for gap in [f64::NAN, -1.0, 1e9] {
        let odd = Options { gap, ..Options::default() };
        let refused = fit(&scan.input(), &odd, &Engine::new()).unwrap_err();
        assert_eq!(refused.state, fitwright_plugin::abi::FITW_PLUGIN_E_OPTION);
    }
}

#[test]
fn the_same_answer_every_time_and_none_when_stopped() {
    let mut random = Random::new(500);
    let (tube, view) = simple(&mut random);
    let scan = tube.scan(&view, 1.0, &|_| false, &mut random);
    let run = |host: &Engine| fit(&scan.input(), &Options::default(), host);
    let (a, b) = (run(&Engine::new()).unwrap(), run(&Engine::new()).unwrap());
    assert_eq!(a.report, b.report);
    assert_eq!(a.covariance, b.covariance);
    for questions in [0, 1, 3, 10, 50] {
        let stopped = run(&Engine::stopping_after(questions)).unwrap_err();
        assert_eq!(stopped, fitwright_plugin::Failure::cancelled());
    }
    // Three cylinders, two tori, and the centre line of each.
    assert_eq!(a.pieces.len(), 10);
}

/// Errors over the stated uncertainty scatter by 1.
#[test]
fn stated_uncertainties_are_those_found() {
    let names = ["diameter", "bend_1_angle", "bend_2_angle", "bend_2_rotation", "bend_1_radius"];
    let mut sums = [0.0; 5];
    let runs = 100;
    for seed in 0..runs {
        let mut random = Random::new(600 + seed);
        let (tube, view) = simple(&mut Random::new(600));
        let scan = tube.scan(&view, 1.3, &|_| false, &mut random);
        let found = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap();
        let b = &tube.bends;
        let forward = (place(&found, "start") - tube.start).norm() < 5.0;
        let (i, j) = if forward { (0, 1) } else { (1, 0) };
        let values = [tube.diameter, b[i].angle, b[j].angle, b[1].rotation, b[i].radius];
        for k in 0..5 {
            let u = found.uncertainty(names[k]).unwrap();
            sums[k] += ((number(&found, names[k]) - values[k]) / u).powi(2);
        }
    }
    for (name, sum) in names.iter().zip(sums) {
        let s = (sum / runs as f64).sqrt();
        println!("{name}: errors scatter by {s:.3} of the stated uncertainty");
        assert!((0.8..1.3).contains(&s), "{name}: {s}");
    }
}
