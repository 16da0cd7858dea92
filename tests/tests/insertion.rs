//! Ways of a part to its seat, on scenes whose answer follows from their construction.
#![allow(missing_docs)]

use fitwright::exchange::Part;
use fitwright::fitcheck::{Finding, InsertionLimits, Limits, PathPose, Scene, Verdict};
use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::scan::Scan;
use fitwright::simulate::random::Random;
use fitwright_tests::Draw;
use fitwright_tests::scenes::{Mesh, checked, deck, hole, number, one, placed, scene};

/// A rectangle between two corners that differ along two axes only.
#[derive(Clone, Copy)]
struct Rectangle([f64; 3], [f64; 3]);

impl Rectangle {
    fn mesh(&self) -> Mesh {
        let size: Vec<f64> = (0..3).map(|k| self.1[k] - self.0[k]).collect();
        let along = |k: usize| {
            let mut v = [0.0; 3];
            v[k] = size[k];
            v
        };
        let mut axes = (0..3).filter(|&k| size[k] != 0.0);
        let (a, b) = (axes.next().expect("an axis"), axes.next().expect("another"));
        Mesh::sheet(self.0, [along(a), along(b)], [8, 8])
    }

    /// Distance of a point, by hand.
    fn distance(&self, p: &Point3) -> f64 {
        let off = |k: usize| (self.0[k] - p[k]).max(p[k] - self.1[k]).max(0.0);
        off(0).hypot(off(1)).hypot(off(2))
    }

    /// Distance of an upright box, by hand.
    fn box_distance(&self, low: &Point3, high: &Point3) -> f64 {
        let off = |k: usize| (self.0[k] - high[k]).max(low[k] - self.1[k]).max(0.0);
        off(0).hypot(off(1)).hypot(off(2))
    }
}

fn mesh_of(all: &[Rectangle]) -> Mesh {
    all.iter().fold(Mesh::default(), |m, r| m.and(&r.mesh()))
}

/// Four walls and a floor round ±7, open above z = 12.
fn open_box() -> Vec<Rectangle> {
    vec![
        Rectangle([-7.0, -7.0, 0.0], [7.0, 7.0, 0.0]),
        Rectangle([-7.0, -7.0, 0.0], [-7.0, 7.0, 12.0]),
        Rectangle([7.0, -7.0, 0.0], [7.0, 7.0, 12.0]),
        Rectangle([-7.0, -7.0, 0.0], [7.0, -7.0, 12.0]),
        Rectangle([-7.0, 7.0, 0.0], [7.0, 7.0, 12.0]),
    ]
}

/// A cube of 10 mm, 2 mm from the walls and the floor of the box.
fn cube() -> Part {
    Mesh::cuboid([-5.0, -5.0, 2.0], [5.0, 5.0, 12.0]).part()
}

fn limits(set: impl FnOnce(&mut InsertionLimits), unseen_reach: f64) -> Limits {
    let mut way = InsertionLimits::default();
    set(&mut way);
    let mut limits = Limits::with_clearance(0.0);
    (limits.insertion, limits.unseen_reach) = (Some(way), unseen_reach);
    limits
}

fn run(part: &Part, scan: &Scan, limits: &Limits, threads: usize) -> Finding {
    let scene = Scene { scans: vec![placed("front", scan)], ..Scene::default() };
    let findings = checked(part, &scene, &[], limits, threads).expect("a scene");
    one(&findings, "insertion", "part").clone()
}

