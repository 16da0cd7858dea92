//! What a survey writes: `survey.json`, `survey.step`, and a starter job that a person trims.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde_json::{Map, Value as Json, json};

use super::result::{Units, null_number};
use crate::error::{Error, Result};
use crate::exchange::{StepOptions, write_step};
use crate::feature::Feature;
use crate::files::write_bytes;
use crate::primitive::{Kind, Point3, Pose};
use crate::survey::{Group, ProposedDatum, Survey, Surveyed, SurveyedHole, Tube};
use crate::units::LengthUnit;

/// A survey with what its files need to know besides; lengths are written in mm, angles in degrees.
#[derive(Debug, Clone, Copy)]
pub struct SurveyFiles<'a> {
    /// The survey.
    pub survey: &'a Survey,
    /// The scan's file as a job file beside the results is to name it.
    pub scan_file: &'a str,
    /// Unit of that file's coordinates.
    pub unit: LengthUnit,
}

impl SurveyFiles<'_> {
    /// The text of `survey.json`: features in the form of `result.json`, each with a stable `id`, a
    /// point `at` on its surface, its `side`, area and neighbours; scan coordinates, uncertainties
    /// expanded (k = 2) with noise taken as independent from point to point.
    ///
    /// # Errors
    /// [`Error::Internal`] if a number is not finite, which would be a defect.
    pub fn json(&self) -> Result<String> {
        let s = self.survey;
        let units = Units { length: 1.0, angle: 1f64.to_radians() };
        let id = |k: usize| json!(s.primitives[k].id);
        let ids = |list: &[usize]| -> Json { list.iter().map(|&k| id(k)).collect() };
        let mut root = Map::new();
        root.insert("fitwright".into(), json!(env!("CARGO_PKG_VERSION")));
        root.insert("length".into(), json!("mm"));
        root.insert("angle".into(), json!("deg"));
        root.insert(
            "scan".into(),
            json!({
                "file": self.scan_file, "points": s.scan.points().len(),
                "triangles": s.scan.triangles().len(), "noise": s.scan.noise(),
                "resolution": s.scan.resolution(), "unclaimed": s.unclaimed,
                "notes": s.scan.notes(),
            }),
        );
        let feature = |p: &Surveyed| {
            let mut out = units.fitted(&p.feature, 0.0);
            out["id"] = json!(p.id);
            out["at"] = units.point(&p.at);
            out["side"] = json!(p.side.name());
            out["area"] = json!(p.area);
            out["surface"] = json!(p.region.ids().len());
            out["adjacent"] = ids(&p.adjacent);
            out
        };
        root.insert("features".into(), s.primitives.iter().map(feature).collect());
        let hole = |h: &SurveyedHole| {
            json!({
                "wall": h.wall.map(id), "face": h.face.map(id), "other_end": h.other_end.map(id),
                "through": h.through, "point": units.point(&h.point), "axis": h.axis.as_slice(),
                "radius": h.radius, "depth": h.depth,
            })
        };
        root.insert("holes".into(), s.holes.iter().map(hole).collect());
        let tube = |t: &Tube| json!({ "features": ids(&t.members), "radius": t.radius });
        root.insert("tubes".into(), s.tubes.iter().map(tube).collect());
        let group = |g: &Group| {
            let mut out = json!({ "kind": g.kind.name(), "features": ids(&g.members) });
            if let Some(radius) = g.radius {
                out["radius"] = json!(radius);
            }
            out
        };
        root.insert("groups".into(), s.groups.iter().map(group).collect());
        let features = &root["features"];
        if let Some(place) = null_number(features, "features") {
            return Err(Error::Internal(format!("a number in the survey is not finite: {place}")));
        }
        serde_json::to_string_pretty(&Json::Object(root))
            .map_err(|e| Error::Internal(e.to_string()))
    }

    /// A job file with the likeliest datum system, every hole with its face, and the other primitives as
    /// comments to be taken in.
    #[must_use]
    pub fn starter_job(&self) -> String {
        let s = self.survey;
        let mut text = format!(
            "# Drawn up from a survey: keep what you need, delete the rest, give names of your own.\n\
             # Coordinates are those of the scan. The unit of its file is {unit}.\n\
             [job]\nname = \"Survey of {name}\"\nlength = \"mm\"\nangle = \"deg\"\n\n\
             [[scan]]\nname = \"scan\"\nfile = {file}\n{length}",
            unit = self.unit.symbol(),
            name = plain(self.scan_file.rsplit(['/', '\\']).next().unwrap_or_default()),
            file = quoted(self.scan_file),
            length = match self.unit {
                LengthUnit::Millimetre => String::new(),
                unit => format!("unit = \"{}\"\n", unit.symbol()),
            },
        );
        let datum = s.proposed_datum();
        let wanted = self.wanted(datum);
        for (k, p) in s.primitives.iter().enumerate().filter(|(k, _)| wanted[*k]) {
            let role = if datum.is_some_and(|d| d.takes(k)) {
                ", part of the datum system below"
            } else {
                ""
            };
            let _ = write!(text, "\n# {}{role}\n{}", described(p), feature_text(p, ""));
        }
        // A gap in a face may be a hole whose wall was not seen, or a spot the scanner did not see.
        for (n, hole) in s.holes.iter().enumerate().filter(|(_, h)| h.wall.is_some()) {
            if let Some(face) = hole.face {
                let _ = write!(text, "\n{}", self.hole_text(n + 1, hole, face, ""));
            }
        }
        if let Some(d) = datum {
            text.push_str(&self.datum_text(d));
        }
        let rest: Vec<&Surveyed> =
            (0..s.primitives.len()).filter(|k| !wanted[*k]).map(|k| &s.primitives[k]).collect();
        text.push_str("\n# Also found; take away the # before what you need.\n");
        for (n, hole) in s.holes.iter().enumerate().filter(|(_, h)| h.wall.is_none()) {
            if let Some(face) = hole.face {
                let _ = write!(text, "\n{}", self.hole_text(n + 1, hole, face, "# "));
            }
        }
        for p in rest {
            let _ = write!(text, "\n# {}\n{}", described(p), feature_text(p, "# "));
        }
        text
    }

    /// Writes `survey.json`, `survey.step`, `survey.html` (given as text) and `starter.toml` into a folder;
    /// returns the paths. Each appears complete or not at all.
    ///
    /// # Errors
    /// [`Error::Io`]; whatever building a file's content may bring.
    pub fn write(&self, folder: &Path, page: &str) -> Result<Vec<PathBuf>> {
        let json = self.json()?;
        std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, &e))?;
        let mut written = Vec::new();
        let mut path = |name: &str| {
            let path = folder.join(name);
            written.push(path.clone());
            path
        };
        if !self.survey.primitives.is_empty() {
            let features: Vec<Feature> =
                self.survey.primitives.iter().map(|p| p.feature.clone()).collect();
            let options =
                StepOptions { title: "Surveyed features".into(), ..StepOptions::default() };
            write_step(path("survey.step"), &Pose::identity(), &features, &options)?;
        }
        write_bytes(&path("survey.json"), json.as_bytes())?;
        write_bytes(&path("survey.html"), page.as_bytes())?;
        write_bytes(&path("starter.toml"), self.starter_job().as_bytes())?;
        Ok(written)
    }

    /// What the starter job takes in: the datum system and the faces of holes.
    fn wanted(&self, datum: Option<ProposedDatum>) -> Vec<bool> {
        let walled = self.survey.holes.iter().filter(|h| h.wall.is_some());
        let faces: Vec<usize> = walled.filter_map(|h| h.face).collect();
        let taken = |k: usize| datum.is_some_and(|d| d.takes(k)) || faces.contains(&k);
        (0..self.survey.primitives.len()).map(taken).collect()
    }

    fn hole_text(&self, number: usize, hole: &SurveyedHole, face: usize, mark: &str) -> String {
        let at = match hole.wall {
            Some(wall) => self.survey.primitives[wall].at,
            None => hole.point,
        };
        let seen = match hole.wall {
            Some(_) => format!("wall seen {:.1} deep", hole.depth),
            None => "rim alone: a hole whose wall was not seen, or a place that was not".into(),
        };
        format!(
            "# hole of {:.2} diameter, {seen}\n{mark}[[feature]]\n{mark}name = \"hole {number}\"\n\
             {mark}fit = \"hole\"\n{mark}on = \"{}\"\n{mark}at = {}\n",
            2.0 * hole.radius,
            self.survey.primitives[face].id,
            place(&at)
        )
    }

    fn datum_text(&self, datum: ProposedDatum) -> String {
        let id = |k: usize| &self.survey.primitives[k].id;
        let mut text = format!(
            "\n# The likeliest datum system: the largest faces near square to each other. Better take those\n\
             # that the part sits on. Primary: two rotations; secondary: the third; tertiary: the rest.\n\
             [datum]\nprimary = {{ feature = \"{}\", axis = \"+z\" }}\n",
            id(datum.primary)
        );
        if let Some(k) = datum.secondary {
            let _ = writeln!(text, "secondary = {{ feature = \"{}\", axis = \"+x\" }}", id(k));
        }
        if let Some(k) = datum.tertiary {
            let _ = writeln!(text, "tertiary = {{ feature = \"{}\" }}", id(k));
        } else if let (Some(n), Some(_)) = (datum.hole, datum.secondary) {
            let _ =
                writeln!(text, "tertiary = {{ feature = \"hole {}\", sets = \"origin\" }}", n + 1);
        }
        text
    }
}

