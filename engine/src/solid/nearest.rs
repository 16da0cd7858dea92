//! Nearest point of a mesh to a point, and its side.
//!
//! Depth-first descent into the nearer box first. The side of an open surface comes from the angle
//! weighted normals of its edges and corners, which is exact away from the border (J. A. Bærentzen,
//! H. Aanæs 2005, Signed distance computation using the angle weighted pseudonormal).

use super::Mesh;
use super::triangle::{Corners, Place, nearest_on_triangle};
use super::wide::{Held, Rounded};
use crate::primitive::{Point3, Vec3};

/// Nearest place of a mesh.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hit {
    /// The place, mm.
    pub(crate) point: Point3,
    /// Its distance, mm, never negative.
    pub(crate) distance: f64,
    /// Triangle it lies on.
    pub(crate) triangle: u32,
    /// Where on the triangle.
    pub(crate) place: Place,
}

/// Boxes that are still to be asked, with lower bounds of their squared distance (mm²).
pub(super) type Open = Vec<(f32, Held)>;

/// The nearest place so far.
struct Best {
    /// Its squared distance, mm².
    squared: f64,
    /// The way from it to the point that is asked for, mm.
    off: Vec3,
    place: Option<(Point3, u32, Place)>,
}

/// Triangles at each corner, for the normals of edges and corners.
#[derive(Debug)]
pub(super) struct Fans {
    start: Vec<u32>,
    triangles: Vec<u32>,
}

impl Mesh {
    /// Nearest place closer than `reach` (mm); `guess` is a triangle likely near.
    pub(crate) fn nearest(&self, p: &Point3, reach: f64, guess: Option<u32>) -> Option<Hit> {
        self.nearest_by(p, reach, guess, &mut Open::with_capacity(64))
    }

    /// The same with the memory for what is open, for one question after the other.
    pub(super) fn nearest_by(
        &self,
        p: &Point3,
        reach: f64,
        guess: Option<u32>,
        stack: &mut Open,
    ) -> Option<Hit> {
        let r = p - self.bvh.middle;
        let rounded = Rounded::new(&r);
        let mut best = Best { squared: reach * reach, off: Vec3::zeros(), place: None };
        if let Some(t) = guess.filter(|&t| (t as usize) < self.triangles.len()) {
            best.improve(p, t, &self.corners(t));
        }
        let nodes = &self.bvh.wide.nodes;
        // The root is asked for in any case.
        stack.clear();
        let mut next = (!nodes.is_empty()).then_some(Held::ROOT);
        while let Some(held) = next {
            if let Some(triangles) = held.triangles() {
                for k in triangles {
                    best.improve(p, self.bvh.order[k], &self.corners_in_order(k));
                }
            } else {
                let four = &nodes[held.node()];
                let bounds = four.squared_distances(&rounded);
                let start = stack.len();
                let lanes = bounds.into_iter().zip(four.held);
                stack.extend(lanes.filter(|lane| f64::from(lane.0) < best.squared));
                // The nearest last, to be asked first; four at most.
                let own = &mut stack[start..];
                for i in 1..own.len() {
                    for j in (1..=i).rev() {
                        if own[j - 1].0 < own[j].0 {
                            own.swap(j - 1, j);
                        }
                    }
                }
            }
            next = loop {
                match stack.pop() {
                    Some((bound, held)) if f64::from(bound) < best.squared => break Some(held),
                    Some(_) => {}
                    None => break None,
                }
            };
        }
        let (point, triangle, place) = best.place?;
        Some(Hit { point, distance: best.squared.sqrt(), triangle, place })
    }

    /// Whether a point lies behind the surface at its nearest place; `None` at a border or where the
    /// normals leave it open.
    pub(crate) fn is_behind(&self, p: &Point3, hit: &Hit) -> Option<bool> {
        let s = self.along_normal(hit, &(p - hit.point))?;
        (s != 0.0).then_some(s < 0.0)
    }

