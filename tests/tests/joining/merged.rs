//! Joined scans as one: every place once, from the better scan, and seams with the steps that were put in.
//!
//! Truth: surfaces known in closed form, sampled in known areas and moved by known amounts.

use fitwright::associate::Covariance;
use fitwright::job::{Folder, Job, WriteOptions};
use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::register::{MergeOptions, Merged, Placed, merge};
use fitwright::scan::{Precision, Scan, write_ply};
use fitwright::units::LengthUnit;
use fitwright::{Context, Error, Result};

use super::{Failure, Sampling, housing, sample, truth};

/// Of the first scan u is 0 to 200, of the second 80 to 280; `fine`: spacing of the second; `lift`: how far it
/// stands off along z; given in coordinates of its own.
fn two(shape: fn(f64, f64) -> Point3, fine: f64, noise: [f64; 2], lift: f64) -> Result<[Scan; 2]> {
    let to = Sampling {
        u: [0.0, 200.0],
        v: [0.0, 130.0],
        spacing: 2.0,
        noise: noise[0],
        turn: 0.1,
        seed: 5,
    };
    let from =
        Sampling { u: [80.0, 280.0], spacing: fine, noise: noise[1], turn: 0.5, seed: 6, ..to };
    let lifted = sample(shape, &from)?.transformed(&Pose::translation(0.0, 0.0, lift));
    Ok([sample(shape, &to)?, lifted.transformed(&truth().inverse())])
}

fn put(scans: &[Scan; 2], covariance: Option<&Covariance>, threads: usize) -> Result<Merged> {
    let placed = [
        Placed { scan: &scans[0], all_from_this: Pose::identity(), covariance: None },
        Placed { scan: &scans[1], all_from_this: truth(), covariance },
    ];
    merge(&placed, &MergeOptions::default(), &Context::new(threads)?)
}

fn flat(u: f64, v: f64) -> Point3 {
    Point3::new(u, v, 0.0)
}

/// How often a surface over (x, y) is met by lines along z, on a grid of `step` in the middle of the scanned area:
/// none, once, more often; the last by the place along x.
fn covered(merged: &Merged, step: f64) -> ([usize; 3], Vec<f64>) {
    let (columns, rows) = ((276.0 / step) as usize, (126.0 / step) as usize);
    let mut met = vec![0_u8; columns * rows];
    let place = |k: f64| 2.0 + k * step + 0.123 * step;
    for t in &merged.triangles {
        let [a, b, c] = t.map(|id| merged.points[id as usize].xy());
        let (low, high) = (a.inf(&b).inf(&c), a.sup(&b).sup(&c));
        let range = |low: f64, high: f64, count: usize| {
            let first = ((low - 2.0) / step - 1.0).max(0.0) as usize;
            first..(((high - 2.0) / step + 1.0).max(0.0) as usize).min(count)
        };
        for i in range(low.x, high.x, columns) {
            for j in range(low.y, high.y, rows) {
                let p = nalgebra::Point2::new(place(i as f64), place(j as f64));
                let side = |q: nalgebra::Point2<f64>, r: nalgebra::Point2<f64>| {
                    (r - q).perp(&(p - q)) > 0.0
                };
                let sides = [side(a, b), side(b, c), side(c, a)];
                if sides[0] == sides[1] && sides[1] == sides[2] {
                    met[i * rows + j] += 1;
                }
            }
        }
    }
    let mut counts = [0; 3];
    met.iter().for_each(|&m| counts[usize::from(m.min(2))] += 1);
    let twice = met.iter().enumerate().filter(|m| *m.1 > 1);
    (counts, twice.map(|(k, _)| place((k / rows) as f64)).collect())
}

fn area(merged: &Merged) -> f64 {
    let area = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|id| merged.points[id as usize]);
        0.5 * (b - a).cross(&(c - a)).norm()
    };
    merged.triangles.iter().map(area).sum()
}

/// Spread of a join that is known but across the surface, mm.
fn across(sd: f64) -> Covariance {
    let mut covariance = Covariance::zero(Point3::new(140.0, 65.0, 0.0));
    covariance.matrix[(2, 2)] = sd * sd;
    covariance
}

