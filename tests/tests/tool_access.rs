//! Space for tools at bolts, on scenes whose answer follows from their construction.
#![allow(missing_docs)]

use fitwright::exchange::Part;
use fitwright::feature::Feature;
use fitwright::fitcheck::{Finding, Limits, Measure, Mount, ToolLimits, Verdict};
use fitwright::primitive::{Point3, Pose};
use fitwright::simulate::Plate;
use fitwright_tests::scenes::{Mesh, checked, deck, hole, one, scene};

const KIND: &str = "tool access";
/// M8: 13 across flats, so a socket of 1.25 * 13 + 3 = 19.25; washer 16 by 1.6; head 5.3 high.
const SOCKET: f64 = 19.25 / 2.0;
/// Over the plate of 10 mm: washer, socket of 45, extension of 50, bolt through 10 + 1.6 + 8.
const TOP: f64 = 10.0 + 1.6 + 45.0 + 50.0 + 19.6;

fn plate(outline: [[f64; 2]; 4]) -> Mesh {
    let plate = Plate {
        machine_from_local: Pose::identity(),
        outline: outline.to_vec(),
        holes: vec![([0.0, 0.0], 4.5)],
        z: (0.0, 10.0),
    };
    let mesh = plate.mesh(0.001).expect("a plate");
    Mesh(mesh.points, mesh.triangles)
}

fn usual_plate() -> Mesh {
    plate([[-11.0, -40.0], [11.0, -40.0], [11.0, 40.0], [-11.0, 40.0]])
}

/// The floor and what else was scanned.
fn over_floor(more: &Mesh) -> Mesh {
    Mesh::sheet([-60.0, -60.0, 0.0], [[120.0, 0.0, 0.0], [0.0, 120.0, 0.0]], [60, 60]).and(more)
}

fn limits(tools: ToolLimits, unseen_reach: f64) -> Limits {
    let mut limits = Limits::default();
    (limits.tools, limits.unseen_reach) = (Some(tools), unseen_reach);
    limits
}

fn every() -> ToolLimits {
    let mut tools = ToolLimits::default();
    tools.every = true;
    tools
}

fn run_with(
    part: &Part,
    machine: &Mesh,
    limits: &Limits,
    hole: &(Feature, Mount),
    threads: usize,
) -> Vec<Finding> {
    let scan = machine.scan();
    let (deck, surface) = (deck(), (0..61 * 61).collect::<Vec<u32>>());
    let holes = [hole.0.clone()];
    let scene = scene(&[&scan], &deck, &surface, &holes);
    checked(part, &scene, std::slice::from_ref(&hole.1), limits, threads).expect("a scene")
}

fn run(machine: &Mesh, limits: &Limits) -> Vec<Finding> {
    run_with(&usual_plate().part(), machine, limits, &hole("A", [0.0, 0.0], 10.0, 1), 2)
}

fn wall(x: f64, top: f64) -> Mesh {
    Mesh::sheet([x, -50.0, 5.0], [[0.0, 100.0, 0.0], [0.0, 0.0, top - 5.0]], [50, 50])
}

#[test]
fn a_wall_beside_the_socket_leaves_the_air_it_was_put_at() {
    for (x, verdict) in
        [(25.0, Verdict::Pass), (SOCKET + 1.5, Verdict::Pass), (SOCKET + 0.5, Verdict::Fail)]
    {
        let findings = run(&over_floor(&wall(x, TOP + 30.0)), &limits(every(), 5.0));
        let found = one(&findings, KIND, "A, socket");
        let value = found.value.expect("air");
        assert!((value - (x - SOCKET)).abs() < 1e-9, "{x}: {value}");
        assert_eq!((found.verdict, found.limit), (verdict, Some(1.0)), "{found:?}");
    }
    // Through the socket: as negative as it stands in it; on the axis, the whole radius.
    let findings = run(&over_floor(&wall(2.0, TOP)), &limits(every(), 0.0));
    assert!((one(&findings, KIND, "A, socket").value.expect("air") - (2.0 - SOCKET)).abs() < 1e-9);
    // Above the tool's end is nothing; a hair below is all of it.
    let lid =
        |z: f64| Mesh::sheet([-30.0, -30.0, z], [[60.0, 0.0, 0.0], [0.0, 60.0, 0.0]], [20, 20]);
    let above = run(&over_floor(&lid(TOP + 0.001)), &limits(every(), 0.0));
    assert_eq!(one(&above, KIND, "A, socket").verdict, Verdict::Pass);
    let below = run(&over_floor(&lid(TOP - 0.001)), &limits(every(), 0.0));
    assert!((one(&below, KIND, "A, socket").value.expect("air") + SOCKET).abs() < 1e-9);
}

