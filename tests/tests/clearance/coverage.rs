//! What the scanner did not see: holes, borders, bridges over gaps, the back of a surface.

use super::*;

const LIMIT: f64 = 3.0;

fn check(block: Mesh, scans: &[(&str, &Scan)]) -> Vec<Finding> {
    let scans = scans.iter().map(|(name, scan)| placed(name, scan)).collect();
    run(&part(block), &Scene { scans, ..Scene::default() }, &[], &Limits::with_clearance(LIMIT))
}

/// Floor of 60 by 60 mm without what lies in the square |x|, |y| < `half` round its middle.
fn holed_floor(half: f64) -> Mesh {
    let (points, triangles) = noisy_floor(31, 30.0);
    let gone = |i: &u32| points[*i as usize].x.abs() < half && points[*i as usize].y.abs() < half;
    let kept: Vec<[u32; 3]> = triangles.into_iter().filter(|t| !t.iter().any(gone)).collect();
    let mut new_id = vec![u32::MAX; points.len()];
    let mut used = Vec::new();
    let triangles = kept
        .iter()
        .map(|t| {
            t.map(|i| {
                if new_id[i as usize] == u32::MAX {
                    new_id[i as usize] = used.len() as u32;
                    used.push(points[i as usize]);
                }
                new_id[i as usize]
            })
        })
        .collect();
    (used, triangles)
}

#[test]
fn over_a_hole_of_the_scan_nothing_is_free() {
    let hole = scan(&holed_floor(10.0));
    let whole = scan(&noisy_floor(32, 30.0));
    // The lid lies at z = 0; up to 5 mm may stand out of it.
    for (height, verdict) in
        [(4.0, Verdict::Undecided), (7.8, Verdict::Undecided), (8.3, Verdict::Pass)]
    {
        let block = || cuboid([-2.0, -2.0, height], [2.0, 2.0, 20.0]);
        let findings = check(block(), &[("front", &hole)]);
        let rest = one(&findings, "clearance", "rest of front");
        assert_eq!(rest.verdict, Verdict::Pass, "what was seen is far away: {rest:?}");
        let unseen: Vec<&Finding> = findings.iter().filter(|f| f.kind == "coverage").collect();
        assert_eq!(unseen.len(), 1, "{unseen:#?}");
        assert_eq!(unseen[0].verdict, verdict, "{height}: {unseen:?}");
        if verdict == Verdict::Undecided {
            assert_eq!(unseen[0].name, "hole in front");
            assert!((unseen[0].value.unwrap_or(f64::NAN) - height).abs() < 4.0 * NOISE);
            // The hole is as wide as what is gone, and up to a spacing on either side.
            let wide = unseen[0].extent.unwrap_or(f64::NAN);
            assert!((20.0..21.5).contains(&wide), "{wide}");
            assert!(unseen[0].remedy.contains("scan there from +z"), "{}", unseen[0].remedy);
            assert!(number(unseen[0], "scan_from_z") > 0.99);
        }
        // Another scan that saw the floor there leaves nothing open.
        let both = check(block(), &[("front", &hole), ("second", &whole)]);
        assert_eq!(one(&both, "coverage", "part").verdict, Verdict::Pass, "{both:#?}");
    }
}

#[test]
fn a_hole_below_what_the_scan_shows_is_none() {
    let pinhole = scan(&holed_floor(0.6));
    let block = cuboid([-2.0, -2.0, 4.0], [2.0, 2.0, 20.0]);
    let findings = check(block, &[("front", &pinhole)]);
    assert_eq!(one(&findings, "coverage", "part").verdict, Verdict::Pass, "{findings:#?}");
}

#[test]
fn beyond_a_border_the_surface_may_go_on() {
    let floor = scan(&noisy_floor(33, 20.0));
    // Over the floor's edge: nearest to the floor in its inside, 6 mm from its border.
    for (gap, verdict) in [(6.0, Verdict::Undecided), (8.5, Verdict::Pass)] {
        let block = cuboid([20.0 - 12.0, -4.0, 4.0], [20.0 - gap, 4.0, 12.0]);
        let findings = check(block, &[("front", &floor)]);
        assert_eq!(one(&findings, "clearance", "rest of front").verdict, Verdict::Pass);
        let distance = f64::hypot(gap, 4.0);
        let far = distance > LIMIT + 5.0;
        let name = if far { "part" } else { "border of front" };
        let unseen = one(&findings, "coverage", name);
        assert_eq!(unseen.verdict, verdict, "{gap}: {unseen:?}");
        if !far {
            assert!((unseen.value.unwrap_or(f64::NAN) - distance).abs() < 4.0 * NOISE);
            let at = unseen.to.unwrap_or(Point3::origin());
            assert!((at.x - 20.0).abs() < 1e-9 && at.y.abs() < 4.6, "{at}");
        }
    }
}

