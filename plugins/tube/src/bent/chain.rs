//! A bent tube as a chain: straight, bend, straight … each tangent to the one before, one diameter; distance
//! of a point and its derivatives by every freedom of the chain.
//!
//! Unknowns are those of the bend table, so bends of 5 or of 180 degrees are as good as any (corners where
//! straights meet would run away). What a freedom does to a part behind it is a rigid motion: each part
//! gathers normal equations in its own motion, radius and tube radius, and these are carried to
//! the chain's freedoms once a pass. The distance is to the centre line; the ends are open.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

use super::part::{Line, Part};
use crate::V3;
use crate::bends::{Bend, BendTable, about};
use crate::gauss::{Loss, Model, Normal};
use crate::round::across;

/// A bent tube's surface. The first bend's rotation is 0: its plane is `normal`'s.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Chain {
    /// Start of the centre line.
    pub(crate) start: V3,
    /// Direction of the first straight.
    pub(crate) direction: V3,
    /// Normal of the first bend.
    pub(crate) normal: V3,
    pub(crate) table: BendTable,
    /// Radius of the tube.
    pub(crate) radius: f64,
    /// Whether all bends have one radius.
    pub(crate) common: bool,
}

/// Freedoms of a part: shift, turn, its radius, the tube's radius.
const LOCAL: usize = 8;
/// Freedoms before the bends: shift and tilt of the start.
const FIRST: usize = 4;

impl Chain {
    /// Parts in order: straights at even places.
    pub(crate) fn parts(&self) -> Vec<Part> {
        let (mut at, mut u, mut n) = (self.start, self.direction, self.normal);
        let mut out = Vec::new();
        for bend in &self.table.bends {
            out.push(Part::Straight { from: at, along: u, length: bend.feed });
            at += u * bend.feed;
            n = about(&u, bend.rotation) * n;
            let m = n.cross(&u);
            let centre = at + m * bend.radius;
            let (radius, angle) = (bend.radius, bend.angle);
            out.push(Part::Arc { from: at, along: u, normal: n, centre, radius, angle });
            let turn = about(&n, angle);
            at = centre - (turn * m) * radius;
            u = (turn * u).normalize();
            n = (n - u * u.dot(&n)).normalize();
        }
        out.push(Part::Straight { from: at, along: u, length: self.table.last });
        out
    }

    /// Place in the unknowns of bend `i`'s feed, rotation, angle, radius. The first rotation turns the plane.
    pub(crate) fn place(&self, i: usize, which: usize) -> usize {
        if self.common {
            let radius = FIRST + 3 * self.table.bends.len();
            if which == 3 { radius } else { FIRST + 3 * i + which }
        } else {
            FIRST + 4 * i + which
        }
    }

    /// For each part what each unknown does to it: rigid motion about the origin, and its own radius.
    fn motions(&self, parts: &[Part]) -> Vec<DMatrix<f64>> {
        let size = self.unknowns();
        let mut now = DMatrix::zeros(LOCAL, size);
        let (e, f) = across(&self.direction);
        shift(&mut now, 0, &e);
        shift(&mut now, 1, &f);
        turn(&mut now, 2, &e, &self.start);
        turn(&mut now, 3, &f, &self.start);
        now[(7, size - 1)] = 1.0;
        let mut out = Vec::new();
        for (k, part) in parts.iter().enumerate() {
            let i = k / 2;
            match *part {
                Part::Straight { along, .. } => {
                    out.push(now.clone());
                    if i < self.table.bends.len() {
                        shift(&mut now, self.place(i, 0), &along);
                    }
                }
                Part::Arc { from, along, normal, centre, radius, angle } => {
                    turn(&mut now, self.place(i, 1), &along, &from);
                    let mut own = now.clone();
                    own[(6, self.place(i, 3))] = 1.0;
                    out.push(own);
                    let m = (centre - from) / radius;
                    let (sin, cos) = angle.sin_cos();
                    shift(&mut now, self.place(i, 3), &(m * (1.0 - cos) + along * sin));
                    turn(&mut now, self.place(i, 2), &normal, &centre);
                }
            }
        }
        out
    }
}

fn shift(motion: &mut DMatrix<f64>, column: usize, by: &V3) {
    (0..3).for_each(|k| motion[(k, column)] += by[k]);
}

/// Turn about an axis through a place, as a motion about the origin.
fn turn(motion: &mut DMatrix<f64>, column: usize, axis: &V3, place: &V3) {
    let v = place.cross(axis);
    for k in 0..3 {
        motion[(k, column)] += v[k];
        motion[(3 + k, column)] += axis[k];
    }
}

impl Model for Chain {
    fn unknowns(&self) -> usize {
        let bends = self.table.bends.len();
        let radii = if self.common { bends.min(1) } else { bends };
        FIRST + 3 * bends + radii + 1
    }

    fn distance(&self, p: &V3) -> f64 {
        self.distances(std::slice::from_ref(p))[0]
    }

    fn distances(&self, points: &[V3]) -> Vec<f64> {
        let line = Line::new(self);
        points.iter().map(|p| line.nearest(p).squared.sqrt() - self.radius).collect()
    }