#[test]
fn out_of_a_box_that_is_open_above_only_the_directions_near_that_are_free() {
    let walls = open_box();
    let found = run(&cube(), &mesh_of(&walls).scan(), &limits(|l| l.directions = 4000, 0.0), 2);
    assert_eq!(found.verdict, Verdict::Pass, "{found:?}");
    let along = ["direction_x", "direction_y", "direction_z"].map(|n| number(&found, n));
    assert_eq!(along, [0.0, 0.0, 1.0]);
    // Straight up it keeps the 2 mm that it has.
    assert!((found.value.expect("air") - 2.0).abs() < 0.01, "{found:?}");

    // The share of free directions against many random ones, each tried in small steps by hand.
    let mut random = Random::new(4);
    let tried = 20_000;
    let free = (0..tried).filter(|_| {
        let d = random.vector(1.0).normalize();
        (0..8000).all(|i| {
            let by = d * (f64::from(i) * 0.005);
            let (low, high) = (Point3::new(-5.0, -5.0, 2.0) + by, Point3::new(5.0, 5.0, 12.0) + by);
            walls.iter().all(|w| w.box_distance(&low, &high) >= 1.0)
        })
    });
    let share = free.count() as f64 / f64::from(tried);
    assert!(share > 0.001, "{share}");
    let found = number(&found, "free_directions");
    // Both are counts of some tens.
    assert!((found - share).abs() < 0.3 * share + 0.001, "{found} for {share}");
}

#[test]
fn a_thin_wire_over_the_opening_closes_every_straight_way() {
    let mut walls = open_box();
    // 0.1 mm wide, 28 mm above the cube.
    walls.push(Rectangle([-90.0, 0.03, 40.0], [90.0, 0.13, 40.0]));
    let found = run(&cube(), &mesh_of(&walls).scan(), &limits(|_| {}, 0.0), 2);
    assert_eq!(number(&found, "free_directions"), 0.0, "{found:?}");
    // Up, then aside, past it.
    assert_eq!(found.verdict, Verdict::Pass, "{found:?}");
    assert!(number(&found, "moves") >= 2.0);
    let half = [Point3::new(-5.0, -5.0, 2.0), Point3::new(5.0, 5.0, 12.0)];
    verify(&found.path, &walls, &[half], 1.0);
}

/// Every place of a way, and many between, by points of the part's boxes against rectangles.
fn verify(path: &[PathPose], walls: &[Rectangle], boxes: &[[Point3; 2]], air: f64) {
    assert!(path.len() > 2);
    let points: Vec<Point3> = boxes.iter().flat_map(surface).collect();
    let least = |pose: &Pose| {
        let of = |p: &Point3| {
            walls.iter().map(|w| w.distance(&(pose * p))).fold(f64::INFINITY, f64::min)
        };
        points.iter().map(of).fold(f64::INFINITY, f64::min)
    };
    for pair in path.windows(2) {
        let (a, b) = (&pair[0].machine_from_part, &pair[1].machine_from_part);
        for k in 0..5 {
            let between = a.lerp_slerp(b, f64::from(k) / 5.0);
            assert!(least(&between) >= air - 2e-3, "{} on the way at {between}", least(&between));
        }
    }
    for place in path {
        // Points 0.5 mm apart are never nearer than the surface, and not much farther.
        let by_hand = least(&place.machine_from_part);
        let stated = place.clearance;
        assert!(by_hand >= stated - 1e-6 && by_hand <= stated + 0.4, "{by_hand} for {stated}");
        assert!(stated >= air - 1e-9, "{stated}");
    }
    // From outside to the seat.
    assert_eq!(path[path.len() - 1].machine_from_part, Pose::identity());
    let (low, high) =
        walls.iter().fold(([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]), |(l, h), w| {
            (std::array::from_fn(|k| l[k].min(w.0[k])), std::array::from_fn(|k| h[k].max(w.1[k])))
        });
    let first = points.iter().map(|p| path[0].machine_from_part * p).collect::<Vec<_>>();
    let outside =
        |k: usize| first.iter().all(|p| p[k] > high[k]) || first.iter().all(|p| p[k] < low[k]);
    assert!((0..3).any(outside), "not outside at its beginning");
}

/// Points 0.5 mm apart on a box.
fn surface([low, high]: &[Point3; 2]) -> Vec<Point3> {
    let count = |k: usize| ((high[k] - low[k]) / 0.5).ceil() as i32;
    let mut all = Vec::new();
    for i in 0..=count(0) {
        for j in 0..=count(1) {
            for k in 0..=count(2) {
                let at = [(i, count(0)), (j, count(1)), (k, count(2))];
                if at.iter().any(|(n, of)| *n == 0 || n == of) {
                    let share = at.map(|(n, of)| f64::from(n) / f64::from(of));
                    all.push(Point3::from(Vec3::from_fn(|k, _| {
                        low[k] + (high[k] - low[k]) * share[k]
                    })));
                }
            }
        }
    }
    all
}

