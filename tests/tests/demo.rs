//! The demo as its user runs it, held against the exact truth that the simulator keeps.

use std::sync::OnceLock;

use fitwright::associate::Covariance;
use fitwright::context::Context;
use fitwright::feature::Feature;
use fitwright::fitcheck::{Finding, Verdict};
use fitwright::job::{Folder, Job, Outcome};
use fitwright::primitive::{Direction, Point3, Primitive};
use fitwright::simulate::{self, DEMO_JOB, Demo};

struct Run {
    demo: Demo,
    outcome: Outcome,
}

/// The demo is made and run once for all tests of this file.
fn run() -> &'static Run {
    static RUN: OnceLock<Run> = OnceLock::new();
    RUN.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let demo = simulate::demo().expect("the demo's data");
        demo.write(folder.path()).expect("the demo's files");
        let file = folder.path().join(DEMO_JOB);
        let job = Job::read(&file).expect("the demo's job");
        let context = Context::new(2).expect("two threads");
        let outcome = job.run(&Folder::of(&file), &context).expect("the demo's run");
        Run { demo, outcome }
    })
}

/// Deviations from the truth in units of the stated expanded uncertainty (k = 2).
struct Ratios(Vec<(String, f64)>);

impl Ratios {
    fn add(&mut self, what: String, deviation: f64, standard: f64) {
        assert!(standard > 0.0 && standard.is_finite(), "{what}: uncertainty {standard}");
        self.0.push((what, deviation.abs() / (2.0 * standard)));
    }

    /// With k = 2, one in twenty may be out by chance; none by a factor of two.
    fn hold(&self) {
        let out: Vec<&(String, f64)> = self.0.iter().filter(|r| r.1 > 1.0).collect();
        let worst = self.0.iter().map(|r| r.1).fold(0.0, f64::max);
        assert!(out.len() * 10 <= self.0.len(), "{} of {} out: {out:?}", out.len(), self.0.len());
        assert!(worst < 2.0, "out by more than twice its uncertainty: {out:?}");
    }
}

#[test]
fn features_lie_where_they_are_within_their_uncertainty() {
    let Run { demo, outcome } = run();
    let frame = &outcome.datum.as_ref().expect("a datum system").covariance;
    let mut ratios = Ratios(Vec::new());
    for truth in &demo.truth.features {
        let found = outcome.features.iter().find(|f| f.feature.name == truth.name);
        let found = &found.unwrap_or_else(|| panic!("no feature {}", truth.name)).feature;
        compare(&mut ratios, found, &truth.shape, frame);
    }
    assert!(ratios.0.len() >= 40, "only {} comparisons", ratios.0.len());
    ratios.hold();
}

/// Place, direction and size of one feature against the truth.
fn compare(ratios: &mut Ratios, found: &Feature, truth: &Primitive, frame: &Covariance) {
    let covariance = Covariance { at: found.covariance.at, matrix: found.carried_by(frame).matrix };
    let name = &found.name;
    let at = found.shape.point();
    match truth {
        Primitive::Plane(t) => {
            let s = covariance.variance_along(&at, &t.normal).sqrt();
            ratios.add(format!("{name} height"), t.distance(&at), s);
        }
        Primitive::Cylinder(_) | Primitive::Cone(_) => {
            let (axis, direction) = match truth {
                Primitive::Cylinder(t) => (t.axis_line(), t.axis),
                Primitive::Cone(t) => (t.axis_line(), t.axis),
                _ => unreachable!("matched above"),
            };
            let off = at - axis.project(&at);
            for across in crosswise(&direction) {
                let s = covariance.variance_along(&at, &across).sqrt();
                ratios.add(format!("{name} place"), off.dot(&across), s);
            }
        }
        other => panic!("{name}: no comparison for {other:?}"),
    }
    let (a, b) = (found.shape.direction(), truth.direction());
    let (a, b) = (a.expect("a direction"), b.expect("a direction"));
    let turn = a.cross(&b) * a.dot(&b).signum();
    for about in crosswise(&b) {
        let s = about.dot(&(covariance.rotation() * about.into_inner())).sqrt();
        ratios.add(format!("{name} turn"), turn.dot(&about), s);
    }
    match (&found.shape, truth) {
        (Primitive::Cylinder(f), Primitive::Cylinder(t)) => {
            ratios.add(format!("{name} radius"), f.radius - t.radius, covariance.size(0));
        }
        (Primitive::Cone(f), Primitive::Cone(t)) => {
            ratios.add(
                format!("{name} half-angle"),
                f.half_angle - t.half_angle,
                covariance.size(1),
            );
        }
        _ => {}
    }
}

