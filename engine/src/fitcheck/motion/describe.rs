//! What moves, and how: part of the scene.

use crate::primitive::{Line, Point3};

/// Something of the machine that moves while the part stays where it is.
#[derive(Debug, Clone)]
pub struct Motion {
    /// Name for its finding.
    pub name: String,
    /// What moves.
    pub moving: Moving,
    /// Movements, the first acting first; one to four. Their axes and directions stand still in the
    /// machine: an earlier movement does not carry them.
    pub moves: Vec<Move>,
    /// Clearance asked for, mm; `None`: that of the feature that moves, else the general one.
    pub clearance: Option<f64>,
}

/// What moves. Seats, holes that the part is bolted to and what lies beside them never do: the part
/// would move with them.
#[derive(Debug, Clone)]
pub enum Moving {
    /// The surface of a feature of the scene, by index.
    Feature(usize),
    /// Points of a scan.
    Scan {
        /// Index of the scan.
        scan: usize,
        /// Which of its points.
        within: Within,
    },
    /// Another part of the scene, by index: a door, a slide.
    OtherPart(usize),
}

/// Points of a scan by where they are at rest, machine coordinates, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Within {
    /// All of them.
    All,
    /// Those in a box.
    Box {
        /// Lower corner.
        low: Point3,
        /// Upper corner.
        high: Point3,
    },
    /// Those in a sphere.
    Sphere {
        /// Centre.
        centre: Point3,
        /// Radius.
        radius: f64,
    },
}

/// One movement between limits; 0 is where it was scanned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Move {
    /// A turn, by the right hand about the direction of the axis.
    Turn {
        /// The axis.
        about: Guide,
        /// Limits, rad.
        from: f64,
        /// The upper one.
        to: f64,
    },
    /// A shift along a direction.
    Shift {
        /// The direction.
        along: Guide,
        /// Limits, mm.
        from: f64,
        /// The upper one.
        to: f64,
    },
}

/// Axis or direction of a movement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Guide {
    /// The axis of a feature of the scene (of a plane, for a shift: its normal), by index; its
    /// uncertainty counts.
    Feature(usize),
    /// Machine coordinates, mm; taken as exact.
    Line(Line),
}

impl Within {
    /// Whether a point at rest is one of them.
    #[must_use]
    pub fn holds(&self, p: &Point3) -> bool {
        match self {
            Within::All => true,
            Within::Box { low, high } => (0..3).all(|k| low[k] <= p[k] && p[k] <= high[k]),
            Within::Sphere { centre, radius } => (p - centre).norm() <= *radius,
        }
    }
}

impl Move {
    /// Axis or direction.
    #[must_use]
    pub fn guide(&self) -> &Guide {
        match self {
            Move::Turn { about, .. } => about,
            Move::Shift { along, .. } => along,
        }
    }

    /// Limits, rad or mm.
    #[must_use]
    pub fn limits(&self) -> (f64, f64) {
        match *self {
            Move::Turn { from, to, .. } | Move::Shift { from, to, .. } => (from, to),
        }
    }
}
