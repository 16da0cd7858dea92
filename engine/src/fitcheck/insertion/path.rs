//! Moves of the part and how far along each it keeps its air.
//!
//! A move is a translation together with a rotation about an axis that moves along. No point of the part moves
//! farther than the translation and the angle times the farthest distance from the axis: from any place that
//! has more air than asked, the surplus over that speed is free (conservative advancement: B. Mirtich 1996,
//! Impulse-based dynamic simulation of rigid body systems). Moves without rotation are decided at once.

use super::course::Course;
use crate::primitive::{Direction, Point3, Pose, Vec3};

/// Translation while turning about an axis through a point that moves along.
#[derive(Debug, Clone, Copy)]
pub(super) struct Move {
    pub(super) shift: Vec3,
    /// Point of the axis before the move.
    pub(super) centre: Point3,
    pub(super) axis: Direction,
    pub(super) angle: f64,
}

impl Move {
    pub(super) fn straight(shift: Vec3) -> Self {
        Move { shift, centre: Point3::origin(), axis: Vec3::z_axis(), angle: 0.0 }
    }

    /// From one pose to another, turning about where a point of the part is.
    pub(super) fn between(from: &Pose, to: &Pose, point: &Point3) -> Self {
        let turn = to.rotation * from.rotation.inverse();
        let (axis, angle) = turn.axis_angle().unwrap_or((Vec3::z_axis(), 0.0));
        Move { shift: to * point - from * point, centre: from * point, axis, angle }
    }

    /// Place of the part after a share of the move, from the place before it.
    pub(super) fn at(&self, before: &Pose, share: f64) -> Pose {
        let turn = nalgebra::UnitQuaternion::from_axis_angle(&self.axis, share * self.angle);
        let about = nalgebra::Translation3::from(self.centre.coords + self.shift * share);
        let back = nalgebra::Translation3::from(-self.centre.coords);
        let moved = about * turn * back * before;
        Pose::from_parts(
            moved.translation,
            nalgebra::UnitQuaternion::new_normalize(*moved.rotation),
        )
    }

    /// The largest share found up to which the part keeps the air of the course, from a place that has it.
    pub(super) fn advance(&self, course: &Course<'_>, before: &Pose) -> f64 {
        if self.angle == 0.0 {
            return self.slide(course, before);
        }
        let inverse = before.inverse();
        let (centre, axis) = (inverse * self.centre, inverse.rotation * self.axis);
        let speed = self.shift.norm() + self.angle.abs() * course.radius_about(&centre, &axis);
        let (mut share, mut reach) = (0.0, f64::INFINITY);
        for _ in 0..STEPS {
            // More than the rest of the move can take does not matter.
            let enough = course.air + speed * (1.0 - share);
            reach = enough.min(reach);
            let near = match course.distance(&self.at(before, share), reach) {
                Some(near) => near,
                None if reach >= enough => return 1.0,
                None => reach,
            };
            let surplus = near - course.air;
            if surplus <= STALLED * course.air {
                return share;
            }
            share += surplus / speed;
            if share >= 1.0 {
                return 1.0;
            }
            // No farther away at the next place than by what the part moves until there.
            reach = (near + surplus) * (1.0 + ROUNDING);
        }
        share
    }

    /// Without rotation: all of it, or as much as halving finds.
    fn slide(&self, course: &Course<'_>, before: &Pose) -> f64 {
        let free = |share: f64| course.is_free(before, &(self.shift * share));
        if free(1.0) {
            return 1.0;
        }
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if free(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    }
}

/// Most steps of one move: what slides along something closely is given up there.
const STEPS: usize = 500;
/// Surplus of air, over the air, at which a move has come to something.
const STALLED: f64 = 0.02;
const HALVINGS: usize = 14;
/// Relative, on what a distance can be at most.
const ROUNDING: f64 = 1e-9;
