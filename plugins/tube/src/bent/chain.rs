//! A bent tube as a chain: straight, bend, straight … each tangent to the one before, one diameter; distance
//! of a point and its derivatives by every freedom of the chain.
//!
//! Unknowns are those of the bend table, so bends of 5 or of 180 degrees are as good as any (corners where
//! straights meet would run away). What a freedom does to a part behind it is a rigid motion: each part
//! gathers normal equations in its own motion, radius and tube radius, and these are carried to
//! the chain's freedoms once a pass. The distance is to the centre line; the ends are open.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

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

/// A straight or a bend in its place.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Part {
    /// From a place along a direction for a length.
    Straight { from: V3, along: V3, length: f64 },
    /// From a place, starting along `along`, about the axis `normal` through `centre`.
    Arc { from: V3, along: V3, normal: V3, centre: V3, radius: f64, angle: f64 },
}

/// A part with what each question needs.
#[derive(Debug, Clone, Copy)]
enum Span {
    Straight {
        from: V3,
        along: V3,
        length: f64,
    },
    /// Arms from the centre to the middle of the bend and along it there, half the angle.
    Arc {
        centre: V3,
        out: V3,
        on: V3,
        sin: f64,
        cos: f64,
    },
}

/// The nearest place of the centre line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Nearest {
    pub(crate) part: usize,
    /// Place.
    pub(crate) foot: V3,
    /// Squared distance.
    pub(crate) squared: f64,
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

    /// Longer or shorter at its start and end.
    pub(crate) fn trimmed(&self, start: f64, end: f64) -> Self {
        let mut out = self.clone();
        out.start += self.direction * start;
        match out.table.bends.first_mut() {
            Some(bend) => bend.feed -= start,
            None => out.table.last -= start,
        }
        out.table.last += end;
        out
    }

    /// Bends `i - 1` and `i` as one, if they lie in one plane with little between them.
    pub(crate) fn joined(&self, i: usize) -> Option<Self> {
        let mut out = self.clone();
        let second = out.table.bends.remove(i);
        let first = &mut out.table.bends[i - 1];
        let near = second.feed < 6.0 * self.radius && second.rotation.cos() > 0.94;
        let angle = first.angle + second.angle;
        let length = first.radius * first.angle + second.feed + second.radius * second.angle;
        let radius = if self.common { first.radius } else { length / angle };
        // The same corner, so that the straights before and after stay where they are.
        let set_back = |b: &Bend| b.radius * (0.5 * b.angle).tan();
        let between = set_back(first) + second.feed + set_back(&second);
        let before = between * second.angle.sin() / angle.sin();
        let after = between * first.angle.sin() / angle.sin();
        let new = radius * (0.5 * angle).tan();
        first.feed += set_back(first) + before - new;
        (first.angle, first.radius) = (angle, radius);
        let change = set_back(&second) + after - new;
        match out.table.bends.get_mut(i) {
            Some(next) => next.feed += change,
            None => out.table.last += change,
        }
        (near && angle < 2.6).then_some(out)
    }

    /// The same tube without bend `i`, which hardly turns.
    pub(crate) fn without(&self, i: usize) -> Self {
        let mut out = self.clone();
        let gone = out.table.bends.remove(i);
        let length = gone.feed + gone.radius * gone.angle;
        match out.table.bends.get_mut(i) {
            Some(next) => {
                next.feed += length;
                next.rotation += gone.rotation;
                if i == 0 {
                    out.normal = about(&out.direction, next.rotation) * out.normal;
                    next.rotation = 0.0;
                }
            }
            None => out.table.last += length,
        }
        out
    }

    /// The same tube without its last bend.
    pub(crate) fn popped(&self) -> Self {
        let mut out = self.clone();
        if let Some(gone) = out.table.bends.pop() {
            out.table.last += gone.feed + gone.radius * gone.angle;
        }
        out
    }

    /// The same tube from its other end.
    pub(crate) fn reversed(&self) -> Self {
        let parts = self.parts();
        let mut out = self.clone();
        if let Some(Part::Straight { from, along, length }) = parts.last() {
            (out.start, out.direction) = (from + along * *length, -along);
        }
        if let Some(Part::Arc { normal, .. }) = parts.iter().rev().nth(1) {
            out.normal = -normal;
        }
        let bends = &self.table.bends;
        let mut feed = self.table.last;
        out.table.bends.clear();
        for (i, bend) in bends.iter().enumerate().rev() {
            let rotation = bends.get(i + 1).map_or(0.0, |next| next.rotation);
            out.table.bends.push(Bend { feed, rotation, ..*bend });
            feed = bend.feed;
        }
        out.table.last = feed;
        out
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

impl Part {
    /// Directions from the centre of a bend to its middle, and along it there.
    fn middle(from: &V3, along: &V3, centre: &V3, radius: f64, angle: f64) -> (V3, V3) {
        let m = (centre - from) / radius;
        let (sin, cos) = (0.5 * angle).sin_cos();
        (along * sin - m * cos, along * cos + m * sin)
    }

    /// Ready for many questions.
    fn span(&self) -> Span {
        match *self {
            Part::Straight { from, along, length } => Span::Straight { from, along, length },
            Part::Arc { from, along, centre, radius, angle, .. } => {
                // Counted from the middle of the bend, so that the jump lies opposite.
                let (out, on) = Self::middle(&from, &along, &centre, radius, angle);
                let (sin, cos) = (0.5 * angle).sin_cos();
                Span::Arc { centre, out: out * radius, on: on * radius, sin, cos }
            }
        }
    }

    /// Length along a straight or angle along a bend of a place on it.
    fn at(&self, foot: &V3) -> f64 {
        match *self {
            Part::Straight { from, along, .. } => along.dot(&(foot - from)),
            Part::Arc { from, along, centre, radius, angle, .. } => {
                let (out, on) = Self::middle(&from, &along, &centre, radius, angle);
                let d = foot - centre;
                on.dot(&d).atan2(out.dot(&d)) + 0.5 * angle
            }
        }
    }

    /// A ball that holds the part.
    fn ball(&self) -> (V3, f64) {
        match *self {
            Part::Straight { from, along, length } => {
                (from + along * (0.5 * length), 0.5 * length.abs())
            }
            Part::Arc { from, along, centre, radius, angle, .. } => {
                let half = 0.5 * angle;
                let m = (centre - from) / radius;
                let top = centre + (along * half.sin() - m * half.cos()) * radius;
                (top, 2.0 * radius * (0.5 * half).sin())
            }
        }
    }

    /// What the part's own radius does to a place on it: it moves away from the start of the bend.
    fn by_radius(&self, foot: &V3) -> V3 {
        match *self {
            Part::Straight { .. } => V3::zeros(),
            Part::Arc { from, radius, .. } => (foot - from) / radius,
        }
    }
}

impl Span {
    /// Nearest place of the part; `open` lets a straight go on before its start or beyond its end.
    #[inline]
    fn nearest(&self, p: &V3, open: (bool, bool)) -> V3 {
        match *self {
            Span::Straight { from, along, length } => {
                let mut s = along.dot(&(p - from));
                if s < 0.0 && !open.0 {
                    s = 0.0;
                }
                if s > length && !open.1 {
                    s = length.max(0.0);
                }
                from + along * s
            }
            Span::Arc { centre, out, on, sin, cos } => {
                let d = p - centre;
                let (c, s) = (out.dot(&d), on.dot(&d));
                let away = (c * c + s * s).sqrt();
                if c >= cos * away && away > 0.0 {
                    centre + (out * c + on * s) / away
                } else {
                    centre + out * cos + on * sin.copysign(s)
                }
            }
        }
    }
}

/// A chain's parts, for many questions about what is nearest.
pub(crate) struct Line {
    pub(crate) parts: Vec<Part>,
    spans: Vec<Span>,
    balls: Vec<(V3, f64)>,
}

impl Line {
    pub(crate) fn new(chain: &Chain) -> Self {
        let parts = chain.parts();
        let mut balls: Vec<_> = parts.iter().map(Part::ball).collect();
        // The ends are open.
        let last = balls.len() - 1;
        (balls[0].1, balls[last].1) = (f64::INFINITY, f64::INFINITY);
        let spans = parts.iter().map(Part::span).collect();
        Line { parts, spans, balls }
    }

    /// The nearest place of all parts.
    #[inline]
    pub(crate) fn nearest(&self, p: &V3) -> Nearest {
        let last = self.parts.len() - 1;
        let mut best = Nearest { part: 0, foot: V3::zeros(), squared: f64::INFINITY };
        let mut away = f64::INFINITY;
        for (part, span) in self.spans.iter().enumerate() {
            let (centre, radius) = self.balls[part];
            if (p - centre).norm_squared() > (radius + away).powi(2) {
                continue;
            }
            let foot = span.nearest(p, (part == 0, part == last));
            let squared = (p - foot).norm_squared();
            if squared < best.squared {
                best = Nearest { part, foot, squared };
                away = squared.sqrt();
            }
        }
        best
    }

    /// Length along the straight or angle along the bend of the nearest place.
    pub(crate) fn at(&self, near: &Nearest) -> f64 {
        self.parts[near.part].at(&near.foot)
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

    #[test]
    fn reversed_is_the_same_surface() {
        let bend = |feed, rotation, angle, radius| Bend { feed, rotation, angle, radius };
        let chain = Chain {
            start: V3::new(3.0, -4.0, 5.0),
            direction: V3::new(0.6, 0.0, 0.8),
            normal: V3::new(0.0, 1.0, 0.0),
            table: BendTable {
                bends: vec![
                    bend(60.0, 0.0, 1.2, 40.0),
                    bend(50.0, 0.7, 0.3, 55.0),
                    bend(70.0, -2.0, 2.0, 30.0),
                ],
                last: 60.0,
            },
            radius: 10.0,
            common: false,
        };
        let other = chain.reversed();
        for k in 0..500 {
            let t = f64::from(k);
            let p = V3::new(
                200.0 * (0.1 * t).sin(),
                150.0 * (0.23 * t).cos(),
                200.0 * (0.31 * t).sin(),
            );
            assert!((chain.distance(&p) - other.distance(&p)).abs() < 1e-9);
        }
        assert!((other.reversed().start - chain.start).norm() < 1e-9);
    }

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
