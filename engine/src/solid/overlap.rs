//! Two solids in one another: how deep a piece of surface lies inside, and what of a line lies inside.

use super::sign;
use super::triangle::{Corners, nearest_on_triangle};
use super::{Body, Solid};
use crate::primitive::Point3;

/// How deep a triangle lies in a solid.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Depth {
    /// Depth of its middle, mm; not above zero outside.
    pub(crate) depth: f64,
    /// Its middle.
    pub(crate) at: Point3,
    /// Nearest place of the solid's surface to that.
    pub(crate) on_surface: Point3,
    /// No point of it lies deeper, mm; not above zero if all of it lies outside.
    pub(crate) most: f64,
}

impl Solid {
    /// Depth of a triangle in the solid, and a bound of it.
    ///
    /// A point lies no deeper than its distance from any one triangle of the surface, and the distance from a
    /// triangle is a convex function: it is largest at a corner. `None` only for an empty solid.
    pub(crate) fn depth_of(&self, t: &Corners) -> Option<Depth> {
        let of = |b: &Body| b.depth_of(t);
        let deeper = |a: Depth, b: Depth| {
            let first = a.depth >= b.depth;
            Depth { most: a.most.max(b.most), ..if first { a } else { b } }
        };
        self.bodies.iter().filter_map(of).reduce(deeper)
    }

    /// What of the line along x through a place of the y-z plane lies inside: ascending ranges of x, mm.
    pub(crate) fn along_x(&self, y: f64, z: f64) -> Vec<[f64; 2]> {
        let mut all: Vec<[f64; 2]> = self.bodies.iter().flat_map(|b| b.along_x(y, z)).collect();
        if self.bodies.len() < 2 {
            return all;
        }
        all.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let mut joined: Vec<[f64; 2]> = Vec::new();
        for range in all {
            match joined.last_mut() {
                Some(last) if range[0] <= last[1] => last[1] = last[1].max(range[1]),
                _ => joined.push(range),
            }
        }
        joined
    }
}

impl Body {
    fn depth_of(&self, t: &Corners) -> Option<Depth> {
        let at = Point3::from((t[0].coords + t[1].coords + t[2].coords) / 3.0);
        let radius = t.iter().map(|p| (p - at).norm()).fold(0.0, f64::max);
        let hit = self.mesh.nearest(&at, f64::INFINITY, None)?;
        let inside = self.contains(&at);
        let depth = if inside { hit.distance } else { -hit.distance };
        let most = if !inside && hit.distance > radius {
            0.0
        } else {
            let near = self.mesh.corners(hit.triangle);
            let off = |p: &Point3| (nearest_on_triangle(p, &near).0 - p).norm();
            t.iter().map(off).fold(0.0, f64::max)
        };
        Some(Depth { depth, at, on_surface: hit.point, most })
    }

    fn along_x(&self, y: f64, z: f64) -> Vec<[f64; 2]> {
        let (mut count, mut start, mut ranges) = (0, None, Vec::new());
        for (x, leaves) in sign::crossings(&self.mesh, y, z) {
            count -= leaves;
            let inside = if self.inverted { count < 0 } else { count > 0 };
            match (inside, start) {
                (true, None) => start = Some(x),
                (false, Some(from)) => {
                    ranges.push([from, x]);
                    start = None;
                }
                _ => {}
            }
        }
        ranges
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solid::tests::cuboid;

    /// A cube with a cubic cavity, and one beside it that overlaps: the line through all of them.
    #[test]
    fn a_line_is_inside_where_any_shell_is() {
        let (mut points, mut triangles) = cuboid([0.0; 3], [10.0; 3]);
        for (low, high, inward) in
            [([4.0; 3], [6.0; 3], true), ([9.0, 0.0, 0.0], [15.0, 10.0, 10.0], false)]
        {
            let (p, t) = cuboid(low, high);
            let base = points.len() as u32;
            points.extend(p);
            let turned = |[a, b, c]: [u32; 3]| if inward { [a, c, b] } else { [a, b, c] };
            triangles.extend(t.into_iter().map(|t| turned(t).map(|i| i + base)));
        }
        let solid = Solid::new(&points, &triangles).expect("closed");
        assert_eq!(solid.along_x(5.0, 5.0), [[0.0, 4.0], [6.0, 15.0]]);
        // Along the diagonals of the faces and through their corners, every line still comes out again.
        assert_eq!(solid.along_x(1.0, 1.0), [[0.0, 15.0]]);
        assert!(solid.along_x(11.0, 5.0).is_empty());
    }

    #[test]
    fn a_plateau_is_bounded_by_its_own_depth() {
        let (points, triangles) = cuboid([0.0; 3], [100.0, 100.0, 10.0]);
        let solid = Solid::new(&points, &triangles).expect("closed");
        let flat = [[30.0, 30.0, 9.0], [70.0, 30.0, 9.0], [50.0, 60.0, 9.0]].map(Point3::from);
        let found = solid.depth_of(&flat).expect("a solid");
        assert!((found.depth - 1.0).abs() < 1e-12);
        // The nearest triangle is one half of the face: the bound may be larger by what lies beyond it.
        assert!(found.most >= 1.0 && found.most < 30.0);
        let outside = flat.map(|p| p + crate::primitive::Vec3::z() * 100.0);
        assert!(solid.depth_of(&outside).expect("a solid").most <= 0.0);
    }
}
