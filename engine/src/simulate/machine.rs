//! A simulated machine: its solid and, by name, the exact ideal surfaces it consists of.

use super::solid::{Pipe, Solid};
use crate::primitive::{Cylinder, Plane, Point3, Primitive};

/// A machine in its own coordinates, mm.
#[derive(Debug, Clone)]
pub struct Machine {
    /// All of its material.
    pub solid: Solid,
    /// The surfaces that matter.
    pub surfaces: Vec<Surface>,
    /// The round holes that matter.
    pub holes: Vec<Bore>,
}

/// A named ideal surface of the machine; away from edges the solid's surface lies on it exactly.
#[derive(Debug, Clone, PartialEq)]
pub struct Surface {
    /// Name, unique in the machine.
    pub name: String,
    /// The unbounded shape, normal out of the material (a bore's cylinder points into it).
    pub shape: Primitive,
    /// Middle of the piece that exists, mm.
    pub middle: Point3,
    /// Radius about `middle` that holds the piece, mm.
    pub reach: f64,
}

/// A round hole.
#[derive(Debug, Clone, PartialEq)]
pub struct Bore {
    /// Name, unique among the holes.
    pub name: String,
    /// The wall; its point is where the axis meets the face, its axis points out of the material.
    pub wall: Cylinder,
    /// The face it opens in.
    pub face: Plane,
    /// Depth below the face, mm.
    pub depth: f64,
    /// Radius of the rounding of its mouth, mm.
    pub edge: f64,
}

impl Machine {
    /// Surface of a name.
    #[must_use]
    pub fn surface(&self, name: &str) -> Option<&Surface> {
        self.surfaces.iter().find(|s| s.name == name)
    }

    /// Hole of a name.
    #[must_use]
    pub fn hole(&self, name: &str) -> Option<&Bore> {
        self.holes.iter().find(|h| h.name == name)
    }
}

impl Surface {
    /// Surface with its extent.
    #[must_use]
    pub fn new(name: &str, shape: impl Into<Primitive>, middle: Point3, reach: f64) -> Self {
        Surface { name: name.into(), shape: shape.into(), middle, reach }
    }

    /// Surfaces of a bent pipe, named `name 1`, `name 2`, … in order of travel; `reach` holds each.
    #[must_use]
    pub fn of_pipe(name: &str, pipe: &Pipe, reach: f64) -> Vec<Self> {
        let named = |(i, shape): (usize, Primitive)| {
            let middle = shape.point();
            Surface { name: format!("{name} {}", i + 1), shape, middle, reach }
        };
        pipe.surfaces().into_iter().enumerate().map(named).collect()
    }

    /// Whether a point of the solid's exact surface lies on this one.
    #[must_use]
    pub fn holds(&self, p: &Point3) -> bool {
        (p - self.middle).norm() <= self.reach && self.shape.distance(p).abs() <= SAME
    }
}

/// Distance from an ideal surface up to which a projected point counts as on it, mm: far above the
/// projection's error, far below any rounding.
const SAME: f64 = 1e-6;