/// One point of a wall stands 14 mm off it into the socket's way, another into the spanner's: noise, not metal. Where
/// nine points stand there, something does.
#[test]
fn a_single_spike_does_not_bar_a_tool() {
    let mut machine = over_floor(&wall(25.0, TOP + 30.0));
    let at = |mesh: &Mesh, y: f64, z: f64| {
        let off = |p: &Point3| (p - Point3::new(25.0, y, z)).norm();
        let all = 0..mesh.0.len();
        all.min_by(|&a, &b| off(&mesh.0[a]).total_cmp(&off(&mesh.0[b]))).expect("a point")
    };
    for z in [15.0, 40.0, 80.0] {
        let spike = at(&machine, 0.0, z);
        machine.0[spike].x = SOCKET + 0.2;
    }
    let findings = run(&machine, &limits(every(), 0.0));
    let found = one(&findings, KIND, "A, socket");
    assert_eq!(found.verdict, Verdict::Pass, "{found:?}");
    assert!((found.value.expect("air") - (25.0 - SOCKET)).abs() < 1e-9, "{found:?}");
    let plain = run(&over_floor(&wall(25.0, TOP + 30.0)), &limits(every(), 0.0));
    let swing = |all: &[Finding]| one(all, KIND, "A, spanner").value.expect("a swing");
    assert!((swing(&findings) - swing(&plain)).abs() < 1e-6);

    let mut pin = over_floor(&wall(25.0, TOP + 30.0));
    for dy in [-2.0, 0.0, 2.0] {
        for dz in [-2.0, 0.0, 2.0] {
            let point = at(&pin, dy, 40.0 + dz);
            pin.0[point].x = SOCKET + 0.2;
        }
    }
    let findings = run(&pin, &limits(every(), 0.0));
    let found = one(&findings, KIND, "A, socket");
    assert!(found.verdict == Verdict::Fail && found.value.expect("air") < 1.0, "{found:?}");
}

#[test]
fn a_scan_that_ends_beside_the_tool_is_undecided() {
    // Wall to half of the tool's height: its upper border is 1.4 mm from the tool with its air.
    let ends = over_floor(&wall(SOCKET + 2.4, 60.0));
    let near = run(&ends, &limits(every(), 5.0));
    let found = one(&near, KIND, "A, socket");
    assert_eq!(found.verdict, Verdict::Undecided, "{found:?}");
    assert!(found.detail.contains("unseen") && found.remedy.contains("scan"), "{found:?}");
    // Farther than the reach, it passes; and so does the near one if nothing goes on unseen.
    let far = run(&over_floor(&wall(SOCKET + 6.5, 60.0)), &limits(every(), 5.0));
    assert_eq!(one(&far, KIND, "A, socket").verdict, Verdict::Pass);
    let seen = run(&ends, &limits(every(), 1.0));
    assert_eq!(one(&seen, KIND, "A, socket").verdict, Verdict::Pass);
    // Another scan that shows what comes after the border decides.
    let first = ends.scan();
    let second = wall(SOCKET + 2.4, TOP + 30.0).scan();
    let (deck, surface) = (deck(), (0..61 * 61).collect::<Vec<u32>>());
    let (feature, mount) = hole("A", [0.0, 0.0], 10.0, 1);
    let holes = [feature];
    let both = scene(&[&first, &second], &deck, &surface, &holes);
    let found =
        checked(&usual_plate().part(), &both, &[mount], &limits(every(), 5.0), 2).expect("a scene");
    assert_eq!(one(&found, KIND, "A, socket").verdict, Verdict::Pass, "{found:#?}");
}