/// A feature of a job that grows from the primitive's point.
fn feature_text(p: &Surveyed, mark: &str) -> String {
    format!(
        "{mark}[[feature]]\n{mark}name = \"{}\"\n{mark}fit = \"{}\"\n{mark}at = {}\n",
        p.id,
        p.feature.shape.kind().name(),
        place(&p.at)
    )
}

/// What a person wants to know of a primitive, in a line.
fn described(p: &Surveyed) -> String {
    let size = match (p.feature.shape.kind(), p.diameter()) {
        (Kind::Plane, _) => format!("{:.0} mm2", p.area),
        (_, Some(d)) => format!("{d:.2} diameter, {}", p.side.name()),
        _ => String::new(),
    };
    format!("{}: {size}, {} points", p.id, p.region.ids().len())
}

fn place(p: &Point3) -> String {
    format!("[{:.2}, {:.2}, {:.2}]", p.x, p.y, p.z)
}

/// A TOML string of any text.
fn quoted(text: &str) -> String {
    toml::Value::String(text.into()).to_string()
}

/// Text that may stand in a TOML string and comment as it is.
fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() || c == '"' || c == '\\' { '_' } else { c }).collect()
}

impl ProposedDatum {
    /// Whether a primitive is part of it.
    fn takes(&self, k: usize) -> bool {
        self.primary == k || self.secondary == Some(k) || self.tertiary == Some(k)
    }
}
