//! Plates with round holes as closed triangle shells, and parts welded together from them.
//!
//! Method: constrained Delaunay triangulation of outline and holes (library `spade`), extruded.

use std::collections::HashSet;
use std::f64::consts::TAU;

use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};

use crate::error::{Error, Result};
use crate::primitive::{Line, Point3, Pose};

/// Triangle mesh, counter-clockwise seen from outside, mm.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TriangleMesh {
    /// Corners, mm.
    pub points: Vec<Point3>,
    /// Triangles as corner ids.
    pub triangles: Vec<[u32; 3]>,
}

/// Plate in the local x-y plane.
#[derive(Debug, Clone)]
pub struct Plate {
    /// Place of the plate.
    pub machine_from_local: Pose,
    /// Corners, counter-clockwise about local z.
    pub outline: Vec<[f64; 2]>,
    /// Round holes: centre and radius; they may touch neither each other nor the outline.
    pub holes: Vec<([f64; 2], f64)>,
    /// Lower and upper end along local z.
    pub z: (f64, f64),
}

impl TriangleMesh {
    /// Adds another shell; nothing is welded.
    pub fn append(&mut self, other: &TriangleMesh) {
        let base = self.points.len() as u32;
        self.points.extend_from_slice(&other.points);
        self.triangles.extend(other.triangles.iter().map(|t| t.map(|i| i + base)));
    }

    /// Least distance of the mesh from a line that does not pierce it, mm, and the point of the
    /// mesh where it is.
    ///
    /// The distance from a line is convex, so it is least on an edge of some triangle.
    #[must_use]
    pub fn nearest_to_line(&self, line: &Line) -> (f64, Point3) {
        let corner = |i: u32| self.points[i as usize];
        let edges = self.triangles.iter().flat_map(|&[a, b, c]| [(a, b), (b, c), (c, a)]);
        edges
            .map(|(a, b)| nearest_on_segment(line, &corner(a), &corner(b)))
            .min_by(|p, q| p.0.total_cmp(&q.0))
            .unwrap_or((f64::INFINITY, line.point))
    }
}

impl Plate {
    /// Closed shell of the plate; holes are regular polygons on their circle, within `chord` mm of it.
    ///
    /// # Errors
    /// [`Error::Construction`] if outline or holes cross, touch or repeat a point.
    pub fn mesh(&self, chord: f64) -> Result<TriangleMesh> {
        let mut loops = vec![self.outline.clone()];
        loops.extend(self.holes.iter().map(|(c, r)| circle(*c, *r, chord)));
        let flat: Vec<[f64; 2]> = loops.iter().flatten().copied().collect();
        let caps = self.caps(&flat, &loops)?;
        let n = flat.len() as u32;
        let level =
            |z: f64| flat.iter().map(move |c| self.machine_from_local * Point3::new(c[0], c[1], z));
        let points = level(self.z.0).chain(level(self.z.1)).collect();
        let mut triangles = Vec::new();
        for [a, b, c] in caps {
            triangles.extend([[a, c, b], [a + n, b + n, c + n]]);
        }
        for (a, b) in directed_edges(&loops) {
            triangles.extend([[a, b, b + n], [a, b + n, a + n]]);
        }
        Ok(TriangleMesh { points, triangles })
    }

    /// Triangles of the plate's face, counter-clockwise about local z.
    fn caps(&self, flat: &[[f64; 2]], loops: &[Vec<[f64; 2]>]) -> Result<Vec<[u32; 3]>> {
        let wrong =
            |reason: &str| Error::Construction { what: "plate".into(), reason: reason.into() };
        let mut cdt = ConstrainedDelaunayTriangulation::<Point2<f64>>::new();
        let mut handles = Vec::with_capacity(flat.len());
        for c in flat {
            let handle = cdt
                .insert(Point2::new(c[0], c[1]))
                .map_err(|_| wrong("a corner is not a finite number"))?;
            handles.push(handle);
        }
        if handles.iter().collect::<HashSet<_>>().len() != flat.len() {
            return Err(wrong("two corners coincide"));
        }
        for (a, b) in directed_edges(loops) {
            let (a, b) = (handles[a as usize], handles[b as usize]);
            if !cdt.can_add_constraint(a, b) {
                return Err(wrong("outline or holes cross"));
            }
            cdt.add_constraint(a, b);
        }
        let face = |f: spade::handles::FaceHandle<'_, spade::handles::InnerTag, _, _, _, _>| {
            let centre = f.center();
            let inside = loops.iter().filter(|l| contains(l, centre.x, centre.y)).count() == 1;
            inside.then(|| f.vertices().map(|v| v.index() as u32))
        };
        Ok(cdt.inner_faces().filter_map(face).collect())
    }
}

