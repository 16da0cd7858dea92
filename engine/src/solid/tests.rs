#![expect(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use super::triangle::{nearest_on_triangle, touch, triangle_gap};
use super::*;
use nalgebra::{DMatrix, DVector};

/// Numbers in −1..1 (G. Marsaglia 2003, Xorshift RNGs).
struct Random(u64);

impl Random {
    fn number(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }

    fn point(&mut self) -> Point3 {
        Point3::new(self.number(), self.number(), self.number())
    }

    fn triangle(&mut self, spread: f64) -> [Point3; 3] {
        let c = self.point() * spread;
        [0; 3].map(|_| c + self.point().coords)
    }
}

pub(super) fn cuboid(low: [f64; 3], high: [f64; 3]) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let pick = |i: usize, k: usize| if i >> k & 1 == 1 { high[k] } else { low[k] };
    let points = (0..8).map(|i| Point3::new(pick(i, 0), pick(i, 1), pick(i, 2))).collect();
    let quads =
        [[0, 4, 6, 2], [1, 3, 7, 5], [0, 1, 5, 4], [2, 6, 7, 3], [0, 2, 3, 1], [4, 5, 7, 6]];
    let triangles = quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect();
    (points, triangles)
}

fn add(a: &mut (Vec<Point3>, Vec<[u32; 3]>), b: (Vec<Point3>, Vec<[u32; 3]>), flip: bool) {
    let n = a.0.len() as u32;
    a.0.extend(b.0);
    let turn = |t: [u32; 3]| if flip { [t[0], t[2], t[1]] } else { t };
    a.1.extend(b.1.into_iter().map(|t| turn(t.map(|i| i + n))));
}

fn solid(m: &(Vec<Point3>, Vec<[u32; 3]>)) -> Solid {
    Solid::new(&m.0, &m.1).unwrap()
}

/// Least distance of two triangles by the conditions of Karush, Kuhn and Tucker: the optimum is the
/// unconstrained least-squares solution of one of the 49 pairs of corner, edge or face hulls.
fn gap_by_enumeration(a: &[Point3; 3], b: &[Point3; 3]) -> f64 {
    let hulls: [&[usize]; 7] = [&[0], &[1], &[2], &[0, 1], &[1, 2], &[2, 0], &[0, 1, 2]];
    let mut best = f64::INFINITY;
    for ha in hulls {
        for hb in hulls {
            let (oa, ob) = (a[ha[0]], b[hb[0]]);
            let mut columns: Vec<Vec3> = ha[1..].iter().map(|&i| a[i] - oa).collect();
            columns.extend(hb[1..].iter().map(|&i| ob - b[i]));
            let rest = ob - oa;
            let weights = if columns.is_empty() {
                DVector::zeros(0)
            } else {
                let m = DMatrix::from_fn(3, columns.len(), |r, c| columns[c][r]);
                let svd = m.svd(true, true);
                svd.solve(&DVector::from_column_slice(rest.as_slice()), 1e-13).unwrap()
            };
            let inside = |w: &[f64]| w.iter().all(|&x| x >= 0.0) && w.iter().sum::<f64>() <= 1.0;
            let (wa, wb) = weights.as_slice().split_at(ha.len() - 1);
            if inside(wa) && inside(wb) {
                let moved: Vec3 = columns.iter().zip(&weights).map(|(c, &w)| c * w).sum();
                best = best.min((moved - rest).norm());
            }
        }
    }
    best
}

#[test]
fn triangle_distances_agree_with_enumeration() {
    let mut random = Random(0x1234_5678_9abc_def1);
    let mut touching = 0;
    for i in 0..20_000 {
        let (a, b) = (random.triangle(1.5), random.triangle(1.5));
        let gap = triangle_gap(&a, &b);
        let found = gap.squared.sqrt();
        let expected = gap_by_enumeration(&a, &b);
        // Minimum-norm solutions of a rank-deficient pair (touching faces) may leave the triangles.
        if found == 0.0 {
            touching += 1;
            assert!(touch(&a, &b), "pair {i}");
            let on = |t: &[Point3; 3]| (gap.on_a - nearest_on_triangle(&gap.on_a, t).0).norm();
            assert!(on(&a) < 1e-12 && on(&b) < 1e-12, "pair {i}: common point off a triangle");
        } else {
            assert!((found - expected).abs() < 1e-12, "pair {i}: {found} {expected}");
            assert!(!touch(&a, &b), "pair {i}");
            assert!(((gap.on_a - gap.on_b).norm() - found).abs() < 1e-12);
        }
    }
    assert!(touching > 500, "too few touching pairs to mean anything: {touching}");
}

