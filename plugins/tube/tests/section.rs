//! Simulated hollow sections against their truth.
#![allow(clippy::unwrap_used, reason = "tests")]

mod support;
use std::f64::consts::FRAC_PI_2;

use fitwright_tube::section::{Options, fit};
use support::*;

/// A section about the z axis from z = 0, turned into space by `pose`.
#[derive(Debug, Clone)]
struct Truth {
    width: f64,
    height: f64,
    corner: f64,
    length: f64,
    /// Rad over the length.
    twist: f64,
    turn: UnitQuaternion<f64>,
    shift: V3,
}

impl Truth {
    fn random(random: &mut Random) -> Self {
        let width = random.between(40.0, 120.0);
        let height = random.between(0.5, 0.95) * width;
        Truth {
            width,
            height,
            corner: random.between(3.0, 9.0),
            length: random.between(120.0, 300.0),
            twist: random.between(-0.01, 0.01),
            turn: random.turn(),
            shift: random.direction() * random.between(0.0, 800.0),
        }
    }

    fn place(&self, x: f64, y: f64, z: f64) -> V3 {
        let (sin, cos) = (self.twist * (z / self.length - 0.5)).sin_cos();
        self.turn * V3::new(cos * x - sin * y, sin * x + cos * y, z) + self.shift
    }

    /// Points where `seen` says so of the normal in the section and the place along.
    fn scan(
        &self,
        spacing: f64,
        seen: &dyn Fn(f64, f64, f64) -> bool,
        random: &mut Random,
    ) -> Scan {
        let (a, b) = (self.width - 2.0 * self.corner, self.height - 2.0 * self.corner);
        let arc = FRAC_PI_2 * self.corner;
        let round = 2.0 * (a + b) + 4.0 * arc;
        let mut scan = Scan::default();
        for _ in 0..(round * self.length / spacing.powi(2)) as usize {
            let z = random.between(0.0, self.length);
            let (x, y, nx, ny) = self.outline(random.between(0.0, round), a, b, arc);
            if seen(nx, ny, z) {
                scan.add(self.place(x, y, z), random);
            }
        }
        scan
    }

    /// Place and normal after a way round the outline, a quarter after another.
    fn outline(&self, way: f64, a: f64, b: f64, arc: f64) -> (f64, f64, f64, f64) {
        let (half, quarter) = (a + b + 2.0 * arc, way);
        let (s, flip) = if quarter < half { (quarter, 1.0) } else { (quarter - half, -1.0) };
        let (w, h, r) = (0.5 * self.width, 0.5 * self.height, self.corner);
        let (x, y, nx, ny) = if s < b {
            (w, s - 0.5 * b, 1.0, 0.0)
        } else if s < b + arc {
            let (sin, cos) = ((s - b) / r).sin_cos();
            (w - r + r * cos, h - r + r * sin, cos, sin)
        } else if s < b + arc + a {
            (0.5 * a - (s - b - arc), h, 0.0, 1.0)
        } else {
            let (sin, cos) = ((s - b - arc - a) / r).sin_cos();
            (-w + r - r * sin, h - r + r * cos, -sin, cos)
        };
        (flip * x, flip * y, flip * nx, flip * ny)
    }

    fn against(&self, found: &fitwright_tube::Outcome, what: &str) {
        sound(found);
        for (name, truth) in
            [("width", self.width), ("height", self.height), ("corner_radius", self.corner)]
        {
            let off = number(found, name) - truth;
            let u = found.uncertainty(name).unwrap();
            println!("{what}: {name} off by {off:+.4}, u {u:.4}");
            let most = if name == "corner_radius" { 0.05f64 } else { 0.02 };
            assert!(off.abs() < most.max(3.0 * u), "{what}: {name} off by {off}, u {u}: {self:?}");
            assert!(u < most, "{what}: {name} u {u}");
        }
        let axis = place(found, "axis");
        assert!(axis.cross(&(self.turn * V3::z())).norm() < 1e-3, "{what}");
        let side = place(found, "width_direction");
        assert!(side.cross(&(self.turn * V3::x())).norm() < 1e-3, "{what}");
        let twist = number(found, "twist");
        let u = found.uncertainty("twist").unwrap();
        assert!((twist - self.twist).abs() < 4.0 * u && u < 1e-3, "{what}: twist {twist}, u {u}");
        assert!((number(found, "length") - self.length).abs() < 2.0, "{what}");
    }
}

