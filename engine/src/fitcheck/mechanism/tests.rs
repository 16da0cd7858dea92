//! The two programs against what is known without them: three bumps, pitches, and an exhaustive search.

use super::solve::{Clamp, Mechanism, Play, Rest};
use crate::primitive::{Point3, Vec3};
use crate::simulate::random::Random;

fn up() -> crate::primitive::Direction {
    Vec3::z_axis()
}

fn rest(x: f64, y: f64, gap: f64) -> Rest {
    Rest { place: Point3::new(x, y, 0.0), normal: up(), gap }
}

fn clamps(places: &[(f64, f64)]) -> Vec<Clamp> {
    places.iter().map(|(x, y)| Clamp { place: Point3::new(*x, *y, 0.0), normal: up() }).collect()
}

fn grid(gap: impl Fn(f64, f64) -> f64) -> Vec<Rest> {
    let at = |k: i32| f64::from(k) * 5.0;
    let cell = |i: i32, j: i32| rest(at(i), at(j), gap(at(i), at(j)));
    (-6..=6).flat_map(|i| (-4..=4).map(move |j| (i, j))).map(|(i, j)| cell(i, j)).collect()
}

/// A flat seat, high by 0.3 mm and tilted: the part follows it exactly.
#[test]
fn a_flat_seat_is_followed() {
    let tilt = |x: f64, y: f64| -0.3 - 0.002 * x + 0.001 * y;
    let rests = grid(tilt);
    let clamps = clamps(&[(-20.0, 0.0), (20.0, 0.0), (0.0, 15.0)]);
    let mechanism = Mechanism::new(&rests, &clamps).expect("seats and clamps");
    let sitting = mechanism.sit(10.0).expect("it rests");
    for r in &rests {
        let left = r.gap + sitting.motion.at(&r.place).z;
        assert!(left.abs() < 1e-6, "{left}");
    }
    assert_eq!(sitting.contacts.len(), rests.len());
}

/// A hollow seat with three bumps round the clamp: the part stands on the bumps, on their plane.
#[test]
fn three_bumps_carry() {
    let mut rests = grid(|_, _| 0.0);
    let bumps = [(-30.0, -20.0, -0.12), (30.0, -15.0, -0.31), (0.0, 20.0, -0.2)];
    for (x, y, gap) in bumps {
        rests.push(rest(x, y, gap));
    }
    let clamps = clamps(&[(0.0, 0.0)]);
    let sitting = Mechanism::new(&rests, &clamps).expect("seats").sit(10.0).expect("it rests");
    let first = rests.len() - 3;
    assert_eq!(sitting.contacts, [first, first + 1, first + 2]);
    for (x, y, gap) in bumps {
        let left = gap + sitting.motion.at(&Point3::new(x, y, 0.0)).z;
        assert!(left.abs() < 1e-6, "{left}");
    }
}

/// All bumps on one side of the clamp: nothing holds the other side until it touches there.
#[test]
fn what_tips_over_is_told() {
    let rests: Vec<Rest> =
        [(10.0, -5.0), (10.0, 5.0), (20.0, 0.0)].map(|(x, y)| rest(x, y, 0.0)).into();
    let clamps = clamps(&[(-30.0, 0.0)]);
    assert!(Mechanism::new(&rests, &clamps).expect("seats").sit(5.0).is_none());
}

fn bolt(at: (f64, f64), off: (f64, f64), play: f64) -> Play {
    let end = |z: f64| (Point3::new(at.0, at.1, z), Point3::new(at.0 + off.0, at.1 + off.1, z));
    Play { ends: [end(0.0), end(10.0)], axis: up(), play }
}

/// Two bolts whose pitch is wrong by 0.6 mm share it.
#[test]
fn a_wrong_pitch_is_shared() {
    let rests = grid(|_, _| 0.0);
    let clamps = clamps(&[(-20.0, 0.0), (20.0, 0.0)]);
    let mechanism = Mechanism::new(&rests, &clamps).expect("seats");
    let sitting = mechanism.sit(5.0).expect("it rests");
    let bolts = [bolt((-20.0, 0.0), (0.0, 0.0), 0.5), bolt((20.0, 0.0), (0.6, 0.0), 0.5)];
    let best = mechanism.bolt(&sitting, &bolts, 5.0).expect("an answer");
    assert!((best.margin - 0.2).abs() < 1e-6, "{}", best.margin);
    // Both bolts decide, each for half, along the pitch.
    for weights in &best.weights {
        let sum = weights[0] + weights[1];
        assert!((sum.x.abs() - 0.5).abs() < 1e-4 && sum.y.abs() < 1e-4, "{sum}");
    }
}