#[test]
fn every_place_is_there_once_and_from_the_finer_scan() -> std::result::Result<(), Failure> {
    // The step is that of a join that is off: a double layer all over the overlap, if it were left.
    let scans = two(housing, 1.0, [0.03, 0.03], 0.2)?;
    let merged = put(&scans, None, 2)?;
    let ([none, once, twice], places) = covered(&merged, 0.5);
    let all = (none + once + twice) as f64;
    println!("none {none}, once {once}, twice {twice}, kept {:?}", merged.kept);
    // Along a seam of 126 mm, a triangle of the coarse scan (2 mm) may lack or lie twice.
    assert!(none as f64 / all < 0.5 * 2.0 / 276.0, "{none} of {all}");
    assert!(twice as f64 / all < 2.0 / 276.0, "{twice} of {all}");
    assert!(places.iter().all(|x| (78.0..88.0).contains(x)), "{places:?}");
    // Of the overlap the finer scan keeps all but its border: the first keeps what lies before 80.
    let middle = |t: &[u32; 3]| {
        Point3::from(t.iter().map(|&id| merged.points[id as usize].coords).sum::<Vec3>() / 3.0)
    };
    let mut seen = [0; 2];
    for (t, scan) in merged.triangles.iter().zip(&merged.triangle_scans) {
        assert!(t.iter().all(|&id| merged.point_scans[id as usize] == *scan));
        let at = middle(t);
        // Along the outer sides each scan's border is ragged in its own way.
        if (4.0..126.0).contains(&at.y) && !(78.0..88.0).contains(&at.x) {
            assert_eq!(*scan, u32::from(at.x > 83.0), "{at}");
            seen[*scan as usize] += 1;
        }
    }
    assert!(seen.iter().all(|n| *n > 1000), "{seen:?}");
    assert!((merged.kept[0] - 0.4).abs() < 0.03 && merged.kept[1] > 0.97, "{:?}", merged.kept);
    Ok(())
}

/// On a plane the area is that of the rectangle, and the seam as long as it is wide.
#[test]
fn area_and_seam_of_a_plane() -> std::result::Result<(), Failure> {
    let lift = 0.2;
    let [to, _] = two(flat, 1.0, [0.0, 0.0], lift)?;
    // The second is wider, so that its border nowhere runs along the first's.
    let wide = Sampling {
        u: [80.0, 280.0],
        v: [-10.0, 140.0],
        spacing: 1.0,
        noise: 0.0,
        turn: 0.5,
        seed: 6,
    };
    let lifted = sample(flat, &wide)?.transformed(&Pose::translation(0.0, 0.0, lift));
    let scans = [to, lifted.transformed(&truth().inverse())];
    let merged = put(&scans, Some(&across(0.002)), 2)?;
    // Both rectangles, less what their ragged outer borders lack: half to one and a half spacings.
    let ragged = (80.0 + 80.0 + 130.0) * 2.0 + (200.0 + 200.0 + 150.0 + 20.0) * 1.0;
    let whole = 80.0 * 130.0 + 200.0 * 150.0;
    println!("area {} of {whole} less {ragged}, seams {:?}", area(&merged), merged.seams);
    assert!((area(&merged) - (whole - ragged)).abs() < 0.5 * ragged, "{}", area(&merged));
    let [seam] = &merged.seams[..] else { return Err("one seam expected".into()) };
    assert_eq!((seam.a, seam.b), (0, 1));
    assert!((seam.length - 130.0).abs() < 13.0, "{seam:?}");
    assert!((seam.mean - lift).abs() < 1e-9 && (seam.largest - lift).abs() < 1e-9);
    assert!((78.0..90.0).contains(&seam.at.x) && (0.0..=130.0).contains(&seam.at.y));
    // 0.2 mm is a hundred times what the join is said to be off, and little over another's.
    assert!(seam.exceeds && (seam.uncertainty - 2.0 * 0.002).abs() < 1e-6, "{seam:?}");
    let loose = put(&scans, Some(&across(0.15)), 2)?;
    // That uncertain, the finer scan is not the better one.
    assert!(!loose.seams[0].exceeds && loose.kept[0] > 0.99, "{:?} {:?}", loose.seams, loose.kept);
    Ok(())
}

