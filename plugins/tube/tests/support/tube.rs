//! Bent tubes drawn from their bend table, by frames of their own (not the plug-in's).

use fitwright_tube::bends::Bend;

use super::*;

/// A bent tube in space.
#[derive(Debug, Clone)]
pub struct Tube {
    pub bends: Vec<Bend>,
    pub last: f64,
    pub diameter: f64,
    pub start: V3,
    pub turn: UnitQuaternion<f64>,
}

/// A place of the centre line: where, which way, towards the bend's centre, curvature, length from the start.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    pub at: V3,
    pub along: V3,
    pub inward: V3,
    pub curvature: f64,
    pub way: f64,
}

impl Tube {
    /// Centre line from its start, in parts: (place of its start, length).
    pub fn parts(&self) -> Vec<(Place, f64)> {
        let mut at = self.start;
        let (mut u, mut m) = (self.turn * V3::x(), self.turn * V3::y());
        let (mut way, mut out) = (0.0, Vec::new());
        for b in &self.bends {
            out.push((Place { at, along: u, inward: m, curvature: 0.0, way }, b.feed));
            at += u * b.feed;
            way += b.feed;
            let (sin, cos) = b.rotation.sin_cos();
            m = m * cos + u.cross(&m) * sin;
            out.push((
                Place { at, along: u, inward: m, curvature: 1.0 / b.radius, way },
                b.radius * b.angle,
            ));
            let (sin, cos) = b.angle.sin_cos();
            at += (u * sin + m * (1.0 - cos)) * b.radius;
            (u, m) = (u * cos + m * sin, m * cos - u * sin);
            way += b.radius * b.angle;
        }
        out.push((Place { at, along: u, inward: m, curvature: 0.0, way }, self.last));
        out
    }

    pub fn length(&self) -> f64 {
        self.parts().iter().map(|p| p.1).sum()
    }

    pub fn end(&self) -> V3 {
        let (p, length) = *self.parts().last().unwrap();
        p.at + p.along * length
    }

    /// A direction from which every part is well seen; `None` if there is none.
    pub fn view(&self, random: &mut Random) -> Option<V3> {
        let parts = self.parts();
        let worst = |v: &V3| parts.iter().map(|p| p.0.along.cross(v).norm()).fold(1.0, f64::min);
        let tried: Vec<V3> = (0..300).map(|_| random.direction()).collect();
        let best = tried.into_iter().max_by(|a, b| worst(a).total_cmp(&worst(b)))?;
        (worst(&best) > 0.6).then_some(best)
    }

    /// Whether the tube keeps away from itself.
    pub fn clear(&self) -> bool {
        let line: Vec<V3> = self
            .parts()
            .iter()
            .flat_map(|(p, length)| {
                let count = (length / 4.0) as usize;
                (0..count).map(move |i| p.moved(i as f64 * 4.0).at)
            })
            .collect();
        let apart = 2.0 * self.diameter;
        let far = (3.0 * self.diameter / 4.0 * std::f64::consts::PI) as usize;
        (0..line.len()).all(|i| line.iter().skip(i + far).all(|q| (q - line[i]).norm() > apart))
    }

    /// Points seen from a direction, but where `hidden` says so of the way along.
    pub fn scan(
        &self,
        view: &V3,
        spacing: f64,
        hidden: &dyn Fn(f64) -> bool,
        random: &mut Random,
    ) -> Scan {
        let mut scan = Scan::default();
        let r = 0.5 * self.diameter;
        for (part, length) in self.parts() {
            let most = 1.0 + r * part.curvature;
            let count = std::f64::consts::TAU * r * length * most / spacing.powi(2);
            for _ in 0..count as usize {
                let (s, t) =
                    (random.between(0.0, length), random.between(0.0, std::f64::consts::TAU));
                let p = part.moved(s);
                let n = p.inward * t.cos() + p.along.cross(&p.inward) * t.sin();
                // As many points everywhere on the surface.
                let share = (1.0 - r * part.curvature * t.cos()) / most;
                if random.unit() < share && n.dot(view) > 0.1 && !hidden(p.way) {
                    scan.add(p.at + n * r, random);
                }
            }
        }
        scan
    }
}

impl Place {
    /// Farther along the same part.
    pub fn moved(&self, s: f64) -> Place {
        let (u, m) = (self.along, self.inward);
        if self.curvature == 0.0 {
            return Place { at: self.at + u * s, way: self.way + s, ..*self };
        }
        let (sin, cos) = (s * self.curvature).sin_cos();
        Place {
            at: self.at + (u * sin + m * (1.0 - cos)) / self.curvature,
            along: u * cos + m * sin,
            inward: m * cos - u * sin,
            curvature: self.curvature,
            way: self.way + s,
        }
    }
}