/// Seen from a direction in the section, at up to 78 degrees.
fn from(turn: f64) -> impl Fn(f64, f64) -> bool {
    let (sin, cos) = turn.sin_cos();
    move |x, y| x * cos + y * sin > 0.2
}

#[test]
fn all_round() {
    for seed in 0..10 {
        let mut random = Random::new(seed);
        let truth = Truth::random(&mut random);
        let scan = truth.scan(1.0, &|_, _, _| true, &mut random);
        let found = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap();
        truth.against(&found, &format!("seed {seed}"));
    }
}

#[test]
fn three_sides() {
    for seed in 0..10 {
        let mut random = Random::new(100 + seed);
        let truth = Truth::random(&mut random);
        let (a, b, c) = (from(0.0), from(FRAC_PI_2), from(2.0 * FRAC_PI_2));
        let seen = |x: f64, y: f64, _: f64| a(x, y) || b(x, y) || c(x, y);
        let scan = truth.scan(0.8, &seen, &mut random);
        let found = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap();
        truth.against(&found, &format!("seed {seed}"));
    }
}

/// From one view on an edge: two sides, the corner between them, half of the corners beyond.
#[test]
fn two_sides_from_one_view() {
    for seed in 0..10 {
        let mut random = Random::new(200 + seed);
        let truth = Truth::random(&mut random);
        let view = from(random.between(0.6, 1.0));
        let scan = truth.scan(0.7, &|x, y, _| view(x, y), &mut random);
        let found = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap();
        truth.against(&found, &format!("seed {seed}"));
    }
}

#[test]
fn squares_neighbours_strays_and_a_gap() {
    for seed in 0..10 {
        let mut random = Random::new(300 + seed);
        let mut truth = Truth::random(&mut random);
        truth.height = truth.width;
        let view = from(random.between(0.5, 1.1));
        let seen = |x: f64, y: f64, z: f64| view(x, y) && !(50.0..80.0).contains(&z);
        let mut scan = truth.scan(0.8, &seen, &mut random);
        let own = scan.points.len() as f64;
        let (a, b) = (truth.turn * V3::x() * 150.0, truth.turn * V3::y() * 150.0);
        let corner = truth.shift - (a + b) * 0.5;
        plate((corner, a, b), 150.0 / (0.1 * own).sqrt(), &mut random, &mut scan);
        strays(&mut scan, 0.08, &mut random);
        let found = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap();
        sound(&found);
        for name in ["width", "height"] {
            let off = number(&found, name) - truth.width;
            let u = found.uncertainty(name).unwrap();
            assert!(off.abs() < 0.02f64.max(3.0 * u), "seed {seed}: {name} off by {off}, u {u}");
        }
    }
}

fn still(random: &mut Random) -> Truth {
    let truth = Truth::random(random);
    Truth { width: 60.0, height: 40.0, corner: 6.0, length: 200.0, ..truth }
}

