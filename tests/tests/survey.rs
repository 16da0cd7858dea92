//! The survey against simulated machines whose every surface is known (tests/src/machines.rs), and its
//! files read by others.

use fitwright::Context;
use fitwright::job::{Folder, Job, SurveyFiles};
use fitwright::primitive::{Kind, Point3, Pose, Primitive, Vec3};
use fitwright::scan::Scan;
use fitwright::survey::{GroupKind, Side, Survey, SurveyOptions};
use fitwright::units::LengthUnit;
use fitwright_tests::machines::{Labelled, Score, labelled, pump, separator, valve};
use nalgebra::{Translation3, UnitQuaternion};

type Failure = Box<dyn std::error::Error>;

fn survey(scan: &Scan) -> Result<Survey, Failure> {
    Ok(Survey::of(scan, &SurveyOptions::default())?)
}

/// Every large surface once, and nothing else: two machines are too few for shares, so none may be wrong here.
fn all_right(score: &Score) {
    assert!(score.faults.is_empty(), "{:#?}", score.faults);
    assert!(score.wanted >= 15, "only {} large surfaces", score.wanted);
}

fn size_of(shape: &Primitive) -> Option<f64> {
    match shape {
        Primitive::Cylinder(s) => Some(s.radius),
        Primitive::Sphere(s) => Some(s.radius),
        Primitive::Torus(s) => Some(s.minor_radius),
        _ => None,
    }
}

#[test]
fn a_pump_is_taken_apart() -> Result<(), Failure> {
    let truth = labelled(pump(), 1.0, 0.03, 3)?;
    let found = survey(&truth.scan.to_scan()?)?;
    let score = truth.judge(&found);
    all_right(&score);
    for &(surface, k) in &score.matches {
        let (name, shape) = (&truth.machine.surfaces[surface].name, truth.true_shape(surface));
        let p = &found.primitives[k];
        if let (Some(is), Some(found)) = (size_of(&shape), size_of(&p.feature.shape)) {
            assert!((is - found).abs() < 0.02, "{name}: radius {found}, true {is}");
        }
        // The point shown for a job file lies on the surface itself.
        assert!(shape.distance(&p.at).abs() < 0.05, "{name}: {} off", shape.distance(&p.at));
    }
    let side_of = |wanted: &str| {
        let of = score.matches.iter().find(|m| truth.machine.surfaces[m.0].name == wanted);
        of.map(|m| found.primitives[m.1].side)
    };
    assert_eq!(side_of("housing"), Some(Side::Outer));
    assert_eq!(side_of("bore"), Some(Side::Inner));
    assert_eq!(side_of("ball"), Some(Side::Outer));
    assert_eq!(side_of("base 2 1"), Some(Side::Flat));
    what_a_pump_makes(&truth, &found, &score);
    Ok(())
}

fn what_a_pump_makes(truth: &Labelled, found: &Survey, score: &Score) {
    let index = |wanted: &str| {
        let of = score.matches.iter().find(|m| truth.machine.surfaces[m.0].name == wanted);
        of.unwrap_or_else(|| panic!("{wanted} was found")).1
    };
    let walls: Vec<_> = found.holes.iter().filter(|h| h.wall.is_some()).collect();
    assert_eq!(walls.len(), 5, "the bore and four holes");
    for n in 1..=4 {
        let wall = index(&format!("hole {n}"));
        let hole = walls.iter().find(|h| h.wall == Some(wall)).expect("it is a hole");
        assert_eq!(hole.face, Some(index("base 2 1")), "hole {n} opens in the top of the base");
        assert!((hole.radius - 9.0).abs() < 0.02);
    }
    let bore = walls.iter().find(|h| h.wall == Some(index("bore"))).expect("it is a hole");
    assert_eq!(
        (bore.face, bore.other_end),
        (Some(index("housing top")), Some(index("bore floor")))
    );
    assert!(!bore.through);
    let pipe: Vec<usize> = (1..=5).map(|n| index(&format!("pipe {n}"))).collect();
    let tube = found.tubes.iter().find(|t| t.members.contains(&pipe[0])).expect("the pipe");
    let backwards: Vec<usize> = pipe.iter().rev().copied().collect();
    assert!(tube.members == pipe || tube.members == backwards, "{:?}, {pipe:?}", tube.members);
    assert!((tube.radius - 14.0).abs() < 0.02);
    let together = |kind: GroupKind, names: &[&str]| {
        let all: Vec<usize> = names.iter().map(|n| index(n)).collect();
        let holds = |g: &&fitwright::survey::Group| all.iter().all(|k| g.members.contains(k));
        found.groups.iter().filter(|g| g.kind == kind).any(|g| holds(&g))
    };
    assert!(together(GroupKind::Coaxial, &["housing", "bore"]));
    assert!(together(GroupKind::SameRadius, &["hole 1", "hole 2", "hole 3", "hole 4"]));
    assert!(together(GroupKind::Parallel, &["base 2 1", "housing", "cone"]));
    assert!(!together(GroupKind::Coaxial, &["housing", "hole 1"]));
    let datum = found.proposed_datum().expect("planes");
    assert_eq!(datum.primary, index("base 2 1"));
    assert!(datum.secondary.is_some() && datum.tertiary.is_some());
}