/// Two directions perpendicular to one and to each other.
fn crosswise(d: &Direction) -> [Direction; 2] {
    let x = fitwright::primitive::any_perpendicular(d);
    [x, Direction::new_normalize(d.cross(&x))]
}

#[test]
fn the_machine_frame_and_the_joined_scan_lie_where_they_are() {
    let Run { demo, outcome } = run();
    // At the bracket: what the frame's error does to a point there.
    let at = Point3::new(40.0, 35.0, 10.0);
    let frame = &outcome.datum.as_ref().expect("a datum system").covariance;
    for scan in &outcome.scans {
        let truth = demo.truth.machine_from_scan.iter().find(|(n, _)| *n == scan.name);
        let truth = truth.expect("a true pose of each scan").1;
        let found = outcome.machine_from_scan * scan.first_from_this;
        let moved = found * truth.inverse() * at - at;
        let join = scan.join.as_ref().map_or(0.0, |j| {
            let there = scan.first_from_this * truth.inverse() * at;
            j.covariance.deviation_at(&there)
        });
        let standard = frame.deviation_at(&at).hypot(join);
        assert!(moved.norm() < 4.0 * standard, "{}: {} off, {standard}", scan.name, moved.norm());
        assert!(standard < 0.1, "{}: an uncertainty of {standard} proves nothing", scan.name);
    }
}

fn finding<'a>(outcome: &'a Outcome, kind: &str, name: &str) -> &'a Finding {
    let found = outcome.findings.iter().find(|f| f.kind == kind && f.name == name);
    found.unwrap_or_else(|| panic!("no finding {kind} of {name} in {:#?}", outcome.findings))
}

#[test]
fn bolts_are_judged_as_they_are() {
    let Run { demo, outcome } = run();
    for truth in &demo.truth.holes {
        let found = finding(outcome, "hole", &truth.name);
        let (value, u) = (found.value.expect("a margin"), found.uncertainty.expect("its U"));
        assert!(
            (value - truth.margin).abs() <= 1.5 * u,
            "{}: {value} ± {u}, true {}",
            truth.name,
            truth.margin
        );
        let expected = if truth.margin > 0.0 { Verdict::Pass } else { Verdict::Fail };
        assert_eq!(found.verdict, expected, "{}", truth.name);
    }
    // The bolts have more room at once than the worst has where the part was designed to be, not enough for
    // all, and it is the hole that is off which is to be moved.
    let worst = demo.truth.holes.iter().min_by(|a, b| a.margin.total_cmp(&b.margin));
    let worst = worst.expect("holes");
    let together = finding(outcome, "hole", "all bolts together");
    assert!(together.value.expect("a margin") > worst.margin && together.verdict == Verdict::Fail);
    let moved = format!("move \"{}\"", worst.name);
    assert!(together.remedy.contains(&moved), "{}", together.remedy);
}

#[test]
fn the_interference_is_found_where_and_as_deep_as_it_is() {
    let Run { demo, outcome } = run();
    let truth = &demo.truth.interference;
    let found = finding(outcome, "interference", &truth.name);
    let (value, u) = (found.value.expect("a depth"), found.uncertainty.expect("its U"));
    assert_eq!(found.verdict, Verdict::Fail);
    assert!((value - truth.depth).abs() <= 1.5 * u, "{value} ± {u}, true {}", truth.depth);
}