/// Upright strips 0.1 mm wide at a distance from the axis, in the given directions (degrees).
fn pegs(distance: f64, degrees: impl IntoIterator<Item = f64>) -> Mesh {
    degrees.into_iter().fold(Mesh::default(), |all, degree: f64| {
        let (sin, cos) = degree.to_radians().sin_cos();
        let corner = [distance * cos + 0.05 * sin, distance * sin - 0.05 * cos, 5.0];
        all.and(&Mesh::sheet(corner, [[-0.1 * sin, 0.1 * cos, 0.0], [0.0, 0.0, 40.0]], [1, 1]))
    })
}

/// Degrees either side of a peg at 60 mm that a handle of half the width 0.4 * 13 with 1 mm of air meets it in.
fn barred() -> f64 {
    (0.05f64 / 60.0).atan().to_degrees() + (6.2 / 60f64.hypot(0.05)).asin().to_degrees()
}

#[test]
fn two_pegs_leave_the_swing_between_them() {
    for (gap, verdict) in [(47.0, Verdict::Pass), (30.5, Verdict::Pass), (29.5, Verdict::Fail)] {
        // The gap lies from 100 degrees on; the pegs all round leave less.
        let first = 100.0 - barred();
        let last = 100.0 + gap + barred();
        let between = (1..).map(|k| last + 18.0 * f64::from(k)).take_while(|d| *d < first + 350.0);
        let round = over_floor(&pegs(60.0, [first, last].into_iter().chain(between)));
        let findings = run(&round, &limits(every(), 0.0));
        let found = one(&findings, KIND, "A, spanner");
        let value = found.value.expect("swing").to_degrees();
        assert!((value - gap).abs() < 1e-9, "{value}");
        assert_eq!((found.measure, found.verdict), (Measure::Angle, verdict), "{found:?}");
        assert!((found.limit.expect("limit").to_degrees() - 30.0).abs() < 1e-12);
        assert_eq!(
            found.numbers.iter().find(|n| n.name == "free_swing").map(|n| n.value),
            found.value
        );
    }
}

#[test]
fn a_thin_rod_between_any_sampled_directions_parts_the_swing() {
    // Alone, a rod at 60 mm leaves the rest of the turn; a second one, opposite, at most half of it.
    let one_rod = run(&over_floor(&pegs(60.0, [123.4567])), &limits(every(), 0.0));
    let value = one(&one_rod, KIND, "A, spanner").value.expect("swing").to_degrees();
    assert!((value - (360.0 - 2.0 * barred())).abs() < 1e-9, "{value}");
    let two = run(&over_floor(&pegs(60.0, [123.4567, 303.4567])), &limits(every(), 0.0));
    let value = one(&two, KIND, "A, spanner").value.expect("swing").to_degrees();
    assert!((value - (180.0 - 2.0 * barred())).abs() < 1e-9, "{value}");
    // Nothing at the handle's height: a whole turn. Over the handle's end: the same.
    let free = run(&over_floor(&pegs(12.0 * 13.0 + 1.1, [10.0])), &limits(every(), 0.0));
    assert_eq!(one(&free, KIND, "A, spanner").value, Some(std::f64::consts::TAU));
}

#[test]
fn swing_beyond_its_uncertainty_decides() {
    let (mut feature, mount) = hole("A", [0.0, 0.0], 10.0, 1);
    // The hole's place is known to 0.1 mm (one deviation), so 0.2 mm expanded count.
    for i in 0..3 {
        feature.covariance.matrix[(i, i)] = 0.01;
    }
    let with = |gap: f64| {
        let first = 100.0 - barred();
        let last = 100.0 + gap + barred();
        let between = (1..).map(|k| last + 18.0 * f64::from(k)).take_while(|d| *d < first + 350.0);
        let round = over_floor(&pegs(60.0, [first, last].into_iter().chain(between)));
        let part = usual_plate().part();
        let findings =
            run_with(&part, &round, &limits(every(), 0.0), &(feature.clone(), mount.clone()), 2);
        one(&findings, KIND, "A, spanner").clone()
    };
    // 0.2 mm at 60 mm on either side: 0.38 degrees in all.
    let expected = 2.0 * ((6.4f64 / 60.0).asin() - (6.2f64 / 60.0).asin()).to_degrees();
    let close = with(30.2);
    let u = close.uncertainty.expect("U").to_degrees();
    assert!((u - expected).abs() < 0.01 * expected, "{u} for {expected}");
    assert_eq!(close.verdict, Verdict::Undecided, "{close:?}");
    assert_eq!(close.budget.first().map(|c| c.cause), Some("hole axis"));
    assert_eq!(with(31.0).verdict, Verdict::Pass);
    assert_eq!(with(29.0).verdict, Verdict::Fail);
}

