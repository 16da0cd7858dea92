//! The bend table against worked examples and back.
//!
//! Source of the examples: a trade hand-over table (columns: feed, rotation, bend, computed there by an
//! independent program), recomputed by hand from the corner points where they are axis-parallel.
#![allow(clippy::unwrap_used, reason = "tests")]

mod support;
use fitwright_tube::bends::BendTable;
use support::*;

fn assert_rows(table: &BendTable, rows: &[(f64, f64, f64)], last: f64, cut: f64) {
    assert_eq!(table.bends.len(), rows.len());
    for (bend, (feed, rotation, angle)) in table.bends.iter().zip(rows) {
        assert!((bend.feed - feed).abs() < 6e-4, "{bend:?}");
        assert!((bend.rotation.to_degrees() - rotation).abs() < 6e-4, "{bend:?}");
        assert!((bend.angle.to_degrees() - angle).abs() < 6e-4, "{bend:?}");
    }
    assert!((table.last - last).abs() < 6e-4, "{}", table.last);
    assert!((table.developed_length() - cut).abs() < 6e-4, "{}", table.developed_length());
}

fn normal_of(points: &[[f64; 3]]) -> (V3, V3) {
    let p: Vec<V3> = points.iter().map(|p| V3::from(*p)).collect();
    let u = (p[1] - p[0]).normalize();
    (u, u.cross(&(p[2] - p[1])).normalize())
}

#[test]
fn first_example() {
    let points = [
        [0.0, 0.0, 0.0],
        [200.0, 0.0, 0.0],
        [200.0, 150.0, 0.0],
        [200.0, 150.0, 120.0],
        [80.0, 230.0, 120.0],
    ];
    let table = BendTable::of_corners(&points, &[40.0; 3]).unwrap();
    let rows = [(160.0, 0.0, 90.0), (70.0, 90.0, 90.0), (40.0, -123.690, 90.0)];
    assert_rows(&table, &rows, 104.222, 562.718);
    let (u, n) = normal_of(&points);
    let back = table.corners(points[0], u.into(), n.into());
    for (p, q) in points.iter().zip(back) {
        assert!((V3::from(*p) - V3::from(q)).norm() < 1e-10);
    }
}

#[test]
fn second_example() {
    // 35 degrees in the plane, then 90 degrees out of it; leg lengths from the feeds and set-backs.
    let (first, second) = (35f64.to_radians(), 50.0);
    let set_back = 50.0 * (0.5 * first).tan();
    let leg = 134.235 + set_back + second;
    let end = 100.0 + second;
    let points = [
        [0.0, 0.0, 0.0],
        [300.0, 0.0, 0.0],
        [300.0 + leg * first.cos(), leg * first.sin(), 0.0],
        [300.0 + leg * first.cos(), leg * first.sin(), end],
    ];
    let table = BendTable::of_corners(&points, &[50.0; 2]).unwrap();
    let rows = [(284.235, 0.0, 35.0), (134.235, 90.0, 90.0)];
    assert_rows(&table, &rows, 100.0, 627.553);
}

#[test]
fn random_tubes_return_and_read_alike_from_the_other_end() {
    let mut random = Random::new(3);
    for _ in 0..2000 {
        let count = 3 + (random.unit() * 5.0) as usize;
        let points: Vec<[f64; 3]> =
            (0..count).map(|_| [0; 3].map(|_| random.between(-500.0, 500.0))).collect();
        let radii: Vec<f64> = (2..count).map(|_| random.between(10.0, 60.0)).collect();
        let Some(table) = BendTable::of_corners(&points, &radii) else { continue };
        if table.bends.iter().any(|b| !(0.02..3.1).contains(&b.angle)) {
            continue;
        }
        let (u, n) = normal_of(&points);
        let back = table.corners(points[0], u.into(), n.into());
        for (p, q) in points.iter().zip(back) {
            assert!((V3::from(*p) - V3::from(q)).norm() < 1e-7);
        }
        let reversed: Vec<[f64; 3]> = points.iter().rev().copied().collect();
        let radii: Vec<f64> = radii.iter().rev().copied().collect();
        let other = BendTable::of_corners(&reversed, &radii).unwrap();
        let turns = |t: &BendTable| t.bends[1..].iter().map(|b| b.rotation).collect::<Vec<_>>();
        for (a, b) in turns(&table).iter().zip(turns(&other).iter().rev()) {
            let off = (a - b).rem_euclid(std::f64::consts::TAU);
            assert!(off.min(std::f64::consts::TAU - off) < 1e-7, "{a} and {b}");
        }
        assert!((table.developed_length() - other.developed_length()).abs() < 1e-8);
    }
}

#[test]
fn no_table_of_what_has_none() {
    let line = [[0.0; 3], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]];
    assert!(BendTable::of_corners(&line, &[1.0]).is_none());
    assert!(BendTable::of_corners(&[[0.0; 3]; 3], &[1.0]).is_none());
    assert!(BendTable::of_corners(&line, &[]).is_none());
    assert!(BendTable::of_corners(&[], &[]).is_none());
    let bad = [[0.0; 3], [f64::NAN, 0.0, 0.0], [2.0, 5.0, 0.0]];
    assert!(BendTable::of_corners(&bad, &[1.0]).is_none());
    // Two points are a straight tube.
    assert_eq!(BendTable::of_corners(&line[..2], &[]).unwrap().last, 1.0);
}