/// Corners of a polygon with every convex corner replaced by an arc of `radius` mm.
#[must_use]
pub fn rounded(corners: &[[f64; 2]], radius: f64) -> Vec<[f64; 2]> {
    let n = corners.len();
    let mut all = Vec::new();
    for i in 0..n {
        let (p, c, q) = (corners[(i + n - 1) % n], corners[i], corners[(i + 1) % n]);
        let (a, b) = (direction(p, c), direction(c, q));
        let turn = (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1]);
        if turn <= 0.0 {
            all.push(c);
            continue;
        }
        let cut = radius * (turn / 2.0).tan();
        let centre = [c[0] - a[0] * cut - a[1] * radius, c[1] - a[1] * cut + a[0] * radius];
        let start = (-a[0]).atan2(a[1]);
        let steps = ((turn / ARC_STEP).ceil() as u32).max(1);
        for k in 0..=steps {
            let angle = start + turn * f64::from(k) / f64::from(steps);
            all.push([centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]);
        }
    }
    all
}

fn direction(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    let (x, y) = (b[0] - a[0], b[1] - a[1]);
    let length = x.hypot(y);
    [x / length, y / length]
}

/// Clockwise polygon on a circle.
fn circle(centre: [f64; 2], radius: f64, chord: f64) -> Vec<[f64; 2]> {
    let half = (1.0 - (chord / radius).min(0.5)).acos();
    let n = ((TAU / (2.0 * half)).ceil() as u32).max(64);
    let corner = |k: u32| {
        let angle = -TAU * f64::from(k) / f64::from(n);
        [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]
    };
    (0..n).map(corner).collect()
}

/// Edges of all loops in order, as ids into the loops' corners laid end to end.
fn directed_edges(loops: &[Vec<[f64; 2]>]) -> Vec<(u32, u32)> {
    let mut edges = Vec::new();
    let mut base = 0;
    for l in loops {
        let n = l.len() as u32;
        edges.extend((0..n).map(|i| (base + i, base + (i + 1) % n)));
        base += n;
    }
    edges
}

fn contains(polygon: &[[f64; 2]], x: f64, y: f64) -> bool {
    let mut inside = false;
    let mut a = polygon[polygon.len() - 1];
    for &b in polygon {
        if (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) {
            inside = !inside;
        }
        a = b;
    }
    inside
}

fn nearest_on_segment(line: &Line, a: &Point3, b: &Point3) -> (f64, Point3) {
    let across =
        |v: crate::primitive::Vec3| v - line.direction.into_inner() * line.direction.dot(&v);
    let (start, edge) = (across(a - line.point), across(b - a));
    let t = (-start.dot(&edge) / edge.norm_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    ((start + edge * t).norm(), a + (b - a) * t)
}

/// Angle between corners of a rounding, rad.
const ARC_STEP: f64 = TAU / 48.0;

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;

    fn plate() -> Plate {
        let outline = rounded(&[[0.0, 0.0], [40.0, 0.0], [40.0, 30.0], [0.0, 30.0]], 5.0);
        let holes = vec![([10.0, 10.0], 4.5), ([28.0, 18.0], 6.0)];
        Plate { machine_from_local: Pose::identity(), outline, holes, z: (2.0, 10.0) }
    }

    #[test]
    fn every_edge_runs_once_each_way() -> Result<()> {
        let mesh = plate().mesh(0.002)?;
        let mut edges: HashMap<(u32, u32), i32> = HashMap::new();
        for t in &mesh.triangles {
            for k in 0..3 {
                *edges.entry((t[k], t[(k + 1) % 3])).or_default() += 1;
            }
        }
        assert!(edges.iter().all(|((a, b), n)| *n == 1 && edges.get(&(*b, *a)) == Some(&1)));
        Ok(())
    }

    #[test]
    fn volume_is_that_of_the_polygons() -> Result<()> {
        let plate = plate();
        let mesh = plate.mesh(0.002)?;
        let volume: f64 = mesh
            .triangles
            .iter()
            .map(|t| t.map(|i| mesh.points[i as usize].coords))
            .map(|[a, b, c]| a.dot(&b.cross(&c)) / 6.0)
            .sum();
        let area = |l: &[[f64; 2]]| {
            let edge = |i: usize| (l[i], l[(i + 1) % l.len()]);
            (0..l.len()).map(edge).map(|(a, b)| (a[0] * b[1] - a[1] * b[0]) / 2.0).sum::<f64>()
        };
        let holes: f64 = plate.holes.iter().map(|(c, r)| area(&circle(*c, *r, 0.002))).sum();
        assert!((volume - 8.0 * (area(&plate.outline) + holes)).abs() < 1e-9);
        // Against the ideal discs: the polygon lacks at most the chord's strip.
        let ideal = 8.0 * std::f64::consts::PI * (4.5f64.powi(2) + 6.0f64.powi(2));
        let strip = 8.0 * TAU * (4.5 + 6.0) * 0.002;
        assert!((0.0..strip).contains(&(ideal + 8.0 * holes)));
        Ok(())
    }

    #[test]
    fn crossing_holes_are_refused() {
        let mut plate = plate();
        plate.holes.push(([14.0, 10.0], 4.5));
        assert!(matches!(plate.mesh(0.01), Err(Error::Construction { .. })));
    }
}