#[test]
fn either_tool_is_enough_unless_every_one_is_asked_for() {
    // A lid over the bolt: no socket, but a spanner swings all round.
    let lid = Mesh::sheet([-30.0, -30.0, 40.0], [[60.0, 0.0, 0.0], [0.0, 60.0, 0.0]], [20, 20]);
    let machine = over_floor(&lid);
    let findings = run(&machine, &limits(ToolLimits::default(), 0.0));
    let found = one(&findings, KIND, "A");
    assert_eq!((found.verdict, found.measure), (Verdict::Pass, Measure::Angle), "{found:?}");
    assert!(found.detail.contains("socket") && found.detail.contains("spanner"), "{found:?}");
    let findings = run(&machine, &limits(every(), 0.0));
    assert_eq!(one(&findings, KIND, "A, socket").verdict, Verdict::Fail);
    assert_eq!(one(&findings, KIND, "A, spanner").verdict, Verdict::Pass);
    let mut socket = ToolLimits::default();
    socket.spanner = false;
    let findings = run(&machine, &limits(socket, 0.0));
    assert_eq!(one(&findings, KIND, "A, socket").verdict, Verdict::Fail);
    assert!(!findings.iter().any(|f| f.name == "A, spanner"));
}

#[test]
fn a_bolt_needs_its_length_and_its_head_over_the_washer() {
    let lid =
        |z: f64| Mesh::sheet([-30.0, -30.0, z], [[60.0, 0.0, 0.0], [0.0, 60.0, 0.0]], [20, 20]);
    // 19.6 mm of bolt and 5.3 mm of head over 11.6.
    for (z, verdict) in [(11.6 + 24.9 + 0.1, Verdict::Pass), (11.6 + 24.9 - 0.1, Verdict::Fail)] {
        let findings = run(&over_floor(&lid(z)), &limits(every(), 0.0));
        let found = one(&findings, KIND, "A, bolt in");
        assert!((found.value.expect("length") - (z - 11.6)).abs() < 1e-9, "{found:?}");
        assert!((found.limit.expect("needed") - 24.9).abs() < 1e-9);
        assert_eq!(found.verdict, verdict, "{found:?}");
    }
    let mut long = every();
    long.bolt_lengths.insert(1, 30.0);
    let findings = run(&over_floor(&lid(45.0)), &limits(long, 0.0));
    assert_eq!(one(&findings, KIND, "A, bolt in").verdict, Verdict::Fail);
    // A rod of 0.1 mm that stands in the head's way by its corners alone: 15.01 mm across.
    let rod = |x: f64| Mesh::sheet([x, -0.05, 20.0], [[0.0, 0.1, 0.0], [0.0, 0.0, 30.0]], [1, 1]);
    let in_it = run(&over_floor(&rod(7.4)), &limits(every(), 0.0));
    let beside = run(&over_floor(&rod(7.6)), &limits(every(), 0.0));
    assert_eq!(one(&in_it, KIND, "A, bolt in").verdict, Verdict::Fail);
    assert_eq!(one(&beside, KIND, "A, bolt in").verdict, Verdict::Pass);
}

#[test]
fn the_washer_lies_on_a_flat_that_is_large_enough() {
    let seat = |mesh: &Mesh| {
        let (hole, floor) = (hole("A", [0.0, 0.0], 10.0, 1), over_floor(&Mesh::default()));
        one(&run_with(&mesh.part(), &floor, &limits(every(), 0.0), &hole, 1), KIND, "A, head seat")
            .clone()
    };
    // Nearest edge 11 mm from the bolt, the washer's radius is 8.
    let wide = seat(&usual_plate());
    assert_eq!(wide.verdict, Verdict::Pass);
    assert!((wide.value.expect("left") - 3.0).abs() < 1e-9, "{wide:?}");
    let narrow = seat(&plate([[-7.9, -40.0], [11.0, -40.0], [11.0, 40.0], [-7.9, 40.0]]));
    assert_eq!(narrow.verdict, Verdict::Fail);
    assert!((narrow.value.expect("left") + 0.1).abs() < 1e-9, "{narrow:?}");
    // A block welded on top of it, 9 mm from the bolt, let into the plate.
    let welded = seat(&usual_plate().and(&Mesh::cuboid([-5.0, 9.0, 8.0], [5.0, 30.0, 40.0])));
    assert!((welded.value.expect("left") - 1.0).abs() < 1e-9, "{welded:?}");
    assert!(welded.detail.contains("stands"), "{welded:?}");
    // A top that leans by 5 degrees is no seat.
    let mut leaning = usual_plate();
    leaning.0.iter_mut().filter(|p| p.z > 5.0).for_each(|p: &mut Point3| p.z += 0.0875 * p.x);
    assert_eq!(seat(&leaning).verdict, Verdict::Fail);
}

