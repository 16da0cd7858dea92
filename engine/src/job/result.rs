//! `result.json`: what a run found, in the job's units and machine coordinates.

use serde_json::{Map, Value as Json, json};

use super::outcome::{FeatureOutcome, GroupOutcome, OtherPartOutcome, Outcome, ScanOutcome};
use crate::associate::{ConstraintCost, Covariance, Quality};
use crate::error::{Error, Result};
use crate::exchange::Part;
use crate::feature::{Feature, Relation};
use crate::fitcheck::{Contribution, Finding, Measure, Number, PathPose};
use crate::primitive::{Composite, Kind, Parameter, Point3, Pose, Primitive, Value};
use crate::register::{Adjusted, AdjustedPair, Candidate, FeatureResidual};
use crate::units::Quantity;

impl Outcome {
    /// The published result format as text; numbers read back to the same double.
    ///
    /// Lengths and angles are in the job's units, positions in machine coordinates, uncertainties
    /// expanded with k = 2.
    ///
    /// # Errors
    /// [`Error::Internal`] if a number is not finite, which no check may produce.
    pub fn to_json(&self) -> Result<String> {
        let units = Units { length: self.length.to_mm(), angle: self.angle.to_rad() };
        let mut root = Map::new();
        root.insert("fitwright".into(), json!(env!("CARGO_PKG_VERSION")));
        root.insert("job".into(), json!(self.job));
        root.insert("length".into(), json!(self.length.symbol()));
        root.insert("angle".into(), json!(self.angle.symbol()));
        root.insert("verdict".into(), json!(self.verdict.name()));
        root.insert("rule".into(), json!(RULE));
        root.insert("caution".into(), json!(CAUTION));
        root.insert("machine_from_scan".into(), units.pose(&self.machine_from_scan));
        root.insert("scans".into(), self.scans.iter().map(|s| units.scan(s)).collect());
        if let Some(joined) = &self.joined {
            root.insert("joined".into(), units.joined(self, joined));
        }
        if let Some(adjusted) = &self.adjusted {
            root.insert("adjustment".into(), units.adjustment(adjusted, &self.scans));
        }
        root.insert("datum".into(), units.datum(self));
        if let Some(again) = &self.again {
            root.insert("again".into(), units.again(again));
        }
        root.insert("features".into(), self.features.iter().map(|f| units.feature(f)).collect());
        if !self.groups.is_empty() {
            root.insert("groups".into(), self.groups.iter().map(|g| units.group(g)).collect());
        }
        root.insert("relations".into(), self.relations.iter().map(|r| units.relation(r)).collect());
        if let Some(part) = &self.part {
            let mut described = units.part(part);
            if let Some(pose) = &self.checked_from_designed {
                described["checked_from_designed"] = units.pose(pose);
            }
            if let Some(made) = &self.made {
                described["made"] = json!({
                    "file": made.file,
                    "points": made.scan.points().len(),
                    "triangles": made.scan.triangles().len(),
                    "noise": units.len(made.scan.noise()),
                    "part_from_scan": units.pose(&made.part_from_scan),
                });
            }
            root.insert("part".into(), described);
        }
        if !self.other_parts.is_empty() {
            let others = self.other_parts.iter().map(|o| units.other_part(o));
            root.insert("other_parts".into(), others.collect());
        }
        root.insert("checks".into(), self.findings.iter().map(|f| units.finding(f)).collect());
        let root = Json::Object(root);
        if let Some(place) = null_number(&root, "") {
            return Err(Error::Internal(format!("a number in the result is not finite: {place}")));
        }
        serde_json::to_string_pretty(&root).map_err(|e| Error::Internal(e.to_string()))
    }
}