/// A closed room with a slot in its lid, 24 along x by 8 along y.
fn room_with_slot() -> Vec<Rectangle> {
    let top = 20.0;
    vec![
        Rectangle([-15.0, -15.0, 0.0], [15.0, 15.0, 0.0]),
        Rectangle([-15.0, -15.0, 0.0], [-15.0, 15.0, top]),
        Rectangle([15.0, -15.0, 0.0], [15.0, 15.0, top]),
        Rectangle([-15.0, -15.0, 0.0], [15.0, -15.0, top]),
        Rectangle([-15.0, 15.0, 0.0], [15.0, 15.0, top]),
        Rectangle([-15.0, -15.0, top], [15.0, -4.0, top]),
        Rectangle([-15.0, 4.0, top], [15.0, 15.0, top]),
        Rectangle([-15.0, -4.0, top], [-12.0, 4.0, top]),
        Rectangle([12.0, -4.0, top], [15.0, 4.0, top]),
    ]
}

/// A key: its bar lies across the slot, its stem stands out of it.
fn key() -> [[Point3; 2]; 2] {
    let corners = |low: [f64; 3], high: [f64; 3]| [Point3::from(low), Point3::from(high)];
    [corners([-2.0, -10.0, 8.0], [2.0, 10.0, 12.0]), corners([-2.0, -2.0, 10.0], [2.0, 2.0, 50.0])]
}

fn key_part() -> Part {
    let [bar, stem] = key().map(|[l, h]| Mesh::cuboid(l.into(), h.into()));
    bar.and(&stem).part()
}

#[test]
fn a_key_turns_in_its_slot_before_it_comes_out() {
    let walls = room_with_slot();
    let found = run(&key_part(), &mesh_of(&walls).scan(), &limits(|l| l.clearance = 0.5, 0.0), 2);
    assert_eq!(number(&found, "free_directions"), 0.0, "{found:?}");
    assert_eq!(found.verdict, Verdict::Pass, "{found:?}");
    assert!((found.value.expect("air") - 0.5).abs() < 1e-6 && found.limit == Some(0.5));
    // The bar passes the slot only within 8.7 degrees of a quarter turn.
    assert!(number(&found, "turned").to_degrees() > 81.0, "{found:?}");
    verify(&found.path, &walls, &key(), 0.5);
}

#[test]
fn a_closed_room_is_undecided_and_said_to_be_no_proof() {
    let mut walls = room_with_slot();
    walls.push(Rectangle([-12.0, -4.0, 60.0], [12.0, 4.0, 60.0]));
    walls.push(Rectangle([-15.0, -15.0, 60.0], [15.0, 15.0, 60.0]));
    for (from, to) in [
        ([-15.0, -15.0], [-15.0, 15.0]),
        ([15.0, -15.0], [15.0, 15.0]),
        ([-15.0, -15.0], [15.0, -15.0]),
        ([-15.0, 15.0], [15.0, 15.0]),
    ] {
        walls.push(Rectangle([from[0], from[1], 20.0], [to[0], to[1], 60.0]));
    }
    let few = limits(|l| (l.clearance, l.tries) = (0.5, 64), 0.0);
    let found = run(&key_part(), &mesh_of(&walls).scan(), &few, 2);
    assert_eq!((found.verdict, found.path.len()), (Verdict::Undecided, 0), "{found:?}");
    assert!(found.detail.contains("no proof") && !found.remedy.is_empty(), "{found:?}");
}

#[test]
fn a_way_is_the_same_on_one_thread_and_two_and_after_another_seed_still_a_way() {
    let scan = mesh_of(&room_with_slot()).scan();
    let asked = limits(|l| l.clearance = 0.5, 0.0);
    let [a, b] = [1, 2].map(|n| run(&key_part(), &scan, &asked, n));
    assert_eq!(a, b);
    let other = run(&key_part(), &scan, &limits(|l| (l.clearance, l.seed) = (0.5, 77), 0.0), 2);
    verify(&other.path, &room_with_slot(), &key(), 0.5);
}