/// Across the waves of a housing the step is the part of the offset that stands on the surface.
#[test]
fn a_step_on_a_curved_surface() -> std::result::Result<(), Failure> {
    let lift = 0.2;
    let scans = two(housing, 1.0, [0.02, 0.02], lift)?;
    let merged = put(&scans, None, 2)?;
    let [seam] = &merged.seams[..] else { return Err("one seam expected".into()) };
    let facing = |v: f64| {
        let (along, up) = (
            housing(83.0 + 1e-4, v) - housing(83.0, v),
            housing(83.0, v + 1e-4) - housing(83.0, v),
        );
        along.cross(&up).normalize().z
    };
    let expected = (0..130).map(|k| lift * facing(f64::from(k) + 0.5)).sum::<f64>() / 130.0;
    println!("{seam:?}, expected {expected}");
    assert!((seam.mean - expected).abs() < 0.02, "{} {expected}", seam.mean);
    assert!(seam.exceeds);
    // A scan that is where it should be has no step but noise.
    let merged = put(&two(housing, 1.0, [0.02, 0.02], 0.0)?, None, 2)?;
    let seam = &merged.seams[0];
    println!("{seam:?}");
    assert!(seam.mean.abs() < 0.02 && seam.largest.abs() < 0.05, "{seam:?}");
    Ok(())
}

#[test]
fn the_calmer_scan_is_kept_and_of_equals_the_first() -> std::result::Result<(), Failure> {
    let calm = put(&two(flat, 2.0, [0.1, 0.01], 0.0)?, None, 2)?;
    println!("{:?}", calm.kept);
    assert!((calm.kept[0] - 0.4).abs() < 0.05 && calm.kept[1] > 0.95, "{:?}", calm.kept);
    let equal = put(&two(flat, 2.0, [0.03, 0.03], 0.0)?, None, 2)?;
    println!("{:?}", equal.kept);
    assert!(equal.kept[0] > 0.95 && (equal.kept[1] - 0.4).abs() < 0.05, "{:?}", equal.kept);
    Ok(())
}

#[test]
fn bare_points_are_put_into_one_cloud() -> std::result::Result<(), Failure> {
    let cloud = |s: &Scan| Scan::from_points(s.points().to_vec(), None);
    let [to, from] = two(housing, 1.0, [0.02, 0.02], 0.1)?;
    let merged = put(&[cloud(&to)?, cloud(&from)?], None, 2)?;
    println!("{:?} {:?}", merged.kept, merged.seams);
    assert!(merged.triangles.is_empty() && merged.triangle_scans.is_empty());
    assert!((merged.kept[0] - 0.4).abs() < 0.05 && merged.kept[1] > 0.95, "{:?}", merged.kept);
    let fine = Scan::from_points(merged.points.clone(), None)?;
    // No second layer: no point of one scan lies over one of the other but along the seam.
    let over = |k: usize| {
        let near = fine.within(&merged.points[k], 0.5);
        near.iter().any(|&i| merged.point_scans[i as usize] != merged.point_scans[k])
    };
    let far = (0..merged.points.len()).filter(|&k| over(k)).map(|k| merged.points[k].x);
    assert!(far.clone().all(|x| (76.0..90.0).contains(&x)), "{:?}", far.collect::<Vec<_>>());
    Ok(())
}

#[test]
fn one_surface_does_not_depend_on_the_threads() -> std::result::Result<(), Failure> {
    let scans = two(housing, 1.5, [0.03, 0.03], 0.05)?;
    let (one, many) = (put(&scans, None, 1)?, put(&scans, None, 8)?);
    assert_eq!(one.points, many.points);
    assert_eq!(one.triangles, many.triangles);
    assert_eq!(one.seams, many.seams);
    Ok(())
}

