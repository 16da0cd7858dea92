//! Rigid motions of some parameters, and how far they carry a point within a range of them.
//!
//! Each movement turns about an axis or shifts along a direction that stands still; the first one
//! acts first. The second derivatives of a carried point are bounded by its speeds: a later turn
//! turns the speed of an earlier movement and does not change its size.

use nalgebra::Matrix3;

use crate::primitive::{Direction, Line, Point3, Pose, Vec3};

/// Most movements composed.
pub(crate) const MOST_MOVEMENTS: usize = 4;

/// Value of each movement, rad or mm; unused ones are 0.
pub(crate) type Values = [f64; MOST_MOVEMENTS];

/// One movement between limits.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Movement {
    pub(crate) joint: Joint,
    /// Limits, rad or mm.
    pub(crate) from: f64,
    pub(crate) to: f64,
}

/// How a movement moves.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Joint {
    /// By the right hand about a line.
    Turn(Line),
    /// Along a direction.
    Shift(Direction),
}

/// Ranges of the values: middle and half width of each.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    pub(super) middle: Values,
    pub(super) half: Values,
}

/// The motion over a cell: where it carries points at its middle, and how they move from there.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub(super) rotation: Matrix3<f64>,
    shift: Vec3,
    count: usize,
    /// Axes carried by the later movements; of a shift, the direction alone counts.
    lines: [(Point3, Vec3); MOST_MOVEMENTS],
    turns: [bool; MOST_MOVEMENTS],
    half: Values,
}

/// Largest speed of what is moved under each movement, mm per rad or mm.
pub(super) type Speeds = [f64; MOST_MOVEMENTS];

impl Joint {
    fn pose(&self, value: f64) -> Pose {
        match self {
            Joint::Shift(d) => Pose::translation(d.x * value, d.y * value, d.z * value),
            Joint::Turn(line) => {
                let turn = Pose::rotation(line.direction.into_inner() * value);
                let to = nalgebra::Translation3::from(line.point.coords);
                to * turn * to.inverse()
            }
        }
    }
}

/// Where a motion has taken things at some values.
pub(crate) fn pose_at(movements: &[Movement], values: &Values) -> Pose {
    let each = movements.iter().zip(values);
    each.fold(Pose::identity(), |done, (m, &value)| m.joint.pose(value) * done)
}

impl Cell {
    /// All of the ranges.
    pub(super) fn whole(movements: &[Movement]) -> Self {
        let mut cell = Cell { middle: [0.0; MOST_MOVEMENTS], half: [0.0; MOST_MOVEMENTS] };
        for (k, m) in movements.iter().enumerate() {
            cell.middle[k] = 0.5 * (m.from + m.to);
            cell.half[k] = 0.5 * (m.to - m.from);
        }
        cell
    }

    /// One place in them.
    pub(super) fn at(values: &Values) -> Self {
        Cell { middle: *values, half: [0.0; MOST_MOVEMENTS] }
    }

    pub(super) fn is_point(&self) -> bool {
        self.half == [0.0; MOST_MOVEMENTS]
    }

    /// Both halves of one range.
    pub(super) fn split(&self, k: usize) -> [Cell; 2] {
        let side = |sign: f64| {
            let mut cell = *self;
            cell.half[k] *= 0.5;
            cell.middle[k] += sign * cell.half[k];
            cell
        };
        [side(-1.0), side(1.0)]
    }
}

impl Frame {
    pub(super) fn new(movements: &[Movement], cell: &Cell) -> Self {
        let mut pose = Pose::identity();
        let mut lines = [(Point3::origin(), Vec3::zeros()); MOST_MOVEMENTS];
        let mut turns = [false; MOST_MOVEMENTS];
        // From the last to the first, so that `pose` is what the later ones do to an axis.
        for (k, m) in movements.iter().enumerate().rev() {
            lines[k] = match &m.joint {
                Joint::Shift(d) => (Point3::origin(), pose.rotation * d.into_inner()),
                Joint::Turn(l) => (pose * l.point, pose.rotation * l.direction.into_inner()),
            };
            turns[k] = matches!(m.joint, Joint::Turn(_));
            pose *= m.joint.pose(cell.middle[k]);
        }
        Frame {
            rotation: *pose.rotation.to_rotation_matrix().matrix(),
            shift: pose.translation.vector,
            count: movements.len(),
            lines,
            turns,
            half: cell.half,
        }
    }

    /// A point carried to the cell's middle.
    #[inline]
    pub(super) fn carry(&self, p: &Point3) -> Point3 {
        Point3::from(self.rotation * p.coords + self.shift)
    }

    /// Largest speeds over the cell of what lies within `spread` of a carried point.
    #[inline]
    pub(super) fn speeds(&self, p: &Point3, spread: f64) -> Speeds {
        let mut speeds = [0.0; MOST_MOVEMENTS];
        let mut wandered = 0.0;
        for (k, speed) in speeds.iter_mut().enumerate().take(self.count) {
            *speed =
                if self.turns[k] { self.velocity(k, p).norm() + spread + wandered } else { 1.0 };
            wandered += *speed * self.half[k];
        }
        speeds
    }

    /// Velocity of a carried point under a movement at the cell's middle.
    #[inline]
    pub(super) fn velocity(&self, k: usize, p: &Point3) -> Vec3 {
        let (point, direction) = &self.lines[k];
        if self.turns[k] { direction.cross(&(p - point)) } else { *direction }
    }

    /// How far points of these speeds get from where they are at the cell's middle, mm.
    #[inline]
    pub(super) fn reach(&self, speeds: &Speeds) -> f64 {
        let each = |k: usize| {
            let far = speeds[k] * self.half[k];
            // A turn takes nothing farther than across the circle.
            if self.turns[k] { far.min(2.0 * speeds[k]) } else { far }
        };
        (0..self.count).map(each).sum()
    }

    /// How far points of these speeds get from where their velocities at the middle alone would take
    /// them, mm.
    #[inline]
    pub(super) fn bend(&self, speeds: &Speeds) -> f64 {
        let mut sum = 0.0;
        for later in (0..self.count).filter(|&k| self.turns[k]) {
            let earlier: f64 = (0..later).map(|k| speeds[k] * self.half[k]).sum();
            sum += self.half[later] * (earlier + 0.5 * speeds[later] * self.half[later]);
        }
        sum
    }

    /// How far a point's velocities take it along each coordinate, the turning of what lies within
    /// `spread` of it included, mm.
    #[inline]
    pub(super) fn drift(&self, p: &Point3, spread: f64) -> Vec3 {
        let mut sum = Vec3::zeros();
        for k in (0..self.count).filter(|&k| self.half[k] > 0.0) {
            sum += self.velocity(k, p).abs() * self.half[k];
            if self.turns[k] {
                sum.add_scalar_mut(spread * self.half[k]);
            }
        }
        sum
    }

    /// How far a point's velocities take it along a direction, mm.
    #[inline]
    pub(super) fn drift_along(&self, p: &Point3, along: &Vec3) -> f64 {
        (0..self.count).map(|k| self.velocity(k, p).dot(along).abs() * self.half[k]).sum()
    }

    /// Movement that moves such points most over the cell, and by how much, mm; `None` for a cell
    /// of no width.
    #[inline]
    pub(super) fn widest(&self, speeds: &Speeds) -> Option<(usize, f64)> {
        let far = |k: usize| (k, 2.0 * speeds[k] * self.half[k]);
        (0..self.count)
            .map(far)
            .filter(|w| w.1 > 0.0)
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
    }
}
