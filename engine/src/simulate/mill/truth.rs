//! What is exactly true of the demo, in machine coordinates, and its form as `truth.json`.

use serde_json::{Map, Value, json};

use super::super::machine::Surface;
use crate::primitive::{Parameter, Point3, Pose, Value as ParameterValue};

/// Exact truth of the demo; machine coordinates, mm, rad.
#[derive(Debug, Clone)]
pub struct Truth {
    /// True pose of each scan by name.
    pub machine_from_scan: Vec<(String, Pose)>,
    /// The true surface of each feature of the job, under the feature's name.
    pub features: Vec<Surface>,
    /// Bolt holes of the part.
    pub holes: Vec<HoleTruth>,
    /// What the part runs into.
    pub interference: InterferenceTruth,
    /// Least clearances known exactly.
    pub clearances: Vec<ClearanceTruth>,
    /// Least clearances over motions.
    pub motions: Vec<MotionTruth>,
}

/// A bolt hole of the part against the machine's hole.
#[derive(Debug, Clone, PartialEq)]
pub struct HoleTruth {
    /// The machine's hole.
    pub name: String,
    /// Distance of the two axes where the part sits on the face, mm.
    pub offset: f64,
    /// Angle between the two axes, rad.
    pub angle: f64,
    /// Radius of the part's hole less the bolt's radius less the offset, mm: a bolt on the
    /// machine's axis goes in if it is positive.
    pub margin: f64,
    /// Middle of the part's hole.
    pub part_point: Point3,
}

/// A place where part and machine overlap.
#[derive(Debug, Clone, PartialEq)]
pub struct InterferenceTruth {
    /// What the part runs into.
    pub name: String,
    /// How far a point of the machine lies inside the part at most, mm.
    pub depth: f64,
    /// One such point.
    pub at: Point3,
}

/// Least distance between the part and a surface.
#[derive(Debug, Clone, PartialEq)]
pub struct ClearanceTruth {
    /// The surface.
    pub name: String,
    /// Required, mm.
    pub limit: f64,
    /// True, mm.
    pub value: f64,
    /// Point of the part where it is least.
    pub at: Point3,
}

/// Least distance between the part and what moves, over its motion.
#[derive(Debug, Clone, PartialEq)]
pub struct MotionTruth {
    /// What moves.
    pub name: String,
    /// Required, mm.
    pub limit: f64,
    /// True, mm.
    pub value: f64,
    /// The turn at which it is least, rad.
    pub turn: f64,
    /// Point of the part where it is least.
    pub at: Point3,
}

impl Truth {
    /// The text of `truth.json`: matrices row by row, parameters under the names of the published
    /// result format, angles in radian.
    #[must_use]
    pub fn to_json(&self) -> String {
        let poses: Map<String, Value> =
            self.machine_from_scan.iter().map(|(n, p)| (n.clone(), matrix(p))).collect();
        let value = json!({
            "length": "mm", "angle": "rad",
            "machine_from_scan": poses,
            "features": self.features.iter().map(feature).collect::<Vec<_>>(),
            "checks": {
                "holes": self.holes.iter().map(|h| json!({
                    "name": h.name, "offset": h.offset, "angle": h.angle, "margin": h.margin,
                    "part_point": h.part_point.coords.as_slice(),
                })).collect::<Vec<_>>(),
                "interference": [{
                    "name": self.interference.name, "depth": self.interference.depth,
                    "at": self.interference.at.coords.as_slice(),
                }],
                "clearances": self.clearances.iter().map(|c| json!({
                    "name": c.name, "limit": c.limit, "value": c.value,
                    "at": c.at.coords.as_slice(),
                })).collect::<Vec<_>>(),
                "motions": self.motions.iter().map(|m| json!({
                    "name": m.name, "limit": m.limit, "value": m.value, "turn": m.turn,
                    "at": m.at.coords.as_slice(),
                })).collect::<Vec<_>>(),
            },
        });
        format!("{value:#}\n")
    }
}

fn feature(surface: &Surface) -> Value {
    let parameters: Map<String, Value> =
        surface.shape.parameters().iter().map(|p| (p.name.clone(), number(p))).collect();
    json!({ "name": surface.name, "kind": surface.shape.kind().name(), "parameters": parameters })
}

fn number(parameter: &Parameter) -> Value {
    match &parameter.value {
        ParameterValue::Point(p) => json!(p.coords.as_slice()),
        ParameterValue::Direction(d) => json!(d.as_slice()),
        ParameterValue::Scalar(x, _) => json!(x),
        ParameterValue::Table(table) => table.rows().map(|row| json!(row)).collect(),
    }
}

fn matrix(pose: &Pose) -> Value {
    let m = pose.to_homogeneous();
    json!((0..4).map(|r| m.row(r).iter().copied().collect::<Vec<f64>>()).collect::<Vec<_>>())
}