#[test]
fn special_positions_of_triangles() {
    let p = Point3::new;
    let floor = [p(0.0, 0.0, 0.0), p(4.0, 0.0, 0.0), p(0.0, 4.0, 0.0)];
    // corner over face, edge across edge, parallel faces, coplanar neighbours, contained, far in plane
    let cases = [
        ([p(1.0, 1.0, 0.25), p(1.0, 2.0, 3.0), p(2.0, 1.0, 3.0)], 0.25),
        ([p(1.0, -1.0, -2.0), p(1.0, -1.0, 2.0), p(1.0, -9.0, 0.0)], 1.0),
        ([p(0.0, 0.0, 0.5), p(4.0, 0.0, 0.5), p(0.0, 4.0, 0.5)], 0.5),
        ([p(4.0, 0.0, 0.0), p(4.0, 4.0, 0.0), p(0.0, 4.0, 0.0)], 0.0),
        ([p(1.0, 1.0, 0.0), p(1.5, 1.0, 0.0), p(1.0, 1.5, 0.0)], 0.0),
        ([p(-3.0, 0.0, 0.0), p(-3.0, 1.0, 0.0), p(-4.0, 0.0, 0.0)], 3.0),
        ([p(1.0, 1.0, 0.0), p(1.0, 1.0, 5.0), p(2.0, 1.0, 5.0)], 0.0),
        ([p(1.0, 1.0, -1.0), p(1.0, 1.0, 5.0), p(2.0, 1.0, 5.0)], 0.0),
    ];
    for (t, expected) in cases {
        for turn in 0..3 {
            let t = [0, 1, 2].map(|k| t[(k + turn) % 3]);
            let found = triangle_gap(&floor, &t).squared.sqrt();
            assert!((found - expected).abs() < 1e-12, "{t:?}: {found}");
            assert_eq!(touch(&floor, &t), expected == 0.0, "{t:?}");
            assert_eq!(touch(&t, &floor), expected == 0.0, "{t:?}");
        }
    }
}

#[test]
fn boxes_apart_at_face_edge_and_corner() {
    let a = solid(&cuboid([0.0; 3], [10.0, 20.0, 30.0]));
    let cases = [([13.0, 5.0, 5.0], 3.0), ([13.0, 24.0, 5.0], 5.0), ([11.0, 22.0, 32.0], 3.0)];
    for (low, expected) in cases {
        let (points, triangles) = cuboid(low, low.map(|x| x + 7.0));
        let w = a.least_distance(&Mesh::new(points, triangles), f64::INFINITY).unwrap();
        assert!((w.distance - expected).abs() < 1e-12, "{low:?}: {}", w.distance);
        assert!(((w.on_a - w.on_b).norm() - expected).abs() < 1e-12);
    }
}

#[test]
fn random_meshes_agree_with_all_pairs() {
    let mut random = Random(77);
    for round in 0..20 {
        let spread = if round % 2 == 0 { 3.0 } else { 8.0 };
        let mut soup = |n: usize, shift: f64| {
            let shift = Vec3::new(shift, 0.0, 0.0);
            let corners = |_| random.triangle(spread).map(|p| p + shift);
            let points: Vec<Point3> = (0..n).flat_map(corners).collect();
            Mesh::new(points, (0..n as u32).map(|i| [3 * i, 3 * i + 1, 3 * i + 2]).collect())
        };
        let (a, b) = (soup(300, 0.0), soup(200, f64::from(round) * 1.2));
        let all = |f: &mut dyn FnMut(u32, u32)| {
            (0..300).for_each(|i| (0..200).for_each(|j| f(i, j)));
        };
        let (mut least, mut pairs) = (f64::INFINITY, Vec::new());
        all(&mut |i, j| {
            least = least.min(triangle_gap(&a.corners(i), &b.corners(j)).squared.sqrt());
            if touch(&a.corners(i), &b.corners(j)) {
                pairs.push((i, j));
            }
        });
        assert_eq!(a.touching_pairs(&b), pairs);
        assert_eq!(a.least_distance(&b, f64::INFINITY).unwrap().distance, least);
        for p in &b.points {
            let brute = (0..300)
                .map(|t| (p - nearest_on_triangle(p, &a.corners(t)).0).norm())
                .fold(f64::INFINITY, f64::min);
            assert_eq!(a.nearest(p, f64::INFINITY, Some(7)).unwrap().distance, brute);
            assert!(a.nearest(p, brute * (1.0 - 1e-12), None).is_none());
        }
    }
}

