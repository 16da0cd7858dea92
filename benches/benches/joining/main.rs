//! Joining by surface from no start: how often the right pose is found, how often a wrong one is given, and how
//! often the answer is a refusal.
//!
//! `cargo bench -p fitwright-benches --bench joining` prints a table over two simulated machines (see
//! tests/src/machines.rs), scanned twice, each cut to one side of a plane so that a known share is in common;
//! `-- trials N` asks for N cuts each instead of 10, `share S` for one share and nothing else. Then the demo's mill is scanned from eight places round it, the
//! scans joined in a chain and adjusted together, `-- rounds N` times instead of 3. The bunny's ten range scans (G. Turk, M. Levoy 1994,
//! with the poses of their own alignment) are read from `../shared` where they are: every pair from no start, then
//! all of them adjusted together after a chain of joins round the figure.
//! `-- beside` joins one pair with other libraries in the same run instead (small_gicp and Open3D, see
//! `benches/src/lib.rs`).
#![allow(missing_docs)]

mod beside;

use std::path::{Path, PathBuf};
use std::time::Instant;

use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::register::{
    AdjustOptions, SurfaceOptions, UnknownStartOptions, adjust, by_surface, from_unknown_start,
};
use fitwright::scan::Scan;
use fitwright::simulate::random::Random;
use fitwright::simulate::{Scanner, Viewpoint, mill, scan};
use fitwright::units::LengthUnit;
use fitwright::{Context, Error};
use fitwright_tests::Draw;
use fitwright_tests::machines::{labelled, pump, valve};
use nalgebra::{Matrix6, Quaternion, Translation3, UnitQuaternion, Vector6};

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    if std::env::args().any(|a| a == "beside") {
        return beside::beside();
    }
    let after = |word: &str| std::env::args().skip_while(move |a| a != word).nth(1);
    let shares = after("share").map_or(Ok(vec![0.6, 0.45, 0.3]), |s| s.parse().map(|s| vec![s]))?;
    machines(after("trials").map_or(Ok(10), |n| n.parse())?, &shares)?;
    if after("share").is_some() {
        return Ok(());
    }
    round(after("rounds").map_or(Ok(3), |n| n.parse())?)?;
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
            Ok((join, candidates)) => {
                let off = |p: &Point3| (join.to_from_this * p - truth * p).norm();
                let worst = from.points().iter().map(off).fold(0.0, f64::max);
                if worst > allowed {
                    let told = candidates.iter().take(2).map(|c| &c.support);
                    println!("    wrong: {:?}", told.collect::<Vec<_>>());
                    self.wrong += 1
                } else {
                    self.right += 1
                }
                self.worst = self.worst.max(worst);
                Ok(worst)
            }
            Err(e @ Error::Join { .. }) => {
                if self.refused < 3 {
                    println!("    {e}");
                }
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

fn machines(trials: u64, shares: &[f64]) -> Result<(), Failure> {
    println!("Aims at 30 % in common: right 999 of 1,000, wrong under 1 of 1,000");
    println!("machine, in common       right wrong refused   largest, mm   median, s");
    let mut random = Random::new(5);
    for (name, machine) in [("pump", pump as fn() -> _), ("valve", valve)] {
        let scan = |seed| labelled(machine(), 1.0, 0.03, seed)?.scan.to_scan();
        let (a, b) = (scan(1)?, scan(2)?);
        for &share in shares {
            let mut tally = Tally::default();
            for _ in 0..trials {
                let across = random.vector(1.0).normalize();
                let (to, from) = cuts(&a, &b, &across, share)?;
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

/// Two scans cut across a direction so that `share` of each lies on the other.
fn cuts(a: &Scan, b: &Scan, across: &Vec3, share: f64) -> Result<(Scan, Scan), Failure> {
    let mut along: Vec<f64> = a.points().iter().map(|p| p.coords.dot(across)).collect();
    along.sort_by(f64::total_cmp);
    // Of parts of k of the points each, 2k - 1 is in common: that is the share of k.
    let k = 1.0 / (2.0 - share);
    let at = |k: f64| along[(k * (along.len() - 1) as f64) as usize];
    let (low, high) = (at(1.0 - k), at(k));
    let to = part(a, |p| p.coords.dot(across) <= high)?;
    Ok((to, part(b, |p| p.coords.dot(across) >= low)?))
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

/// The mill from eight places round it: a chain of joins, and all adjusted together, against the true poses.
fn round(rounds: u64) -> Result<(), Failure> {
    println!(
        "\nMill from 8 places round it, 3 mm mesh, noise 0.05 mm: error of the last scan at its middle"
    );
    println!("round   chain, mm   together, mm   stated (1 sd)   together, s");
    let (context, count) = (Context::new(2)?, 8);
    let (mut chain, mut closed, mut square) = (0.0, 0.0, 0.0);
    for round in 0..rounds {
        let (mut scans, mut truth) = (Vec::new(), Vec::new());
        let mut random = Random::new(50 + round);
        for k in 0..count {
            let azimuth = std::f64::consts::TAU * k as f64 / count as f64;
            let target = Point3::new(60.0, 0.0, 20.0);
            let views = [(-0.25, 0.1), (0.25, 0.5)];
            let views = views.map(|(a, up)| Viewpoint::around(target, azimuth + a, up, 480.0));
            let scanner = Scanner {
                resolution: 3.0,
                noise: 0.05,
                grazing: 60f64.to_radians(),
                seed: 100 * round + k,
                ..Scanner::default()
            };
            let pose = random.pose(100.0);
            let scan = scan(&mill::mill(), &views, &scanner, &pose)?;
            truth.push(scan.machine_from_scan);
            scans.push(scan.to_scan()?);
        }
        let last = scans.len() - 1;
        let mut poses = vec![truth[0]];
        for (k, two) in scans.windows(2).enumerate() {
            let (before, own) = (&truth[k], &truth[k + 1]);
            let turn = UnitQuaternion::from_scaled_axis(random.vector(0.003));
            let off = Pose::rotation_wrt_point(turn, own * middle(&two[1]));
            let start = before.inverse() * Translation3::from(random.vector(0.3)) * off * own;
            let options = SurfaceOptions::default();
            let join = by_surface(&two[0], &two[1], &start, &options, &context)?;
            poses.push(poses[k] * join.to_from_this);
        }
        let began = Instant::now();
        let all: Vec<&Scan> = scans.iter().collect();
        let adjusted = adjust(&all, &poses, 0, &AdjustOptions::default(), &context)?;
        let seconds = began.elapsed().as_secs_f64();
        let at = truth[last] * middle(&scans[last]);
        let off = |pose: &Pose| (pose * truth[last].inverse() * at - at).norm();
        let (a, b) = (off(&poses[last]), off(&adjusted.common_from_scan[last]));
        let stated = adjusted.covariances[last].deviation_at(&at);
        println!("{round:>5} {a:>11.4} {b:>14.4} {stated:>15.4} {seconds:>13.2}");
        (chain, closed) = (chain + a * a, closed + b * b);
        let found = adjusted.common_from_scan.iter().zip(&adjusted.covariances);
        for ((pose, c), own) in found.zip(&truth).skip(1) {
            let e = pose * own.inverse();
            let (shift, turn) = (e * c.at - c.at, e.rotation.scaled_axis());
            let e = Vector6::from_iterator(shift.iter().chain(turn.iter()).copied());
            let stated: Matrix6<f64> = c.matrix.fixed_view::<6, 6>(0, 0).into_owned();
            square += e.dot(&(stated.try_inverse().ok_or("singular")? * e)) / last as f64;
        }
    }
    println!(
        "chain {:.1} times as far off; mean squared error of a pose in its stated covariance {:.2} (6)",
        f64::sqrt(chain / closed),
        square / rounds as f64
    );
    Ok(())
}

fn middle(scan: &Scan) -> Point3 {
    let sum: Vec3 = scan.points().iter().map(|p| p.coords).sum();
    Point3::from(sum / scan.points().len() as f64)
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
    together(&views)
}

/// Joins each view to the one of those before it that it lies on most, the round never closed, then adjusts all.
fn together(views: &[(PathBuf, Scan, Pose)]) -> Result<(), Failure> {
    println!(
        "\nBunny, all views together; distances from the given poses at the middle of each view, mm"
    );
    let context = Context::new(2)?;
    let share = |a: usize, b: usize| {
        let pose = views[a].2.inverse() * views[b].2;
        let some: Vec<&Point3> = views[b].1.points().iter().step_by(11).collect();
        let on = some.iter().filter(|p| views[a].1.nearest(&(pose * **p)).1 < 1.0).count();
        on as f64 / some.len() as f64
    };
    let began = Instant::now();
    let mut poses = vec![Pose::identity(); views.len()];
    let mut random = Random::new(3);
    for k in 0..views.len() {
        let before = (0..k).map(|i| (share(i, k), i)).max_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, to)) = before else {
            poses[k] = views[k].2;
            continue;
        };
        // 2 mm and 2 degrees off.
        let truth = views[to].2.inverse() * views[k].2;
        let turn =
            UnitQuaternion::from_scaled_axis(random.vector(1.0).normalize() * 2f64.to_radians());
        let off = Pose::rotation_wrt_point(turn, truth * middle(&views[k].1));
        let start = Translation3::from(random.vector(1.0).normalize() * 2.0) * off * truth;
        let options = SurfaceOptions::default();
        let join = by_surface(&views[to].1, &views[k].1, &start, &options, &context)?;
        poses[k] = poses[to] * join.to_from_this;
    }
    let chained = began.elapsed().as_secs_f64();
    let began = Instant::now();
    let scans: Vec<&Scan> = views.iter().map(|v| &v.1).collect();
    let adjusted = adjust(&scans, &poses, 0, &AdjustOptions::default(), &context)?;
    println!(
        "joins {chained:.2} s, adjustment {:.2} s, settled: {}",
        began.elapsed().as_secs_f64(),
        adjusted.converged
    );
    println!("view             joined   adjusted   stated U");
    for (k, (name, _, truth)) in views.iter().enumerate() {
        let at = truth * middle(&views[k].1);
        let off = |pose: &Pose| (pose * truth.inverse() * at - at).norm();
        let stated = 2.0 * adjusted.covariances[k].deviation_at(&at);
        println!(
            "{:<14} {:>8.3} {:>10.3} {stated:>10.3}",
            name.display(),
            off(&poses[k]),
            off(&adjusted.common_from_scan[k])
        );
    }
    println!("pair                            overlap   rms before      rms   offset   misfit, mm");
    for p in &adjusted.pairs {
        println!(
            "{:<14} {:<14} {:>8.2} {:>12.3} {:>8.3} {:>8.3} {:>8.3}",
            views[p.to].0.display(),
            views[p.from].0.display(),
            p.overlap,
            p.rms_before,
            p.rms,
            p.offset,
            p.misfit
        );
    }
    adjusted.notes.iter().for_each(|n| println!("{n}"));
    Ok(())
}