impl Outcome {
    /// The way of the part to its seat as text, if one was asked for and found: places from outside to the seat,
    /// each with a matrix that takes the part from its designed place and the air measured there.
    ///
    /// # Errors
    /// [`Error::Internal`] if it cannot be written out, which would be a defect.
    pub fn path_json(&self) -> Result<Option<String>> {
        let Some(found) = self.findings.iter().find(|f| !f.path.is_empty()) else {
            return Ok(None);
        };
        let units = Units { length: self.length.to_mm(), angle: self.angle.to_rad() };
        let pose = |p: &PathPose| {
            json!({ "machine_from_part": units.pose(&p.machine_from_part),
                    "clearance": units.len(p.clearance) })
        };
        let way = json!({
            "fitwright": env!("CARGO_PKG_VERSION"), "job": self.job, "length": self.length.symbol(),
            "frame": "machine", "verdict": found.verdict.name(), "detail": found.detail,
            "caution": CAUTION,
            "poses": found.path.iter().map(pose).collect::<Vec<_>>(),
        });
        let text = serde_json::to_string_pretty(&way);
        text.map(Some).map_err(|e| Error::Internal(e.to_string()))
    }
}

/// Divisors that take mm and rad to the job's units.
pub(super) struct Units {
    pub(super) length: f64,
    pub(super) angle: f64,
}

impl Units {
    pub(super) fn len(&self, mm: f64) -> Json {
        json!(mm / self.length)
    }

    pub(super) fn ang(&self, rad: f64) -> Json {
        json!(rad / self.angle)
    }

    pub(super) fn point(&self, p: &Point3) -> Json {
        json!([p.x / self.length, p.y / self.length, p.z / self.length])
    }

    fn pose(&self, pose: &Pose) -> Json {
        let mut m = pose.to_homogeneous();
        for k in 0..3 {
            m[(k, 3)] /= self.length;
        }
        (0..4).map(|r| (0..4).map(|c| m[(r, c)]).collect::<Vec<f64>>()).collect()
    }

    fn scan(&self, s: &ScanOutcome) -> Json {
        let mut out = json!({
            "name": s.name,
            "file": s.file,
            "points": s.scan.points().len(),
            "triangles": s.scan.triangles().len(),
            "noise": self.len(s.scan.noise()),
            "resolution": self.len(s.scan.resolution()),
            "first_from_this": self.pose(&s.first_from_this),
            "notes": s.scan.notes(),
        });
        if let Some(join) = &s.join {
            out["join"] = json!({
                "rms": self.len(join.rms),
                "overlap": join.overlap,
                "uncertainty": self.len(2.0 * join.covariance.deviation_at(&join.covariance.at)),
                "notes": join.notes,
            });
            if !s.join_candidates.is_empty() {
                out["join"]["candidates"] =
                    s.join_candidates.iter().map(|c| self.candidate(c)).collect();
            }
            if !s.join_features.is_empty() {
                out["join"]["features"] =
                    s.join_features.iter().map(|f| self.join_feature(f)).collect();
            }
        }
        out
    }

    fn adjustment(&self, adjusted: &Adjusted, scans: &[ScanOutcome]) -> Json {
        let pair = |p: &AdjustedPair| {
            json!({
                "to": scans[p.to].name, "from": scans[p.from].name, "points": p.points,
                "overlap": p.overlap, "rms_before": self.len(p.rms_before), "rms": self.len(p.rms),
                "offset": self.len(p.offset), "misfit": self.len(p.misfit),
                "misfit_angle": self.ang(p.misfit_turn),
            })
        };
        let scan = |(s, c): (&ScanOutcome, &Covariance)| json!({ "name": s.name, "uncertainty": self.len(2.0 * c.deviation_at(&c.at)) });
        json!({
            "held": scans[adjusted.held].name,
            "converged": adjusted.converged,
            "pairs": adjusted.pairs.iter().map(pair).collect::<Vec<_>>(),
            "scans": scans.iter().zip(&adjusted.covariances).map(scan).collect::<Vec<_>>(),
            "notes": adjusted.notes,
        })
    }