#[test]
fn sign_in_a_box_also_in_line_with_edges_and_corners() {
    let m = cuboid([-1.0, -2.0, -3.0], [4.0, 5.0, 6.0]);
    let s = solid(&m);
    let grid = [-4.0, -3.0, -2.0, -1.0, -0.5, 0.0, 2.0, 4.0, 4.5, 5.0, 6.0, 7.0];
    for x in grid {
        for y in grid {
            for z in grid {
                let p = Point3::new(x, y, z);
                // R. Inigo Quilez' exact distance of a box, from its half sides.
                let d = [(x - 1.5f64).abs() - 2.5, (y - 1.5).abs() - 3.5, (z - 1.5).abs() - 4.5];
                let outer = Vec3::from(d.map(|v| v.max(0.0))).norm();
                let expected = outer + d[0].max(d[1]).max(d[2]).min(0.0);
                let found = s.signed(&p, f64::INFINITY).unwrap().distance;
                assert!((found - expected).abs() < 1e-12, "{p}: {found} {expected}");
                if expected.abs() > 0.0 {
                    assert_eq!(s.contains(&p), expected < 0.0, "{p}");
                }
            }
        }
    }
}

#[test]
fn sign_of_thin_walls_overlapping_shells_cavities_and_inverted_meshes() {
    let at = |x, y, z| Point3::new(x, y, z);
    let plate = solid(&cuboid([0.0; 3], [100.0, 100.0, 0.001]));
    assert!((plate.signed(&at(50.0, 40.0, 0.0005), 1.0).unwrap().distance + 0.0005).abs() < 1e-15);
    assert!((plate.signed(&at(50.0, 40.0, 0.002), 1.0).unwrap().distance - 0.001).abs() < 1e-15);

    let mut welded = cuboid([0.0; 3], [10.0, 10.0, 2.0]);
    add(&mut welded, cuboid([4.0, 0.0, -5.0], [6.0, 10.0, 8.0]), false);
    let welded = solid(&welded);
    let inside = |x, z| welded.signed(&at(x, 5.0, z), f64::INFINITY).unwrap().distance;
    assert!((inside(5.0, 1.0) + 1.0).abs() < 1e-12, "within both");
    assert!((inside(5.0, 1.9) + 1.0).abs() < 1e-12, "a face inside the other plate is no surface");
    assert!((inside(1.0, 1.0) + 1.0).abs() < 1e-12);
    assert!((inside(3.0, 3.0) - 1.0).abs() < 1e-12);

    let mut hollow = cuboid([0.0; 3], [10.0; 3]);
    add(&mut hollow, cuboid([2.0; 3], [8.0; 3]), true);
    add(&mut hollow, cuboid([20.0, 0.0, 0.0], [30.0, 10.0, 10.0]), true);
    let hollow = solid(&hollow);
    let d = |x| hollow.signed(&at(x, 5.1, 5.2), f64::INFINITY).unwrap().distance;
    assert!((d(5.0) - 2.8).abs() < 1e-12, "in the cavity: {}", d(5.0));
    assert!((d(1.0) + 1.0).abs() < 1e-12);
    assert!((d(21.0) + 1.0).abs() < 1e-12, "a box that faces inward is still a box");

    let (points, mut triangles) = cuboid([0.0; 3], [1.0; 3]);
    triangles.pop();
    let open = Solid::new(&points, &triangles).unwrap_err();
    assert_eq!(open.count, 3);
}