#[test]
fn a_valve_is_taken_apart() -> Result<(), Failure> {
    let truth = labelled(valve(), 1.0, 0.03, 3)?;
    let found = survey(&truth.scan.to_scan()?)?;
    all_right(&truth.judge(&found));
    let stepped = found.groups.iter().filter(|g| g.kind == GroupKind::Coaxial);
    let radii: Vec<Vec<i64>> = stepped
        .map(|g| {
            let of = |k: &usize| size_of(&found.primitives[*k].feature.shape);
            g.members.iter().filter_map(of).map(|r| r.round() as i64).collect()
        })
        .collect();
    assert!(radii.iter().any(|r| r.contains(&18) && r.contains(&26)), "{radii:?}");
    Ok(())
}

/// Its casting is free-form: no chain of false cylinders, spheres and tori lies on it.
#[test]
fn a_separator_with_a_free_form_casting_is_taken_apart() -> Result<(), Failure> {
    let truth = labelled(separator(), 1.0, 0.03, 3)?;
    let score = truth.judge(&survey(&truth.scan.to_scan()?)?);
    // The aims of a survey, precision 0.97 and recall 0.95, on a machine whose blends run out slowly: one of
    // some thirty is three hundredths.
    assert!(score.wanted >= 30, "only {} large surfaces", score.wanted);
    assert!(score.hit * 100 >= score.wanted * 95, "{:#?}", score.faults);
    assert!(score.right + 1 >= score.found, "{:#?}", score.faults);
    Ok(())
}

#[test]
fn turning_the_scan_or_the_threads_changes_nothing() -> Result<(), Failure> {
    let truth = labelled(valve(), 1.3, 0.03, 5)?;
    let scan = truth.scan.to_scan()?;
    let of = |scan: &Scan, threads: usize| -> Result<Survey, Failure> {
        let mut options = SurveyOptions::default();
        options.context = Some(Context::new(threads)?);
        Ok(Survey::of(scan, &options)?)
    };
    let (one, three) = (of(&scan, 1)?, of(&scan, 3)?);
    assert_eq!(one.primitives.len(), three.primitives.len());
    for (a, b) in one.primitives.iter().zip(&three.primitives) {
        assert_eq!(
            (&a.id, &a.feature.shape, a.region.ids()),
            (&b.id, &b.feature.shape, b.region.ids())
        );
    }
    // As sets: the grid of cells lies elsewhere, so borders move by some points.
    let pose = Pose::from_parts(
        Translation3::new(-300.0, 40.0, 7.0),
        UnitQuaternion::from_scaled_axis(Vec3::new(0.7, 0.2, -1.1)),
    );
    let turned = of(&scan.transformed(&pose), 2)?;
    let large = |s: &Survey| s.primitives.iter().filter(|p| p.region.ids().len() > 707).count();
    assert_eq!(large(&one), large(&turned));
    for p in one.primitives.iter().filter(|p| p.region.ids().len() > 707) {
        let kind = p.feature.shape.kind();
        let twin = turned.near(&(pose * p.at), Some(kind), None).expect("the same kind is there");
        assert!(twin.feature.shape.distance(&(pose * p.at)).abs() < 0.02, "{}", p.id);
        if let (Some(a), Some(b)) = (p.diameter(), twin.diameter()) {
            // Of a cone the diameter is where its points are, which moves along it.
            assert!(kind == Kind::Cone || (a - b).abs() < 0.03, "{}: {a} and {b}", p.id);
        }
    }
    Ok(())
}