    fn candidate(&self, c: &Candidate) -> Json {
        json!({
            "to_from_this": self.pose(&c.to_from_this), "probability": c.probability,
            "evidence": c.support.evidence, "matched": c.support.matched, "against": c.support.against,
        })
    }

    fn join_feature(&self, f: &FeatureResidual) -> Json {
        json!({
            "name": f.name, "used": f.used, "distance": self.len(f.distance),
            "distance_uncertainty": self.len(2.0 * f.distance_deviation), "angle": self.ang(f.tilt),
            "angle_uncertainty": self.ang(2.0 * f.tilt_deviation),
        })
    }

    fn datum(&self, outcome: &Outcome) -> Json {
        let Some(datum) = &outcome.datum else { return Json::Null };
        let squareness: Vec<Json> = datum
            .squareness
            .iter()
            .map(|s| {
                json!({ "a": s.a, "b": s.b, "angle": self.ang(s.angle),
                        "deviation": self.ang(s.deviation), "uncertainty": self.ang(s.uncertainty) })
            })
            .collect();
        json!({
            "taken": datum.taken,
            "squareness": squareness,
            "origin_uncertainty": self.len(2.0 * datum.covariance.deviation_at(&Point3::origin())),
        })
    }

    fn feature(&self, f: &FeatureOutcome) -> Json {
        let mut out = self.fitted(&f.feature, f.scanner);
        if let Some(held) = &f.held {
            out["held"] = json!(held);
        }
        if let Some(cost) = &f.cost {
            out["cost"] = self.cost(cost);
        }
        out
    }

    /// A feature by itself; `scanner` is the deviation of its place by the scanner's error of length, mm.
    pub(super) fn fitted(&self, feature: &Feature, scanner: f64) -> Json {
        let Feature { name, kind, fitter, shape, covariance, quality, notes, .. } = feature;
        let mut parameters = Map::new();
        for p in shape.parameters() {
            parameters.insert(parameter_name(feature, &p), self.value(&p.value));
        }
        let mut uncertainty = Map::new();
        uncertainty.insert(
            "position".into(),
            self.len(2.0 * covariance.deviation_at(&shape.point()).hypot(scanner)),
        );
        if let Some(d) = shape.direction() {
            let name = if shape.kind() == Kind::Plane { "normal" } else { "axis" };
            uncertainty.insert(name.into(), self.ang(2.0 * covariance.tilt(&d)));
        }
        self.sizes(feature, &mut uncertainty);
        if let Primitive::Composite(shape) = shape {
            self.reported(shape, &mut uncertainty);
        }
        let mut out = json!({
            "name": name, "kind": kind.name(), "fitter": fitter, "parameters": parameters,
            "uncertainty": uncertainty, "notes": notes,
        });
        if let Primitive::Composite(shape) = shape {
            out["shape"] = json!(shape.kind);
        }
        if let Some(q) = quality {
            out["criterion"] = json!(q.criterion.name());
            out["quality"] = self.quality(q);
            if !q.contacts.is_empty() {
                out["contacts"] = q.contacts.iter().map(|p| self.point(p)).collect();
            }
        }
        out
    }

    fn group(&self, g: &GroupOutcome) -> Json {
        json!({
            "name": g.name, "relation": g.relation.name(), "features": g.features,
            "cost": self.cost(&g.cost),
        })
    }

    fn cost(&self, cost: &ConstraintCost) -> Json {
        let mut out = json!({ "freedoms": cost.freedoms, "sigma": self.len(cost.sigma) });
        if let Some(free) = cost.free_sigma {
            out["free_sigma"] = self.len(free);
        }
        if let Some(probability) = cost.probability {
            out["probability"] = json!(probability);
        }
        out
    }