#[test]
fn sign_of_a_needle_sharp_wedge() {
    // A wedge of 0.01 degrees: nearest places are all on the sharp edge seen from in front of it.
    let h = 100.0 * 0.01f64.to_radians().tan();
    let p = Point3::new;
    let points = vec![
        p(0.0, 0.0, 0.0),
        p(0.0, 50.0, 0.0),
        p(100.0, 0.0, h),
        p(100.0, 50.0, h),
        p(100.0, 0.0, -h),
        p(100.0, 50.0, -h),
    ];
    let t = vec![
        [0, 2, 3],
        [0, 3, 1],
        [0, 1, 5],
        [0, 5, 4],
        [2, 4, 5],
        [2, 5, 3],
        [0, 4, 2],
        [1, 3, 5],
    ];
    let s = Solid::new(&points, &t).unwrap();
    let mut random = Random(5);
    for _ in 0..20_000 {
        let q = p(random.number() * 120.0, 25.0 + random.number() * 24.0, random.number() * 0.05);
        let half = h * q.x / 100.0;
        let margin = (half - q.z.abs()).min(100.0 - q.x);
        if margin.abs() > 1e-12 {
            assert_eq!(s.contains(&q), q.x > 0.0 && margin > 0.0, "{q}");
        }
    }
}

#[test]
fn side_of_an_open_surface() {
    // A roof: two slopes meeting in a ridge along y; open all round.
    let p = Point3::new;
    let points = vec![
        p(-5.0, 0.0, 0.0),
        p(0.0, 0.0, 3.0),
        p(5.0, 0.0, 0.0),
        p(-5.0, 9.0, 0.0),
        p(0.0, 9.0, 3.0),
        p(5.0, 9.0, 0.0),
    ];
    let m = Mesh::new(points, vec![[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]]);
    let side = |q: Point3| m.is_behind(&q, &m.nearest(&q, f64::INFINITY, None).unwrap());
    assert_eq!(side(p(0.0, 4.0, 4.0)), Some(false), "over the ridge");
    assert_eq!(side(p(0.0, 4.0, 2.9)), Some(true), "under the ridge");
    assert_eq!(side(p(3.0, 4.0, 0.0)), Some(true));
    assert_eq!(side(p(9.0, 4.0, 0.0)), None, "beyond the border the side is unknown");
}

#[test]
fn rays_hit_the_first_triangle() {
    let (points, triangles) = cuboid([0.0; 3], [10.0; 3]);
    let m = Mesh::new(points, triangles);
    let along = Direction::new_normalize(Vec3::new(1.0, 0.0, 0.0));
    let hit = |p: Point3, reach| m.ray_cast(&p, &along, reach).map(|h| h.0);
    assert_eq!(hit(Point3::new(-3.0, 4.0, 5.5), 100.0), Some(3.0));
    assert_eq!(hit(Point3::new(3.0, 4.0, 5.5), 100.0), Some(7.0));
    assert_eq!(hit(Point3::new(-3.0, 4.0, 5.5), 2.0), None);
    assert_eq!(hit(Point3::new(-3.0, 14.0, 5.5), 100.0), None);
}

#[test]
fn clouds_are_meshes_of_points() {
    let s = solid(&cuboid([0.0; 3], [10.0; 3]));
    let points = vec![Point3::new(5.0, 5.0, 12.5), Point3::new(20.0, 5.0, 5.0)];
    let cloud = Mesh::new(points, vec![[0, 0, 0], [1, 1, 1]]);
    let w = s.least_distance(&cloud, f64::INFINITY).unwrap();
    assert!((w.distance - 2.5).abs() < 1e-12);
    assert_eq!(w.triangle_b, 0);
    assert!(s.least_distance(&cloud, 2.5).is_none());
}

#[test]
fn many_points_at_once_give_the_bits_of_one_thread() {
    let mut random = Random(3);
    let s = solid(&cuboid([-0.5; 3], [0.5, 0.2, 0.4]));
    let points: Vec<Point3> = (0..5000).map(|_| random.point()).collect();
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let all = pool.install(|| s.signed_all(&points, 0.3));
        all.iter().map(|h| h.map(|h| h.distance.to_bits())).collect::<Vec<_>>()
    };
    assert_eq!(on(1), on(4));
    for (p, d) in points.iter().zip(on(1)) {
        let alone = s.signed(p, 0.3).map(|h| h.distance);
        assert_eq!(d.map(f64::from_bits), alone);
    }
}
