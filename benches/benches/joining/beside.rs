//! The same two scans joined by general-purpose libraries in the same run.

use fitwright::Context;
use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::register::{SurfaceOptions, UnknownStartOptions, by_surface, from_unknown_start};
use fitwright::scan::Scan;
use fitwright::simulate::random::Random;
use fitwright_benches::python;
use fitwright_tests::Draw;
use fitwright_tests::machines::{labelled, pump};
use nalgebra::{Matrix4, Translation3, UnitQuaternion};
use std::time::Instant;

use crate::{Failure, cuts, middle};

const NOISE: f64 = 0.03;

/// Spacing of the pump's mesh that gives two cuts of 376,000 points each, mm.
const SPACING: f64 = 0.635;

/// Prints a table: task, library, seconds, error of the points in common (rms, mm).
pub(crate) fn beside() -> Result<(), Failure> {
    let (a, b) = (labelled(pump(), SPACING, NOISE, 1)?, labelled(pump(), SPACING, NOISE, 2)?);
    let (a, b) = (a.scan.to_scan()?, b.scan.to_scan()?);
    let (to, from) = cuts(&a, &b, &Vec3::new(0.8, 0.6, 0.0), 0.6)?;
    let mut random = Random::new(9);
    let pose = random.pose(200.0);
    let from = from.transformed(&pose.inverse());
    let near = {
        let turn =
            UnitQuaternion::from_scaled_axis(random.vector(1.0).normalize() * 0.5f64.to_radians());
        let shift = Translation3::from(random.vector(1.0).normalize());
        shift * Pose::rotation_wrt_point(turn, pose * middle(&from)) * pose
    };
    println!(
        "\nPump, {} and {} points, 60 % in common, noise {NOISE} mm, two threads",
        to.points().len(),
        from.points().len()
    );
    println!(
        "Asked: fine 0.6 s, no start 1.5 s, each a third of the best library's, at 0.0003 mm or theirs"
    );
    let common: Vec<Point3> = {
        let on = |p: &&Point3| to.nearest(&(pose * **p)).1 < SPACING;
        from.points().iter().step_by(50).filter(on).copied().collect()
    };
    let off = |found: &Pose| {
        let square = |p: &Point3| (found * p - pose * p).norm_squared();
        (common.iter().map(square).sum::<f64>() / common.len() as f64).sqrt()
    };
    let row = |task: &str, who: &str, seconds: f64, error: f64| {
        println!("{task:<9} {who:<22} {seconds:>8.3} s   {error:>9.5} mm");
    };

    let context = Context::new(2)?;
    // Each from the points alone, as for the others: what a scan keeps of its neighbours is not there yet.
    let fresh = |s: &Scan| Scan::from_mesh(s.points().to_vec(), s.triangles().to_vec());
    for round in 0..2 {
        let (to, from) = (fresh(&to)?, fresh(&from)?);
        let start = Instant::now();
        let join = by_surface(&to, &from, &near, &SurfaceOptions::default(), &context)?;
        let seconds = start.elapsed().as_secs_f64();
        if round == 1 {
            row("fine", "Fitwright", seconds, off(&join.to_from_this));
        }
    }
    let (fresh_to, fresh_from) = (fresh(&to)?, fresh(&from)?);
    let start = Instant::now();
    let options = UnknownStartOptions::default();
    let found = from_unknown_start(&fresh_to, &fresh_from, &options, &context);
    let seconds = start.elapsed().as_secs_f64();
    match found {
        Ok((join, _)) => row("no start", "Fitwright", seconds, off(&join.to_from_this)),
        Err(e) => println!("no start  Fitwright: {e}"),
    }

    let folder = tempfile::tempdir()?;
    let write = |name: &str, numbers: &mut dyn Iterator<Item = f64>| {
        let bytes: Vec<u8> = numbers.flat_map(f64::to_le_bytes).collect();
        std::fs::write(folder.path().join(name), bytes)
    };
    for (name, scan) in [("to.points", &to), ("from.points", &from)] {
        write(name, &mut scan.points().iter().flat_map(|p| [p.x, p.y, p.z]))?;
    }
    // Nalgebra runs down the columns, the file along the rows.
    write("start.pose", &mut near.to_homogeneous().transpose().iter().copied())?;
    let (spacing, noise) = (SPACING.to_string(), NOISE.to_string());
    let theirs = python("registration.py", &[folder.path(), spacing.as_ref(), noise.as_ref()]);
    let theirs = match theirs {
        Ok(theirs) => theirs,
        Err(e) => {
            println!("libraries left out: {e}");
            return Ok(());
        }
    };
    for task in ["fine", "no start"] {
        for (who, found) in theirs[task].as_object().into_iter().flatten() {
            let numbers: Vec<f64> =
                found["pose"].as_array().into_iter().flatten().filter_map(|x| x.as_f64()).collect();
            let matrix = Matrix4::from_row_slice(&numbers);
            let turn = UnitQuaternion::from_matrix(&matrix.fixed_view::<3, 3>(0, 0).into_owned());
            let shift = Translation3::new(matrix[(0, 3)], matrix[(1, 3)], matrix[(2, 3)]);
            let seconds = found["seconds"].as_f64().unwrap_or(f64::NAN);
            row(task, who, seconds, off(&Pose::from_parts(shift, turn)));
        }
    }
    Ok(())
}