#[test]
fn findings_are_the_same_on_one_thread_and_two() {
    let machine = over_floor(&wall(14.0, 60.0).and(&pegs(60.0, [10.0, 77.7, 200.0])));
    let (part, hole) = (usual_plate().part(), hole("A", [0.0, 0.0], 10.0, 1));
    let [a, b] = [1, 2].map(|n| run_with(&part, &machine, &limits(every(), 5.0), &hole, n));
    assert_eq!(a, b);
}

#[test]
fn lengths_that_are_none_are_refused() {
    for bad in [-1.0, f64::NAN, f64::INFINITY] {
        let mut tools = ToolLimits::default();
        tools.extension = bad;
        let (floor, hole) = (over_floor(&Mesh::default()), hole("A", [0.0, 0.0], 10.0, 1));
        let (scan, deck) = (floor.scan(), deck());
        let (holes, surface) = ([hole.0], (0..61 * 61).collect::<Vec<u32>>());
        let scene = scene(&[&scan], &deck, &surface, &holes);
        let error = checked(&usual_plate().part(), &scene, &[hole.1], &limits(tools, 5.0), 1);
        let message = error.expect_err("refused").to_string();
        assert!(message.contains("extension"), "{message}");
    }
}

/// A job with a bolted part, and what its `[check]` and its mount say.
fn job(check: &str, mount: &str) -> fitwright::Result<fitwright::job::Job> {
    fitwright::job::Job::parse(&format!(
        "[job]\nname = \"n\"\nlength = \"in\"\n[[scan]]\nname = \"s\"\nfile = \"s.ply\"\n\
         [[feature]]\nname = \"face\"\nfit = \"plane\"\nat = [0, 0, 0]\n\
         [[feature]]\nname = \"hole\"\nfit = \"hole\"\non = \"face\"\nat = [0, 0, 0]\nbolt = \"M8\"\n\
         [part]\nfile = \"p.stl\"\nmount = [{{ hole = \"hole\", near = [0, 0, 0]{mount} }}]\n\
         [check]\n{check}\n"
    ))
}

#[test]
fn a_job_asks_for_tools_and_a_way_in_by_a_word_or_a_table() {
    for check in [
        "tool_access = true\ninsertion = true",
        "tool_access = false\ninsertion = false",
        "tool_access = { tools = [\"socket\"], every = true, air = 0.05, extension = 0, swing = 60 }",
        "tool_access = { bolt_length = 1.5, washer = false, socket_diameter = 1, socket_length = 2 }",
        "insertion = { clearance = 0.1, directions = 500, tries = 0, without = [\"face\"], seed = 4 }",
    ] {
        job(check, ", bolt_length = 1.25").unwrap_or_else(|e| panic!("{check}: {e}"));
    }
    for (check, mount, says) in [
        ("tool_access = { swing = -1 }", "", "tool_access swing"),
        ("tool_access = { tools = [] }", "", "known are socket, spanner"),
        ("tool_access = 3", "", "tool_access must be true, false or a table"),
        ("insertion = { without = [\"fase\"] }", "", "face"),
        ("insertion = { directions = 0 }", "", "directions must be 1"),
        ("insertion = { clearance = inf }", "", "insertion clearance"),
        ("insertion = \"yes\"", "", "insertion must be true, false or a table"),
        ("tool_access = true", ", bolt_length = 0", "bolt_length"),
    ] {
        let error = job(check, mount).expect_err(check).to_string();
        assert!(error.contains(says), "{check}: {error}");
    }
}