/// A floor, a second one 30 mm deeper beside it, and triangles drawn from the edge of one to that of the other.
fn bridged() -> Mesh {
    let mut random = Random::new(34);
    let upper = sheet([20.0, 20.0], |x, y| Point3::new(x - 20.0, y, NOISE * random.normal()));
    let lower =
        sheet([20.0, 20.0], |x, y| Point3::new(x + 20.5, y, NOISE * random.normal() - 30.0));
    let (mut points, mut triangles) = upper;
    let first = points.len() as u32;
    points.extend(lower.0);
    triangles.extend(lower.1.iter().map(|t| t.map(|i| i + first)));
    let row = 81;
    for j in 0..row - 1 {
        let (a, b) = (j * row + row - 1, first + j * row);
        triangles.extend([[a, b, a + row], [b, b + row, a + row]]);
    }
    (points, triangles)
}

#[test]
fn triangles_drawn_over_a_gap_do_not_decide() {
    let scanned = scan(&bridged());
    let block = || cuboid([2.0, -5.0, -20.0], [6.0, 5.0, -10.0]);
    let findings = check(block(), &[("front", &scanned)]);
    let rest = one(&findings, "clearance", "rest of front");
    assert!((rest.value.unwrap_or(f64::NAN) - 10.0).abs() < 0.1, "to the lower floor: {rest:?}");
    assert_eq!(rest.verdict, Verdict::Pass);
    let bridges = one(&findings, "coverage", "bridges in front");
    assert_eq!(bridges.verdict, Verdict::Undecided);
    assert!((bridges.value.unwrap_or(f64::NAN) - 1.6).abs() < 0.1, "{bridges:?}");
    // The part through the bridges: still not an overlap.
    let through = cuboid([-3.0, -5.0, -20.0], [4.0, 5.0, -10.0]);
    let findings = check(through, &[("front", &scanned)]);
    assert_eq!(one(&findings, "interference", "part").verdict, Verdict::Pass, "{findings:#?}");
    assert_eq!(one(&findings, "coverage", "bridges in front").value, Some(0.0));
}

/// A flat mesh thinned to large triangles but for a strip has long triangles that are real.
#[test]
fn long_triangles_in_the_surface_count() {
    let p = Point3::new;
    let (mut points, mut triangles) = noisy_floor(35, 20.0);
    let corner = points.len() as u32;
    points.extend([
        p(20.0, -20.0, 0.0),
        p(60.0, -20.0, 0.0),
        p(60.0, 20.0, 0.0),
        p(20.0, 20.0, 0.0),
    ]);
    triangles.extend([[corner, corner + 1, corner + 2], [corner, corner + 2, corner + 3]]);
    let scanned = scan(&(points, triangles));
    let block = cuboid([38.0, -3.0, 2.0], [44.0, 3.0, 12.0]);
    let findings = check(block, &[("front", &scanned)]);
    let rest = one(&findings, "clearance", "rest of front");
    assert_eq!(rest.verdict, Verdict::Fail, "{rest:?}");
    assert!((number(rest, "raw_distance") - 2.0).abs() < 1e-9);
}

#[test]
fn behind_a_surface_is_not_free() {
    let floor = scan(&noisy_floor(36, 30.0));
    let under = cuboid([-5.0, -5.0, -14.0], [5.0, 5.0, -6.0]);
    let findings = check(under, &[("front", &floor)]);
    let behind = one(&findings, "coverage", "behind a scanned surface");
    assert_eq!(behind.verdict, Verdict::Undecided);
    assert!((behind.value.unwrap_or(f64::NAN) + 14.0).abs() < 4.0 * NOISE, "{behind:?}");
    // An overlap says itself where the part is; it is not said twice.
    let through = cuboid([-5.0, -5.0, -1.0], [5.0, 5.0, 6.0]);
    let findings = check(through, &[("front", &floor)]);
    assert!(findings.iter().all(|f| f.name != "behind a scanned surface"), "{findings:#?}");
}