    /// A vector's length along the unnormalised normal of the face, edge or corner of a hit; at a corner whose faces all
    /// agree only the sign counts. `None` on a border.
    fn along_normal(&self, hit: &Hit, off: &Vec3) -> Option<f64> {
        let t = self.triangles[hit.triangle as usize];
        match hit.place {
            Place::Face => Some(self.face_normal(hit.triangle).dot(off)),
            Place::Edge(e) => {
                let (a, b) = (t[e as usize], t[(e as usize + 1) % 3]);
                let both: Vec<u32> =
                    self.fan(a).filter(|&f| self.triangles[f as usize].contains(&b)).collect();
                let sum: Vec3 = both.iter().map(|&f| unit_or_zero(self.face_normal(f))).sum();
                (both.len() == 2).then_some(sum.dot(off))
            }
            Place::Corner(c) => self.along_corner(t[c as usize], off),
        }
    }

    fn along_corner(&self, v: u32, off: &Vec3) -> Option<f64> {
        // How often the fan's rim is left and reached at each neighbour; few, so a list will do.
        let mut rim: Vec<(u32, i32)> = Vec::with_capacity(16);
        let mut count = |v: u32, by: i32| match rim.iter_mut().find(|r| r.0 == v) {
            Some(r) => r.1 += by,
            None => rim.push((v, by)),
        };
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for f in self.fan(v) {
            let (next, last, a, b) = self.spokes(f, v)?;
            count(next, 1);
            count(last, -1);
            let along = a.cross(&b).dot(off);
            (low, high) = (low.min(along), high.max(along));
        }
        if rim.iter().any(|r| r.1 != 0) {
            return None;
        }
        // Angles are positive weights: where all faces agree they change no sign.
        if low > 0.0 || high < 0.0 {
            return Some(low);
        }
        let mut sum = Vec3::zeros();
        for f in self.fan(v) {
            let (_, _, a, b) = self.spokes(f, v)?;
            let normal = a.cross(&b);
            let double = normal.norm();
            if double > 0.0 {
                sum += normal * (double.atan2(a.dot(&b)) / double);
            }
        }
        Some(sum.dot(off))
    }

    /// The other corners of a triangle at a corner, the next one first, and the ways to them.
    fn spokes(&self, triangle: u32, v: u32) -> Option<(u32, u32, Vec3, Vec3)> {
        let t = self.triangles[triangle as usize];
        let k = t.iter().position(|&i| i == v)?;
        let (next, last) = (t[(k + 1) % 3], t[(k + 2) % 3]);
        let at = self.points[v as usize];
        Some((next, last, self.points[next as usize] - at, self.points[last as usize] - at))
    }

    fn fan(&self, v: u32) -> impl Iterator<Item = u32> + '_ {
        let fans = self.fans.get_or_init(|| Fans::new(self.points.len(), &self.triangles));
        let range = fans.start[v as usize] as usize..fans.start[v as usize + 1] as usize;
        fans.triangles[range].iter().copied()
    }

    fn face_normal(&self, t: u32) -> Vec3 {
        let [a, b, c] = self.corners(t);
        (b - a).cross(&(c - a))
    }
}

impl Fans {
    fn new(points: usize, triangles: &[[u32; 3]]) -> Self {
        let mut start = vec![0u32; points + 1];
        for &v in triangles.iter().flatten() {
            start[v as usize + 1] += 1;
        }
        for i in 0..points {
            start[i + 1] += start[i];
        }
        let mut next = start.clone();
        let mut list = vec![0u32; 3 * triangles.len()];
        for (id, t) in triangles.iter().enumerate() {
            for &v in t {
                list[next[v as usize] as usize] = id as u32;
                next[v as usize] += 1;
            }
        }
        Fans { start, triangles: list }
    }
}

impl Best {
    #[inline]
    fn improve(&mut self, p: &Point3, t: u32, corners: &Corners) {
        // Behind the plane across the way to the nearest place so far nothing is nearer: most triangles are.
        if let Some((q, ..)) = &self.place
            && corners.iter().all(|v| self.off.dot(&(q - v)) >= 0.0)
        {
            return;
        }
        let (q, place) = nearest_on_triangle(p, corners);
        let off = p - q;
        let squared = off.norm_squared();
        if squared < self.squared {
            *self = Best { squared, off, place: Some((q, t, place)) };
        }
    }
}

fn unit_or_zero(v: Vec3) -> Vec3 {
    v.try_normalize(0.0).unwrap_or_else(Vec3::zeros)
}