#[test]
fn an_open_size_is_refused_with_its_remedy_and_served_when_known() {
    let mut random = Random::new(7);
    let truth = still(&mut random);
    // Three sides, but the corners of the fourth not at all.
    let flat = |x: f64, y: f64, _: f64| y > -1e-9 && (x.abs() > 1e-9 || y > 0.5);
    let scan = truth.scan(0.8, &flat, &mut random);
    let refused = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap_err();
    println!("{}", refused.reason);
    assert!(refused.reason.contains("scan") && refused.reason.contains("give"));
    let known = Options { height: 40.0, ..Options::default() };
    let found = fit(&scan.input(), &known, &Engine::new()).unwrap();
    sound(&found);
    assert!((number(&found, "width") - 60.0).abs() < 0.02);
    assert_eq!(number(&found, "height"), 40.0);
    // One side only.
    let one = truth.scan(0.8, &|_, y, _| y > 0.8, &mut random);
    let refused = fit(&one.input(), &Options::default(), &Engine::new()).unwrap_err();
    println!("{}", refused.reason);
    assert!(refused.reason.contains("scan"), "{}", refused.reason);
    // A square known as such needs no more than the three sides.
    let square = Truth { height: 60.0, ..truth };
    let scan = square.scan(0.8, &flat, &mut random);
    let known = Options { square: true, ..Options::default() };
    let found = fit(&scan.input(), &known, &Engine::new()).unwrap();
    sound(&found);
    assert!((number(&found, "height") - 60.0).abs() < 0.02);
}

#[test]
fn stated_uncertainties_are_those_found() {
    let names = ["width", "height", "corner_radius", "twist"];
    let mut sums = [0.0; 4];
    let runs = 120;
    for seed in 0..runs {
        let mut random = Random::new(4000 + seed);
        let truth = Truth { length: 60.0, twist: 0.002, ..still(&mut random) };
        let view = from(0.8);
        let scan = truth.scan(1.2, &|x, y, _| view(x, y), &mut random);
        let found = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap();
        let values = [truth.width, truth.height, truth.corner, truth.twist];
        for k in 0..4 {
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

#[test]
fn odd_options_poor_points_and_round_tubes_are_refused() {
    let mut random = Random::new(8);
    let scan = still(&mut random).scan(1.5, &|_, _, _| true, &mut random);
    for odd in [
        Options { width: f64::NAN, ..Options::default() },
        Options { height: -1.0, ..Options::default() },
        Options { width: 10.0, corner: 6.0, ..Options::default() },
        Options { width: 60.0, height: 40.0, square: true, ..Options::default() },
    ] {
        let refused = fit(&scan.input(), &odd, &Engine::new()).unwrap_err();
        assert_eq!(refused.state, fitwright_plugin::abi::FITW_PLUGIN_E_OPTION, "{odd:?}");
    }
    let wrong = Options { width: 500.0, ..Options::default() };
    if let Ok(found) = fit(&scan.input(), &wrong, &Engine::new()) {
        sound(&found);
        let told = |n: &String| n.contains("a known size is wrong");
        assert!(found.notes.iter().any(told), "{:?}", found.notes);
    }
    for (name, scan) in poor() {
        let refused = fit(&scan.input(), &Options::default(), &Engine::new()).unwrap_err();
        println!("{name}: {}", refused.reason);
        assert!(!refused.reason.is_empty(), "{name}");
    }
    let mut round = Scan::default();
    let place = (V3::zeros(), V3::z(), 150.0);
    cylinder(place, 20.0, 1.0, &|_| true, &mut random, &mut round);
    let refused = fit(&round.input(), &Options::default(), &Engine::new()).unwrap_err();
    println!("{}", refused.reason);
}

#[test]
fn the_same_answer_every_time_and_none_when_stopped() {
    let mut random = Random::new(9);
    let scan = still(&mut random).scan(1.0, &|_, _, _| true, &mut random);
    let run = |host: &Engine| fit(&scan.input(), &Options::default(), host);
    let (a, b) = (run(&Engine::new()).unwrap(), run(&Engine::new()).unwrap());
    assert_eq!(a.report, b.report);
    assert_eq!(a.covariance, b.covariance);
    for questions in [0, 1, 5, 40] {
        let stopped = run(&Engine::stopping_after(questions)).unwrap_err();
        assert_eq!(stopped, fitwright_plugin::Failure::cancelled());
    }
}