#[test]
fn a_scan_that_ends_beside_the_way_is_undecided() {
    // The walls of the open box end 2 mm from the cube; surface may go on by 1.5 mm, or by 5.
    let scan = mesh_of(&open_box()).scan();
    assert_eq!(run(&cube(), &scan, &limits(|_| {}, 1.5), 2).verdict, Verdict::Pass);
    // 5 mm beyond is nearer to the seated cube than that, which is for its clearance to judge; further up a
    // wire ends 3 mm from the way.
    let mut walls = open_box();
    walls.push(Rectangle([8.0, -1.0, 30.0], [60.0, 1.0, 30.0]));
    let scan = mesh_of(&walls).scan();
    let beside = run(&cube(), &scan, &limits(|_| {}, 5.0), 2);
    assert_eq!(beside.verdict, Verdict::Undecided, "{beside:?}");
    assert!(beside.detail.contains("unseen"), "{beside:?}");
    assert_eq!(run(&cube(), &scan, &limits(|_| {}, 1.5), 2).verdict, Verdict::Pass);
}

#[test]
fn a_part_that_already_touches_is_undecided_unless_that_is_taken_off() {
    let sunk = Mesh::cuboid([-5.0, -5.0, -1.0], [5.0, 5.0, 9.0]).part();
    let found = run(&sunk, &mesh_of(&open_box()).scan(), &limits(|_| {}, 0.0), 1);
    assert_eq!(found.verdict, Verdict::Undecided);
    assert!(found.detail.contains("already"), "{found:?}");
}

/// A block on the floor, a pin over it.
fn block_and_pin(set: impl FnOnce(&mut InsertionLimits)) -> Finding {
    let floor =
        Mesh::sheet([-60.0, -60.0, 0.0], [[120.0, 0.0, 0.0], [0.0, 120.0, 0.0]], [120, 120]);
    let surface: Vec<u32> = (0..floor.0.len() as u32).collect();
    let lid = Rectangle([-50.0, -50.0, 40.0], [50.0, 50.0, 40.0]).mesh();
    let lid_ids: Vec<u32> = (0..lid.0.len() as u32).map(|i| i + surface.len() as u32).collect();
    let scan = floor.and(&lid).scan();
    let deck = deck();
    let (above, _) = hole("lid", [0.0, 0.0], 10.0, 1);
    let holes = [above];
    let mut scene = scene(&[&scan], &deck, &surface, &holes);
    scene.features[1].surface = &lid_ids;
    scene.features[1].bolt = None;
    let block = Mesh::cuboid([-10.0, -10.0, 0.0], [10.0, 10.0, 12.0]).part();
    let findings = checked(&block, &scene, &[], &limits(set, 0.0), 2).expect("a scene");
    one(&findings, "insertion", "part").clone()
}

#[test]
fn a_part_lifts_off_its_seat_but_not_through_it() {
    let free = block_and_pin(|l| l.without = vec![1]);
    assert_eq!(free.verdict, Verdict::Pass, "{free:?}");
    assert_eq!(number(&free, "direction_z"), 1.0);
    // All that leads up, or along the seat; what leads down by 0.06 degrees sinks by less than a tenth of
    // the air on its way out.
    let share = number(&free, "free_directions");
    assert!((0.499..=0.501).contains(&share), "{share}");
    // Under the lid only the flat ones are left.
    let under = block_and_pin(|_| {});
    let share = number(&under, "free_directions");
    assert!(share < 0.25 && number(&under, "direction_z") < 0.8, "{under:?}");
}

#[test]
fn nonsense_is_refused() {
    let scan = mesh_of(&open_box()).scan();
    for (set, names) in [
        ((|l: &mut InsertionLimits| l.directions = 0) as fn(&mut InsertionLimits), "directions"),
        (|l| l.clearance = -1.0, "clearance"),
        (|l| l.clearance = f64::NAN, "clearance"),
        (|l| l.without = vec![3], "taken off"),
        (|l| l.tries = usize::MAX, "tries"),
    ] {
        let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
        let error = checked(&cube(), &scene, &[], &limits(set, 0.0), 1).expect_err("refused");
        assert!(error.to_string().contains(names), "{error}");
    }
}
