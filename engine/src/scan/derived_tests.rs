//! Normals, neighbours and borders against shapes whose answers are known.

use super::Scan;
use super::testing::Random;
use crate::context::Context;
use crate::primitive::{Point3, Vec3};

/// Points of equal area on a sphere (spiral of the golden angle).
fn sphere(count: usize, radius: f64) -> Vec<Point3> {
    let at = |i: usize| {
        let z = 1.0 - (2.0 * i as f64 + 1.0) / count as f64;
        let (s, c) = (i as f64 * 2.399_963_229_728_653).sin_cos();
        let ring = (1.0 - z * z).sqrt();
        Point3::new(ring * c, ring * s, z) * radius
    };
    (0..count).map(at).collect()
}

/// A square sheet of `n` × `n` points, 1 mm apart, with a square hole, facing +z.
fn holed_sheet(n: u32) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let points = (0..n * n).map(|i| Point3::new(f64::from(i % n), f64::from(i / n), 0.0)).collect();
    let hole = n / 3..2 * n / 3;
    let mut triangles = Vec::new();
    for i in 0..n - 1 {
        for j in (0..n - 1).filter(|j| !(hole.contains(&i) && hole.contains(j))) {
            let a = i * n + j;
            triangles.extend([[a, a + 1, a + n], [a + 1, a + n + 1, a + n]]);
        }
    }
    (points, triangles)
}

#[test]
fn a_cloud_on_a_sphere_has_outward_normals_and_no_border() {
    let scan = Scan::from_points(sphere(5000, 20.0), None).expect("sound points");
    for (p, n) in scan.points().iter().zip(scan.normals()) {
        assert!(n.dot(&(p.coords / 20.0)) > 0.999, "{p} {n}");
    }
    assert!((0..5000).all(|i| !scan.is_border(i)));
    assert!(scan.boundary_loops().is_empty());
}

#[test]
fn a_cloud_on_a_box_keeps_one_sign_over_its_edges() {
    let mut random = Random::new(5);
    let points: Vec<Point3> = (0..6000)
        .map(|i| {
            let mut p = Point3::from([0, 1, 2].map(|_| random.uniform() * 30.0));
            p[i % 3] = if i % 2 == 0 { 0.0 } else { 30.0 };
            p
        })
        .collect();
    let scan = Scan::from_points(points, None).expect("sound points");
    let centre = Vec3::repeat(15.0);
    let inward = scan
        .points()
        .iter()
        .zip(scan.normals())
        .filter(|(p, n)| n.dot(&(p.coords - centre)) <= 0.0)
        .count();
    assert_eq!(inward, 0);
}

#[test]
fn the_border_of_a_cloud_is_its_rim_and_its_hole() {
    let (points, triangles) = holed_sheet(30);
    let mesh = Scan::from_mesh(points.clone(), triangles).expect("sound mesh");
    // The hole's inside has points of the grid that no triangle uses.
    let used: Vec<u32> = (0..900).filter(|&i| !mesh.neighbours(i).is_empty()).collect();
    let cloud = used.iter().map(|&i| points[i as usize]).collect();
    let cloud = Scan::from_points(cloud, None).expect("sound points");
    // At a corner of the hole, and next to it, the sheet leaves a gap of less than 120 degrees.
    let at_corner = |p: &Point3| {
        [(10.0, 10.0), (10.0, 20.0), (20.0, 10.0), (20.0, 20.0)]
            .iter()
            .any(|(x, y)| (p - Point3::new(*x, *y, 0.0)).norm() <= 1.0)
    };
    for (i, id) in (0..).zip(&used) {
        let p = &points[*id as usize];
        assert!(cloud.is_border(i) == mesh.is_border(*id) || at_corner(p), "{p}");
    }
    assert!(cloud.neighbours(0).len() == 12 && !cloud.neighbours(0).contains(&0));
}

#[test]
fn the_loops_of_a_holed_sheet_have_it_on_their_left() {
    let (points, triangles) = holed_sheet(30);
    let scan = Scan::from_mesh(points, triangles).expect("sound mesh");
    let loops = scan.boundary_loops();
    assert_eq!(loops.len(), 2);
    let area = |l: &[u32]| -> f64 {
        let at = |i: usize| &scan.points()[l[i % l.len()] as usize];
        (0..l.len()).map(|i| at(i).x * at(i + 1).y - at(i).y * at(i + 1).x).sum::<f64>() / 2.0
    };
    // Counter-clockwise round the sheet of 29 mm, clockwise round the hole of 10 mm.
    assert_eq!([area(&loops[0]), area(&loops[1])], [841.0, -100.0]);
    assert_eq!(scan.edge_census().open, 4 * 29 + 4 * 10);
}

#[test]
fn normals_of_a_mesh_are_weighted_by_area() {
    // A large triangle in z = 0 and one of a quarter of its area in x = 0 share an edge.
    let points =
        [[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [9.0, 9.0, 9.0]];
    let points = points.map(Point3::from).to_vec();
    let scan = Scan::from_mesh(points, vec![[0, 1, 2], [0, 2, 3]]).expect("sound mesh");
    let expected = Vec3::new(1.0, 0.0, 4.0).normalize();
    assert!((scan.normals()[0] - expected).norm() < 1e-15);
    assert_eq!(scan.normals()[1], Vec3::z());
    assert_eq!(scan.normals()[4], Vec3::zeros());
}

#[test]
fn the_bits_do_not_depend_on_the_threads() {
    let mut random = Random::new(6);
    let points: Vec<Point3> = sphere(20_000, 30.0)
        .into_iter()
        .map(|p| p + Vec3::from([0, 1, 2].map(|_| 0.05 * random.normal())))
        .collect();
    let (sheet, triangles) = holed_sheet(150);
    let answers = |threads: usize| {
        let cloud = Scan::from_points(points.clone(), None).expect("sound points");
        let mesh = Scan::from_mesh(sheet.clone(), triangles.clone()).expect("sound mesh");
        Context::new(threads).expect("threads").run(|| {
            let all = |scan: &Scan| {
                let neighbours: Vec<Vec<u32>> =
                    (0..scan.points().len() as u32).map(|i| scan.neighbours(i).to_vec()).collect();
                let numbers = [scan.noise().to_bits(), scan.resolution().to_bits()];
                (scan.normals().to_vec(), neighbours, numbers, scan.boundary_loops().to_vec())
            };
            (all(&cloud), all(&mesh))
        })
    };
    let one = answers(1);
    assert!(one == answers(2) && one == answers(8));
}

#[test]
fn unsound_parts_are_refused() {
    let p = Point3::origin;
    assert!(Scan::from_points(vec![], None).is_err());
    assert!(Scan::from_points(vec![p()], Some(vec![])).is_err());
    assert!(Scan::from_points(vec![p()], Some(vec![Vec3::repeat(f64::NAN)])).is_err());
    assert!(Scan::from_points(vec![p(), Point3::new(0.0, f64::INFINITY, 0.0)], None).is_err());
    assert!(Scan::from_mesh(vec![p(); 3], vec![[0, 1, 3]]).is_err());
    let one = Scan::from_points(vec![p()], None).expect("one point is a scan");
    assert_eq!(
        (one.nearest(&Point3::new(3.0, 4.0, 0.0)), one.normals()[0]),
        ((0, 5.0), Vec3::zeros())
    );
    assert!(one.is_border(0) && one.neighbours(0).is_empty() && one.resolution() == 0.0);
}