/// A bolt that leans: the offset at the far end counts, and is shared with the near end.
#[test]
fn a_leaning_bolt_takes_room_at_both_ends() {
    let rests = grid(|_, _| 0.0);
    let clamps = clamps(&[(-20.0, 0.0), (20.0, 0.0)]);
    let mechanism = Mechanism::new(&rests, &clamps).expect("seats");
    let sitting = mechanism.sit(5.0).expect("it rests");
    let mut leaning = bolt((20.0, 0.0), (0.0, 0.0), 0.5);
    leaning.ends[1].1.y += 0.4;
    let bolts = [bolt((-20.0, 0.0), (0.0, 0.0), 0.9), leaning];
    let best = mechanism.bolt(&sitting, &bolts, 5.0).expect("an answer");
    // The solver leaves the clamps a hundredth of a micrometre, and the bolt leans by it.
    assert!((best.margin - 0.3).abs() < 1e-5, "{}", best.margin);
}

/// The margin is reached by the motion, and no motion in the seat's plane reaches more: with weights whose forces
/// and turning moments cancel and whose sizes add up to one, the weighted room is the same for all motions
/// (weak duality), and it is the margin.
fn certify(bolts: &[Play], best: &super::solve::Bolted) {
    let ends = || bolts.iter().flat_map(|b| b.ends.iter().map(move |e| (b, e)));
    let weights: Vec<Vec3> = best.weights.iter().flatten().copied().collect();
    let room = |(b, (p, q)): (&Play, &(Point3, Point3))| {
        let off = p + best.motion.at(p) - q;
        b.play - off.xy().norm()
    };
    let reached = ends().map(room).fold(f64::INFINITY, f64::min);
    assert!((reached - best.margin).abs() < 1e-6, "{reached} {}", best.margin);
    let (mut force, mut moment, mut size, mut bound) = (Vec3::zeros(), 0.0, 0.0, 0.0);
    // The multipliers of the solver may point either way along the offset.
    let sign = |w: &Vec3, off: Vec3| if w.dot(&off) < 0.0 { -1.0 } else { 1.0 };
    for ((b, (p, q)), w) in ends().zip(&weights) {
        let w = w * sign(w, p + best.motion.at(p) - q);
        force += w;
        moment += p.x * w.y - p.y * w.x;
        size += w.norm();
        bound += w.norm() * b.play - w.dot(&(p - q));
    }
    assert!((size - 1.0).abs() < 1e-5, "{size}");
    assert!(force.xy().norm() < 1e-5 && moment.abs() < 1e-3, "{force} {moment}");
    assert!((bound - best.margin).abs() < 1e-4, "{bound} {}", best.margin);
}

/// Any four bolts, against a search over all shifts and turns in the seat's plane that is refined around its
/// best until nothing changes.
#[test]
fn the_best_place_is_that_of_an_exhaustive_search() {
    let mut random = Random::new(11);
    let rests = grid(|_, _| 0.0);
    for _ in 0..12 {
        let mut draw = |a: f64| a * (2.0 * random.uniform() - 1.0);
        let corners = [(-25.0, -15.0), (25.0, -15.0), (25.0, 15.0), (-25.0, 15.0)];
        let bolts = corners.map(|c| bolt(c, (draw(0.5), draw(0.5)), 0.6 + draw(0.2)));
        let clamps = clamps(&corners);
        let mechanism = Mechanism::new(&rests, &clamps).expect("seats");
        let sitting = mechanism.sit(5.0).expect("it rests");
        let best = mechanism.bolt(&sitting, &bolts, 5.0).expect("an answer");
        let margin = |x: f64, y: f64, turn: f64| {
            let room = |b: &Play| {
                let (p, q) = b.ends[0];
                let moved = (p.x - q.x + x - turn * p.y, p.y - q.y + y + turn * p.x);
                b.play - moved.0.hypot(moved.1)
            };
            bolts.iter().map(room).fold(f64::INFINITY, f64::min)
        };
        let (mut at, mut step) = ((0.0, 0.0, 0.0), (0.5, 0.5, 0.02));
        let mut found = margin(0.0, 0.0, 0.0);
        while step.0 > 1e-9 {
            let centre = at;
            for i in -4..=4 {
                for j in -4..=4 {
                    for k in -4..=4 {
                        let [i, j, k] = [i, j, k].map(f64::from);
                        let tried = (
                            centre.0 + step.0 * i / 4.0,
                            centre.1 + step.1 * j / 4.0,
                            centre.2 + step.2 * k / 4.0,
                        );
                        let value = margin(tried.0, tried.1, tried.2);
                        if value > found {
                            (found, at) = (value, tried);
                        }
                    }
                }
            }
            step = (step.0 * 0.6, step.1 * 0.6, step.2 * 0.6);
        }
        assert!(
            found < best.margin + 1e-6 && found > best.margin - 1e-3,
            "{} {found}",
            best.margin
        );
        certify(&bolts, &best);
    }
}