#[test]
fn bare_points_are_surveyed_too() -> Result<(), Failure> {
    let truth = labelled(valve(), 1.0, 0.02, 7)?;
    let found = survey(&Scan::from_points(truth.scan.points.clone(), None)?)?;
    let score = truth.judge(&found);
    // Without triangles edges are poorly seen: what is large is found all the same.
    assert!(score.hit * 10 >= score.wanted * 9, "{:#?}", score.faults);
    assert!(score.right * 10 >= score.found * 9, "{:#?}", score.faults);
    Ok(())
}

#[test]
fn the_starter_job_runs_and_finds_the_same_again() -> Result<(), Failure> {
    let truth = labelled(pump(), 1.2, 0.03, 9)?;
    let folder = tempfile::tempdir()?;
    let scan = truth.scan.to_scan()?;
    let found = survey(&scan)?;
    fitwright::scan::write_ply(
        folder.path().join("pump.ply"),
        scan.points(),
        scan.triangles(),
        &[],
        fitwright::scan::Precision::Double,
    )?;
    let unit = LengthUnit::Millimetre;
    let files = SurveyFiles { survey: &found, scan_file: "pump.ply", unit };
    let written = files.write(folder.path(), "<html></html>")?;
    assert_eq!(written.len(), 4);
    let job = Job::read(folder.path().join("starter.toml"))?;
    let context = Context::new(0)?;
    let outcome = job.run(&Folder::of(&folder.path().join("starter.toml")), &context)?;
    assert!(outcome.datum.is_some());
    let again = |name: &str| outcome.features.iter().find(|f| f.feature.name == name);
    let mut compared = 0;
    for p in &found.primitives {
        let Some(run) = again(&p.id) else { continue };
        let moved = p.feature.shape.transformed(&outcome.machine_from_scan);
        let off = run.feature.shape.distance(&(outcome.machine_from_scan * p.at)).abs();
        assert!(off < 0.05, "{}: {off} mm from where the survey saw it", p.id);
        assert_eq!(run.feature.shape.kind(), moved.kind());
        compared += 1;
    }
    assert!(compared >= 3, "the datum's faces at least");
    let holes = outcome.features.iter().filter(|f| f.feature.kind.name() == "hole").count();
    assert!(holes >= 5, "the bore and four holes, found {holes}");
    let json: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(folder.path().join("survey.json"))?)?;
    let features = json["features"].as_array().expect("a list");
    assert_eq!(features.len(), found.primitives.len());
    assert!(features.iter().all(|f| f["id"].is_string() && f["at"].as_array().is_some()));
    Ok(())
}

#[test]
fn a_primitive_is_named_by_place_and_size() -> Result<(), Failure> {
    let truth = labelled(valve(), 1.3, 0.03, 5)?;
    let found = survey(&truth.scan.to_scan()?)?;
    let scan_from_machine = truth.scan.machine_from_scan.inverse();
    let mouth = scan_from_machine * Point3::new(80.0, -10.0, 0.0);
    let of = |size: f64| found.near(&mouth, Some(Kind::Cylinder), Some(size));
    assert!((of(36.0).and_then(|p| p.diameter()).expect("the bore") - 36.0).abs() < 0.05);
    assert!((of(52.0).and_then(|p| p.diameter()).expect("the counterbore") - 52.0).abs() < 0.05);
    assert!(of(300.0).is_none());
    Ok(())
}

#[test]
fn scans_without_anything_give_nothing() -> Result<(), Failure> {
    let one = survey(&Scan::from_points(vec![Point3::new(1.0, 2.0, 3.0)], None)?)?;
    assert!(one.primitives.is_empty() && one.unclaimed == 1);
    let same = survey(&Scan::from_points(vec![Point3::origin(); 500], None)?)?;
    assert!(same.primitives.is_empty());
    let mut options = SurveyOptions::default();
    for size in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        options.smallest = Some(size);
        let scan = Scan::from_points(vec![Point3::origin(); 3], None)?;
        assert!(matches!(Survey::of(&scan, &options), Err(fitwright::Error::Argument { .. })));
    }
    let context = Context::new(1)?;
    context.cancel();
    options = SurveyOptions::default();
    options.context = Some(context);
    let cancelled = Survey::of(&labelled(valve(), 3.0, 0.03, 1)?.scan.to_scan()?, &options);
    assert!(matches!(cancelled, Err(fitwright::Error::Cancelled)));
    Ok(())
}
