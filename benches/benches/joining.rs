//! Joining by surface from no start: how often the right pose is found, how often a wrong one is given, and how
//! often the answer is a refusal.
//!
//! `cargo bench -p fitwright-benches --bench joining` prints a table over two simulated machines (see
//! tests/src/machines.rs), scanned twice, each cut to one side of a plane so that a known share is in common;
//! `-- trials N` asks for N cuts each instead of 10. The bunny's ten range scans (G. Turk, M. Levoy 1994,
//! with the poses of their own alignment) are read from `../shared` where they are.
#![allow(missing_docs)]

use std::path::{Path, PathBuf};
use std::time::Instant;

use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::register::{UnknownStartOptions, from_unknown_start};
use fitwright::scan::Scan;
use fitwright::simulate::random::Random;
use fitwright::units::LengthUnit;
use fitwright::{Context, Error};
use fitwright_tests::Draw;
use fitwright_tests::machines::{labelled, pump, valve};
use nalgebra::{Quaternion, Translation3, UnitQuaternion};

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let trials = std::env::args().skip_while(|a| a != "trials").nth(1);
    machines(trials.map_or(Ok(10), |n| n.parse())?)?;
    let folder =
        ["../shared", "../../shared"].map(|s| Path::new(s).join("data/stanford_bunny_scans"));
    match folder.iter().find(|f| f.is_dir()) {
        Some(folder) => views(folder),
        None => {
            println!("range scans skipped: no shared data beside the clone");
            Ok(())
        }
    }
}

/// What came of a pair.
#[derive(Default)]
struct Tally {
    right: usize,
    wrong: usize,
    refused: usize,
    worst: f64,
    seconds: Vec<f64>,
}

impl Tally {
    /// Joins and compares: wrong is what leaves any point more than `allowed` (mm) off.
    fn add(&mut self, to: &Scan, from: &Scan, truth: &Pose, allowed: f64) -> Result<f64, Failure> {
        let context = Context::new(2)?;
        let start = Instant::now();
        let found = from_unknown_start(to, from, &UnknownStartOptions::default(), &context);
        self.seconds.push(start.elapsed().as_secs_f64());
        match found {
            Ok((join, _)) => {
                let off = |p: &Point3| (join.to_from_this * p - truth * p).norm();
                let worst = from.points().iter().map(off).fold(0.0, f64::max);
                if worst > allowed {
                    self.wrong += 1
                } else {
                    self.right += 1
                }
                self.worst = self.worst.max(worst);
                Ok(worst)
            }
            Err(Error::Join { .. }) => {
                self.refused += 1;
                Ok(f64::INFINITY)
            }
            Err(e) => Err(e.into()),
        }
    }

    fn line(&mut self, what: &str) {
        self.seconds.sort_by(f64::total_cmp);
        println!(
            "{what:<24} {:>5} {:>5} {:>7}   {:>12.4}   {:>6.2}",
            self.right,
            self.wrong,
            self.refused,
            self.worst,
            self.seconds[self.seconds.len() / 2]
        );
    }
}

fn machines(trials: u64) -> Result<(), Failure> {
    println!("Aims at 30 % in common: right 999 of 1,000, wrong under 1 of 1,000");
    println!("machine, in common       right wrong refused   largest, mm   median, s");
    let mut random = Random::new(5);
    for (name, machine) in [("pump", pump as fn() -> _), ("valve", valve)] {
        let scan = |seed| labelled(machine(), 1.0, 0.03, seed)?.scan.to_scan();
        let (a, b) = (scan(1)?, scan(2)?);
        for share in [0.6, 0.45, 0.3] {
            let mut tally = Tally::default();
            for _ in 0..trials {
                let across = random.vector(1.0).normalize();
                let mut along: Vec<f64> =
                    a.points().iter().map(|p| p.coords.dot(&across)).collect();
                along.sort_by(f64::total_cmp);
                // Of parts of k of the points each, 2k - 1 is in common: that is the share of k.
                let k = 1.0 / (2.0 - share);
                let at = |k: f64| along[(k * (along.len() - 1) as f64) as usize];
                let (low, high) = (at(1.0 - k), at(k));
                let to = part(&a, |p| p.coords.dot(&across) <= high)?;
                let from = part(&b, |p| p.coords.dot(&across) >= low)?;
                let turn =
                    random.vector(1.0).normalize() * (std::f64::consts::PI * random.uniform());
                let shift = Translation3::from(random.vector(200.0));
                let pose = Pose::from_parts(shift, UnitQuaternion::from_scaled_axis(turn));
                tally.add(&to, &from.transformed(&pose.inverse()), &pose, 0.5)?;
            }
            tally.line(&format!("{name} {:.0} %", 100.0 * share));
        }
    }
    Ok(())
}

fn part(scan: &Scan, keep: impl Fn(&Point3) -> bool) -> Result<Scan, Failure> {
    let mut id = vec![u32::MAX; scan.points().len()];
    let mut points = Vec::new();
    for (i, p) in scan.points().iter().enumerate().filter(|(_, p)| keep(p)) {
        id[i] = points.len() as u32;
        points.push(*p);
    }
    let kept = scan.triangles().iter().map(|t| t.map(|i| id[i as usize]));
    Ok(Scan::from_mesh(points, kept.filter(|t| !t.contains(&u32::MAX)).collect())?)
}

/// All pairs of views of which a quarter of the second lies on the first.
fn views(folder: &Path) -> Result<(), Failure> {
    println!(
        "\nBunny, all pairs with a quarter in common; the given poses are good to about 0.4 mm"
    );
    let conf = std::fs::read_to_string(folder.join("bun.conf"))?;
    let view = |line: &str| -> Result<(PathBuf, Scan, Pose), Failure> {
        let words: Vec<&str> = line.split_whitespace().collect();
        let n: Vec<f64> = words[2..].iter().map(|x| x.parse()).collect::<Result<_, _>>()?;
        // The file holds the conjugate.
        let turn = UnitQuaternion::from_quaternion(Quaternion::new(-n[6], n[3], n[4], n[5]));
        let pose = Pose::from_parts(Translation3::from(Vec3::new(n[0], n[1], n[2]) * 1e3), turn);
        Ok((words[1].into(), Scan::read(folder.join(words[1]), LengthUnit::Metre)?, pose))
    };
    let views: Vec<_> =
        conf.lines().filter(|l| l.starts_with("bmesh")).map(view).collect::<Result<_, _>>()?;
    let mut tally = Tally::default();
    for (k, a) in views.iter().enumerate() {
        for b in &views[k + 1..] {
            let truth = a.2.inverse() * b.2;
            let some: Vec<&Point3> = b.1.points().iter().step_by(7).collect();
            let on = some.iter().filter(|p| a.1.nearest(&(truth * **p)).1 < 1.0).count();
            let share = on as f64 / some.len() as f64;
            if share >= 0.25 {
                let worst = tally.add(&a.1, &b.1, &truth, 2.0)?;
                println!("{} {} {share:.2}: {worst:.2} mm", a.0.display(), b.0.display());
            }
        }
    }
    tally.line("all");
    Ok(())
}