    pub(super) fn sizes(&self, feature: &Feature, uncertainty: &mut Map<String, Json>) {
        let size = |k| 2.0 * feature.covariance.size(k);
        let mut put = |name: &str, value: Json| uncertainty.insert(name.into(), value);
        match feature.shape.kind() {
            Kind::Circle | Kind::Cylinder => {
                put("radius", self.len(size(0)));
            }
            Kind::Sphere if feature.kind != crate::feature::FeatureKind::Point => {
                put("radius", self.len(size(0)));
            }
            Kind::Cone => {
                put("radius", self.len(size(0)));
                put("half_angle", self.ang(size(1)));
            }
            Kind::Torus => {
                put("major_radius", self.len(size(0)));
                put("minor_radius", self.len(size(1)));
            }
            Kind::Sphere | Kind::Plane | Kind::Line | Kind::Composite => {}
        }
    }

    pub(super) fn value(&self, value: &Value) -> Json {
        match value {
            Value::Point(p) => self.point(p),
            Value::Direction(d) => json!([d.x, d.y, d.z]),
            Value::Scalar(x, quantity) => self.number(*x, *quantity),
            Value::Table(table) => table
                .rows()
                .map(|row| {
                    let cells = table.columns.iter().zip(row);
                    cells.map(|(c, x)| (c.name.clone(), self.number(*x, c.quantity))).collect()
                })
                .map(Json::Object)
                .collect(),
        }
    }

    fn measured(&self, x: f64, measure: Measure) -> Json {
        match measure {
            Measure::Length => self.len(x),
            Measure::Angle => self.ang(x),
            Measure::Area => json!(x / self.length.powi(2)),
            Measure::Volume => json!(x / self.length.powi(3)),
            Measure::Ratio => json!(x),
        }
    }

    fn number(&self, x: f64, quantity: Quantity) -> Json {
        match quantity {
            Quantity::Length => self.len(x),
            Quantity::Angle => self.ang(x),
            Quantity::Number => json!(x),
        }
    }

    /// Of what a plug-in reported: each parameter by its name.
    fn reported(&self, shape: &Composite, uncertainty: &mut Map<String, Json>) {
        for (k, p) in shape.parameters.iter().enumerate() {
            let Some(deviation) = shape.deviation(k) else { continue };
            let quantity = match &p.value {
                Value::Point(_) => Quantity::Length,
                Value::Direction(_) => Quantity::Angle,
                Value::Scalar(_, quantity) => *quantity,
                Value::Table(_) => continue,
            };
            uncertainty.insert(p.name.clone(), self.number(2.0 * deviation, quantity));
        }
    }

    pub(super) fn quality(&self, q: &Quality) -> Json {
        json!({
            "points": q.points, "rejected": q.rejected, "rms": self.len(q.rms),
            "largest": self.len(q.largest), "zone": self.len(q.zone), "extent": self.len(q.extent),
            "arc": self.ang(q.arc), "converged": q.converged, "contacts": q.contacts.len(),
            "independent_noise": self.len(q.independent), "smooth_noise": self.len(q.smooth),
            "smooth_length": self.len(q.smooth_length), "effective_points": q.effective_points,
            "against": q.evidence.iter().map(|e| json!({
                "shape": e.against, "amplitude": self.len(e.amplitude),
                "uncertainty": self.len(e.uncertainty), "probability": e.probability,
            })).collect::<Vec<_>>(),
        })
    }

    fn relation(&self, r: &Relation) -> Json {
        let mut out = json!({
            "a": r.a, "b": r.b, "distance": self.len(r.distance),
            "distance_uncertainty": self.len(r.distance_uncertainty), "measure": r.measure,
        });
        if let (Some(angle), Some(u)) = (r.angle, r.angle_uncertainty) {
            out["angle"] = self.ang(angle);
            out["angle_uncertainty"] = self.ang(u);
        }
        out
    }