#[test]
fn the_tight_clearance_is_undecided_and_right() {
    let Run { demo, outcome } = run();
    for truth in &demo.truth.clearances {
        let found = finding(outcome, "clearance", &truth.name);
        let (value, u) = (found.value.expect("a clearance"), found.uncertainty.expect("its U"));
        assert!((value - truth.value).abs() <= 1.5 * u, "{value} ± {u}, true {}", truth.value);
        assert!((truth.value - truth.limit).abs() < u, "the demo's tight place is not tight");
        assert_eq!(found.verdict, Verdict::Undecided);
    }
}

#[test]
fn the_rocking_filter_keeps_the_air_that_it_does() {
    let Run { demo, outcome } = run();
    assert!(!demo.truth.motions.is_empty());
    for truth in &demo.truth.motions {
        let found = finding(outcome, "motion", &truth.name);
        let (value, u) = (found.value.expect("a clearance"), found.uncertainty.expect("its U"));
        assert!((value - truth.value).abs() <= 1.5 * u, "{value} ± {u}, true {}", truth.value);
        assert!(truth.value - truth.limit > u, "{found:#?}");
        assert_eq!(found.verdict, Verdict::Pass, "{found:#?}");
        let turn = found.numbers.iter().find(|n| n.name == "movement_1").expect("its turn");
        assert!((turn.value - truth.turn).abs() < 1e-3, "{turn:?}, true {}", truth.turn);
    }
}

/// The nuts lie on both faces of the upright, the barrel has 0.2 mm of play in its hole; sockets stand free over all
/// three bolts.
#[test]
fn the_sensor_is_held_and_tools_reach() {
    let Run { outcome, .. } = run();
    let sensor = finding(outcome, "clearance", "speed sensor");
    assert_eq!((sensor.value, sensor.verdict), (Some(0.0), Verdict::Pass), "{sensor:#?}");
    for hole in ["hole A", "hole B", "hole C"] {
        for name in [hole.to_owned(), format!("{hole}, bolt in"), format!("{hole}, head seat")] {
            assert_eq!(finding(outcome, "tool access", &name).verdict, Verdict::Pass, "{name}");
        }
    }
    assert_eq!(outcome.other_parts.len(), 1);
}

#[test]
fn nothing_else_is_said_to_fail() {
    let Run { demo, outcome } = run();
    let mut bad: Vec<&str> =
        demo.truth.holes.iter().filter(|h| h.margin < 0.0).map(|h| h.name.as_str()).collect();
    // One hole that is off keeps them from going in together.
    bad.push("all bolts together");
    let hit = &demo.truth.interference.name;
    for found in outcome.findings.iter().filter(|f| f.verdict == Verdict::Fail) {
        let known =
            found.name.starts_with(hit.as_str()) || bad.iter().any(|b| found.name.contains(b));
        assert!(known, "{found:#?}");
    }
    for verdict in [Verdict::Pass, Verdict::Fail, Verdict::Undecided] {
        assert!(outcome.findings.iter().any(|f| f.verdict == verdict), "{}", verdict.name());
    }
}

#[test]
fn the_result_reads_back_as_it_was() {
    let Run { outcome, .. } = run();
    let text = outcome.to_json().expect("a result");
    let value: serde_json::Value = serde_json::from_str(&text).expect("valid JSON");
    assert_eq!(value["verdict"], "fail");
    let m = outcome.machine_from_scan.to_homogeneous();
    for r in 0..4 {
        for c in 0..4 {
            assert_eq!(value["machine_from_scan"][r][c].as_f64(), Some(m[(r, c)]));
        }
    }
    let filter = &value["features"].as_array().expect("features")[8];
    assert_eq!(filter["name"], "lube filter");
    let Primitive::Cylinder(c) = &outcome.features[8].feature.shape else { panic!("a cylinder") };
    assert_eq!(filter["parameters"]["radius"].as_f64(), Some(c.radius));
}