    fn gather(&self, points: &[V3], loss: Loss, into: &mut Normal) {
        let line = Line::new(self);
        let zero = (SMatrix::<f64, LOCAL, LOCAL>::zeros(), SVector::<f64, LOCAL>::zeros());
        let mut gathered = vec![zero; line.parts.len()];
        for p in points {
            let near = line.nearest(p);
            let away = near.squared.sqrt();
            let residual = away - self.radius;
            let (cost, weight) = loss.of(residual);
            into.cost += cost;
            if weight == 0.0 || away == 0.0 {
                continue;
            }
            let g = (p - near.foot) / away;
            let turn = p.cross(&g);
            let own = -g.dot(&line.parts[near.part].by_radius(&near.foot));
            let row = SVector::from([-g.x, -g.y, -g.z, -turn.x, -turn.y, -turn.z, own, -1.0]);
            let (matrix, gradient) = &mut gathered[near.part];
            *gradient += row * (weight * residual);
            matrix.ger(weight, &row, &row, 1.0);
        }
        for (motion, (matrix, gradient)) in self.motions(&line.parts).iter().zip(gathered) {
            into.matrix += motion.transpose() * matrix * motion;
            into.gradient += motion.transpose() * DVector::from_column_slice(gradient.as_slice());
        }
    }

    fn stepped(&self, step: &[f64]) -> Option<Self> {
        let (e, f) = across(&self.direction);
        let tilt = e * step[2] + f * step[3];
        let rotation = nalgebra::UnitQuaternion::from_scaled_axis(tilt);
        let direction = (rotation * self.direction).normalize();
        let mut bends = self.table.bends.clone();
        for (i, bend) in bends.iter_mut().enumerate() {
            bend.feed += step[self.place(i, 0)];
            bend.rotation += step[self.place(i, 1)];
            bend.angle += step[self.place(i, 2)];
            bend.radius += step[self.place(i, 3)];
        }
        let roll = bends.first().map_or(0.0, |b| b.rotation);
        if let Some(first) = bends.first_mut() {
            first.rotation = 0.0;
        }
        let normal = about(&direction, roll) * (rotation * self.normal);
        let normal = (normal - direction * direction.dot(&normal)).normalize();
        let radius = self.radius + step[step.len() - 1];
        let sound = |b: &Bend| b.radius > 0.2 * radius && b.angle > 1e-3 && b.angle < 6.0;
        let moved = Chain {
            start: self.start + e * step[0] + f * step[1],
            direction,
            normal,
            table: BendTable { bends, last: self.table.last },
            radius,
            common: self.common,
        };
        (radius > 0.0 && tilt.norm() < 0.5 && moved.table.bends.iter().all(sound)).then_some(moved)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The derivatives of the cost against differences of it.
    #[test]
    fn gradient_is_that_of_the_cost() {
        for common in [false, true] {
            let bend = |feed, rotation, angle, radius| Bend { feed, rotation, angle, radius };
            let radius = if common { 40.0 } else { 55.0 };
            let bends = vec![
                bend(60.0, 0.0, 1.2, 40.0),
                bend(50.0, 0.7, 0.3, radius),
                bend(70.0, -2.0, 2.0, 40.0),
            ];
            let chain = Chain {
                start: V3::new(3.0, -4.0, 5.0),
                direction: V3::new(0.6, 0.0, 0.8),
                normal: V3::new(0.0, 1.0, 0.0),
                table: BendTable { bends, last: 60.0 },
                radius: 10.0,
                common,
            };
            let points: Vec<V3> = chain
                .parts()
                .iter()
                .enumerate()
                .flat_map(|(k, part)| {
                    let place = move |t: f64| match *part {
                        Part::Straight { from, along, length } => from + along * (t * length),
                        Part::Arc { .. } => {
                            part.span().nearest(&V3::new(40.0 * t, 30.0, -20.0 * t), (false, false))
                        }
                    };
                    (1..20).map(move |i| {
                        let t = f64::from(i) / 20.0;
                        let off =
                            V3::new((7.0 * t).sin(), (9.0 * t + k as f64).cos(), (5.0 * t).cos());
                        place(t) + off * 9.0
                    })
                })
                .collect();
            let loss = Loss::Cut(1e6);
            let normal = |c: &Chain| {
                let mut normal = Normal::new(c.unknowns());
                c.gather(&points, loss, &mut normal);
                normal
            };
            let here = normal(&chain);
            for k in 0..chain.unknowns() {
                let moved = |x: f64| {
                    let mut step = vec![0.0; chain.unknowns()];
                    step[k] = x;
                    normal(&chain.stepped(&step).expect("a small step")).cost
                };
                let h = 1e-6;
                let numeric = (moved(h) - moved(-h)) / (2.0 * h);
                let off = (numeric - here.gradient[k]).abs();
                let scale = here.matrix[(k, k)].sqrt() * here.cost.sqrt();
                assert!(off < 1e-5 * scale, "unknown {k}: {numeric} and {}", here.gradient[k]);
            }
        }
    }
}