    fn part(&self, part: &Part) -> Json {
        let (low, high) = part.bounding_box().unwrap_or((Point3::origin(), Point3::origin()));
        let holes: Vec<Json> = part
            .holes
            .iter()
            .map(|h| {
                json!({ "point": self.point(&h.point), "axis": h.axis.as_slice(),
                        "radius": self.len(h.radius), "depth": self.len(h.depth) })
            })
            .collect();
        json!({
            "file": part.file.file_name().map(|n| n.to_string_lossy()),
            "schema": part.schema, "solids": part.solids, "closed": part.closed().is_ok(),
            "triangles": part.triangles.len(),
            "volume": part.volume() / self.length.powi(3), "area": part.area() / self.length.powi(2),
            "box": [self.point(&low), self.point(&high)],
            "chord_error": self.len(part.chord_error), "holes": holes, "notes": part.notes,
        })
    }

    fn other_part(&self, other: &OtherPartOutcome) -> Json {
        let mut out = self.part(&other.part);
        out["name"] = json!(other.name);
        out["touches"] = json!(other.touches);
        if let Some(clear) = other.keep_clear {
            out["keep_clear"] = self.len(clear);
        }
        out
    }

    fn finding(&self, f: &Finding) -> Json {
        let mut out = json!({ "kind": f.kind, "name": f.name, "verdict": f.verdict.name() });
        for (key, value) in [("value", f.value), ("uncertainty", f.uncertainty), ("limit", f.limit)]
        {
            if let Some(value) = value {
                out[key] = self.measured(value, f.measure);
            }
        }
        if f.at_most && f.limit.is_some() {
            out["at_most"] = json!(true);
        }
        if f.measure != Measure::Length {
            out["measure"] = json!(f.measure.name());
        }
        if !f.budget.is_empty() {
            let share = |c: &Contribution| json!({ "cause": c.cause, "deviation": self.measured(c.deviation, f.measure) });
            out["budget"] = f.budget.iter().map(share).collect();
        }
        if !f.numbers.is_empty() {
            let number = |n: &Number| (n.name.to_owned(), self.measured(n.value, n.measure));
            out["numbers"] = Json::Object(f.numbers.iter().map(number).collect());
        }
        if let Some(extent) = f.extent {
            out["extent"] = self.len(extent);
        }
        if let Some(points) = f.points {
            out["points"] = json!(points);
        }
        for (key, place) in [("at", &f.at), ("to", &f.to)] {
            if let Some(place) = place {
                out[key] = self.point(place);
            }
        }
        out["detail"] = json!(f.detail);
        if !f.remedy.is_empty() {
            out["remedy"] = json!(f.remedy);
        }
        out
    }
}

/// A point is stored as a sphere of radius 0, and shows as its centre alone.
fn parameter_name(feature: &Feature, p: &Parameter) -> String {
    if feature.kind == crate::feature::FeatureKind::Point && p.name == "centre" {
        return "point".into();
    }
    p.name.clone()
}

/// Place of the first `null` inside numbers: JSON has no NaN, the writer turns it to null.
pub(super) fn null_number(value: &Json, place: &str) -> Option<String> {
    match value {
        Json::Array(a) => a.iter().enumerate().find_map(|(k, v)| match v {
            Json::Null => Some(format!("{place}[{k}]")),
            v => null_number(v, &format!("{place}[{k}]")),
        }),
        Json::Object(o) => o.iter().find_map(|(k, v)| match v {
            Json::Null if k != "datum" => Some(format!("{place}.{k}")),
            v => null_number(v, &format!("{place}.{k}")),
        }),
        _ => None,
    }
}

/// The decision rule that every verdict follows.
pub const RULE: &str = "ISO 14253-1: a limit is met only when the value is beyond it by the \
                        expanded uncertainty (k = 2), broken only when it is short of it by that \
                        much; else, and where nothing was seen, undecided";

/// What every report says.
pub const CAUTION: &str = "A fit check is geometry only. Strength, heat, moving parts, guards and \
                           lock-out are for qualified people and local codes.";