/// A sheet seen from both sides is two surfaces, not one twice.
#[test]
fn both_sides_of_a_sheet_stay() -> std::result::Result<(), Failure> {
    let top =
        Sampling { u: [0.0, 60.0], v: [0.0, 60.0], spacing: 1.5, noise: 0.0, turn: 0.2, seed: 3 };
    let turned = |u: f64, v: f64| Point3::new(u, 60.0 - v, -0.8);
    let scans = [sample(flat, &top)?, sample(turned, &Sampling { spacing: 1.0, seed: 4, ..top })?];
    let placed = scans.each_ref().map(|scan| Placed {
        scan,
        all_from_this: Pose::identity(),
        covariance: None,
    });
    let merged = merge(&placed, &MergeOptions::default(), &Context::new(1)?)?;
    assert_eq!(merged.kept, [1.0, 1.0]);
    assert!(merged.seams.is_empty());
    Ok(())
}

#[test]
fn what_cannot_be_put_into_one_is_told() -> std::result::Result<(), Failure> {
    let scans = two(flat, 2.0, [0.0, 0.0], 0.0)?;
    let good = |scan| Placed { scan, all_from_this: Pose::identity(), covariance: None };
    let context = Context::new(1)?;
    let alone = merge(&[good(&scans[0])], &MergeOptions::default(), &context);
    assert!(matches!(alone, Err(Error::Argument { .. })), "{alone:?}");
    let nan = Pose::translation(f64::NAN, 0.0, 0.0);
    let lost = [good(&scans[0]), Placed { all_from_this: nan, ..good(&scans[1]) }];
    assert!(matches!(
        merge(&lost, &MergeOptions::default(), &context),
        Err(Error::Argument { .. })
    ));
    let mut options = MergeOptions::default();
    options.margin = 0.5;
    let pair = [good(&scans[0]), good(&scans[1])];
    assert!(matches!(merge(&pair, &options, &context), Err(Error::Argument { .. })));
    context.cancel();
    let stopped = merge(&pair, &MergeOptions::default(), &context);
    assert!(matches!(stopped, Err(Error::Cancelled)));
    let off = Vec3::new(1e4, 0.0, 0.0);
    let apart = [
        good(&scans[0]),
        Placed { all_from_this: Pose::translation(off.x, 0.0, 0.0), ..good(&scans[1]) },
    ];
    let merged = merge(&apart, &MergeOptions::default(), &Context::new(1)?)?;
    assert_eq!(merged.kept, [1.0, 1.0]);
    Ok(())
}

/// A job in inches writes the one surface and tells its seam in inches.
#[test]
fn a_job_writes_its_scans_as_one() -> std::result::Result<(), Failure> {
    let lift = 0.254;
    let [to, from] = two(flat, 1.0, [0.0, 0.0], lift)?;
    let folder = tempfile::tempdir()?;
    for (name, scan) in [("to.ply", to), ("from.ply", from.transformed(&truth()))] {
        let path = folder.path().join(name);
        write_ply(path, scan.points(), scan.triangles(), &[], Precision::Double)?;
    }
    let scan = |name: &str, join: &str| {
        format!("[[scan]]\nname = \"{name}\"\nfile = \"{name}.ply\"\nunit = \"mm\"\n{join}\n")
    };
    let text = format!(
        "[job]\nname = \"one\"\nlength = \"in\"\n{}{}[output]\njoined = \"one.ply\"\n",
        scan("to", ""),
        scan("from", "join = { to = \"to\", by = \"nothing\" }")
    );
    let context = Context::new(2)?;
    let outcome = Job::parse(&text)?.run(&Folder::of(&folder.path().join("job.toml")), &context)?;
    outcome.write(folder.path(), "", WriteOptions::default())?;
    let json: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(folder.path().join("result.json"))?)?;
    let (joined, seam) = (&json["joined"], &json["joined"]["seams"][0]);
    assert_eq!((seam["a"].as_str(), seam["b"].as_str()), (Some("to"), Some("from")));
    let mean = seam["mean"].as_f64().ok_or("no mean")?;
    assert!((mean - lift / 25.4).abs() < 1e-9 && seam["exceeds"] == true, "{seam}");
    let one = Scan::read(folder.path().join("one.ply"), LengthUnit::Millimetre)?;
    assert_eq!(joined["points"].as_u64(), Some(one.points().len() as u64));
    assert_eq!(joined["triangles"].as_u64(), Some(one.triangles().len() as u64));
    let header = std::fs::read(folder.path().join("one.ply"))?;
    assert!(String::from_utf8_lossy(&header[..400]).contains("property float scan"));
    Ok(())
}
