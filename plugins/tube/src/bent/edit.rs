//! Chains changed by whole bends: shorter, joined, from the other end.

use super::chain::Chain;
use super::part::Part;
use crate::bends::{Bend, about};

impl Chain {
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
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::V3;
    use crate::bends::BendTable;
    use crate::gauss::Model;

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
}
