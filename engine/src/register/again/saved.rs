//! The file of a saved datum system: JSON in mm and rad, machine coordinates.

use std::collections::BTreeSet;
use std::path::Path;

use nalgebra::SMatrix;
use serde::{Deserialize, Serialize};

use crate::associate::{Covariance, sizes};
use crate::error::{Error, Result};
use crate::feature::{Feature, FeatureKind};
use crate::files::write_bytes;
use crate::primitive::{
    Circle, Cone, Cylinder, Direction, Line, Plane, Point3, Pose, Primitive, Sphere, Torus, Vec3,
    unit,
};

/// A datum system with its features, machine coordinates, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct SavedDatum {
    /// Job that saved it, for people.
    pub job: String,
    /// Takes coordinates of that day's first scan to machine coordinates: where to start if the scanner's own
    /// coordinates stayed.
    pub machine_from_scan: Pose,
    /// The datums in order of precedence.
    pub rule: Vec<SavedRule>,
    /// Features of the machine, those of the datum system among them.
    pub features: Vec<SavedFeature>,
}

/// One datum of the system.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SavedRule {
    /// Name of its feature.
    pub feature: String,
    /// Machine axis that its direction becomes.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis: Option<String>,
    /// Coordinates it sets to zero ahead of the others.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sets: Option<String>,
}

/// A feature as it was found on the first day.
#[derive(Debug, Clone, PartialEq)]
pub struct SavedFeature {
    /// Name, unique among the features.
    pub name: String,
    /// What it is; no composite.
    pub kind: FeatureKind,
    /// The shape that locates it (a hole's is its cylinder, a point's a sphere of radius 0).
    pub shape: Primitive,
    /// Uncertainty of the shape.
    pub covariance: Covariance,
    /// Middle of what was seen of it, mm.
    pub middle: Point3,
    /// Radius about the middle that holds it, mm.
    pub extent: f64,
    /// How a job fits it again; what stands in it is the job's own.
    pub recipe: Option<serde_json::Value>,
}

impl SavedDatum {
    /// Writes the file, complete or not at all.
    ///
    /// # Errors
    /// [`Error::Io`]; [`Error::Internal`] for a number that is not finite.
    pub fn write(&self, path: impl AsRef<Path>) -> Result<()> {
        write_bytes(path.as_ref(), self.to_json()?.as_bytes())
    }

    /// The file's text.
    ///
    /// # Errors
    /// [`Error::Internal`] for a number that is not finite.
    pub fn to_json(&self) -> Result<String> {
        let file = File {
            fitwright_datum: VERSION,
            length: "mm".into(),
            angle: "rad".into(),
            job: self.job.clone(),
            machine_from_scan: rows(&self.machine_from_scan),
            datums: self.rule.clone(),
            features: self.features.iter().map(Entry::of).collect(),
        };
        let finite = self.features.iter().all(SavedFeature::is_finite);
        if !finite || !file.machine_from_scan.as_flattened().iter().all(|x| x.is_finite()) {
            return Err(Error::Internal("a number of the saved datum system is not finite".into()));
        }
        serde_json::to_string_pretty(&file).map_err(|e| Error::Internal(e.to_string()))
    }

    /// Reads a file.
    ///
    /// # Errors
    /// [`Error::Io`]; [`Error::Limit`] for a file of more than 16 MiB; [`Error::Format`] with the
    /// place of whatever is wrong in it.
    pub fn read(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let size = std::fs::metadata(path).map_err(|e| Error::io(path, &e))?.len();
        if size > LARGEST_DATUM {
            let what = format!("size of {}", path.display());
            return Err(Error::Limit { what, found: size, limit: LARGEST_DATUM });
        }
        let bytes = std::fs::read(path).map_err(|e| Error::io(path, &e))?;
        Self::parse(&bytes, path)
    }

    /// Reads the content of a file; `path` is for messages.
    ///
    /// # Errors
    /// [`Error::Format`] with the place of whatever is wrong in it.
    pub fn parse(bytes: &[u8], path: &Path) -> Result<Self> {
        let wrong = |place: String, found: String, allowed: &str| Error::Format {
            path: path.to_owned(),
            place,
            found,
            allowed: allowed.into(),
        };
        let json = |e: &serde_json::Error| {
            let place = format!("line {}", e.line());
            wrong(place, e.to_string(), "a datum system saved by a run (datum.json), complete")
        };
        // The version first: of another one, nothing else is known.
        let head: Head = serde_json::from_slice(bytes).map_err(|e| json(&e))?;
        if head.fitwright_datum != VERSION {
            let found = head.fitwright_datum.to_string();
            return Err(wrong("fitwright_datum".into(), found, "version 1"));
        }
        let file: File = serde_json::from_slice(bytes).map_err(|e| json(&e))?;
        for (key, found, allowed) in [("length", &file.length, "mm"), ("angle", &file.angle, "rad")]
        {
            if found != allowed {
                return Err(wrong(key.into(), format!("\"{found}\""), allowed));
            }
        }
        if file.features.len() > MOST_FEATURES {
            let found = file.features.len().to_string();
            return Err(wrong("features".into(), found, "at most 1000"));
        }
        let mut names = BTreeSet::new();
        let mut features = Vec::new();
        for (k, entry) in file.features.iter().enumerate() {
            let place = |what: &str| format!("feature {} \"{}\": {what}", k + 1, entry.name);
            if entry.name.trim().is_empty() || !names.insert(entry.name.clone()) {
                return Err(wrong(place("name"), entry.name.clone(), "a name no other has"));
            }
            features.push(entry.feature().map_err(|(what, allowed)| {
                wrong(place(what), "what no feature can be".into(), allowed)
            })?);
        }
        if file.datums.is_empty() || file.datums.len() > 3 {
            return Err(wrong("datums".into(), file.datums.len().to_string(), "one to three"));
        }
        if let Some(d) = file.datums.iter().find(|d| !names.contains(&d.feature)) {
            return Err(wrong("datums".into(), format!("\"{}\"", d.feature), "names of features"));
        }
        let machine_from_scan = pose(&file.machine_from_scan).ok_or_else(|| {
            wrong("machine_from_scan".into(), "no such".into(), "a rigid motion as a 4 x 4 matrix")
        })?;
        Ok(SavedDatum { job: file.job, machine_from_scan, rule: file.datums, features })
    }
}

impl SavedFeature {
    /// Whether what was fitted where this feature should be (machine coordinates) may be it: of its kind, about its
    /// size, and no farther off than a moved one is looked for.
    #[must_use]
    pub fn may_be(&self, found: &Feature) -> bool {
        let (old, new) = (sizes(&self.shape), sizes(&found.shape));
        let like = |k: usize| (old[k] - new[k]).abs() <= 0.2 * old[k] + 1.0;
        let turned = match (self.shape.direction(), found.shape.direction()) {
            (Some(a), Some(b)) => a.cross(&b).norm(),
            _ => 0.0,
        };
        let place = |shape: &Primitive| super::fit::place(self.kind, shape, &self.middle);
        let off = (place(&found.shape) - place(&self.shape)).norm();
        let sized = like(0) && like(1) || self.kind == FeatureKind::Cone;
        found.kind == self.kind && sized && turned < 0.2 && off <= LOOKED_FOR_WITHIN
    }

    fn is_finite(&self) -> bool {
        let shape = Entry::of(self);
        let numbers =
            shape.point.iter().chain(&shape.sizes).chain(shape.direction.iter().flatten());
        numbers.chain(&shape.covariance.matrix).all(|x| x.is_finite())
            && self.extent.is_finite()
            && self.middle.iter().all(|x| x.is_finite())
    }
}

#[derive(Deserialize)]
struct Head {
    fitwright_datum: u64,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    fitwright_datum: u64,
    length: String,
    angle: String,
    job: String,
    machine_from_scan: [[f64; 4]; 4],
    datums: Vec<SavedRule>,
    features: Vec<Entry>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    name: String,
    kind: String,
    /// On the plane or axis, or the centre.
    point: [f64; 3],
    #[serde(skip_serializing_if = "Option::is_none", default)]
    direction: Option<[f64; 3]>,
    /// Radius, or major radius; minor radius or half-angle.
    #[serde(default)]
    sizes: Vec<f64>,
    middle: [f64; 3],
    extent: f64,
    covariance: Spread,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    recipe: Option<serde_json::Value>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Spread {
    at: [f64; 3],
    /// Rows of the upper triangle: shift, turn, sizes.
    matrix: Vec<f64>,
}

impl Entry {
    fn of(f: &SavedFeature) -> Self {
        let count = match f.shape {
            Primitive::Cone(_) | Primitive::Torus(_) => 2,
            Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_) => 0,
            Primitive::Circle(_) | Primitive::Sphere(_) | Primitive::Cylinder(_) => 1,
        };
        let upper = (0..8).flat_map(|r| (r..8).map(move |c| (r, c)));
        Entry {
            name: f.name.clone(),
            kind: f.kind.name().into(),
            point: f.shape.point().into(),
            direction: f.shape.direction().map(|d| d.into_inner().into()),
            sizes: sizes(&f.shape)[..count].to_vec(),
            middle: f.middle.into(),
            extent: f.extent,
            covariance: Spread {
                at: f.covariance.at.into(),
                matrix: upper.map(|rc| f.covariance.matrix[rc]).collect(),
            },
            recipe: f.recipe.clone(),
        }
    }

    /// The feature, or what is wrong and what would be right.
    fn feature(&self) -> std::result::Result<SavedFeature, (&'static str, &'static str)> {
        let place =
            |p: &[f64; 3]| p.iter().all(|x| x.abs() <= FARTHEST).then_some(Point3::from(*p));
        const PLACE: &str = "three numbers up to 1e6 mm";
        let point = place(&self.point).ok_or(("point", PLACE))?;
        let middle = place(&self.middle).ok_or(("middle", PLACE))?;
        let at = place(&self.covariance.at).ok_or(("covariance: at", PLACE))?;
        if !(self.extent >= 0.0 && self.extent <= FARTHEST) {
            return Err(("extent", "a length up to 1e6 mm"));
        }
        let (kind, shape) = self.shape(point)?;
        let matrix = self.matrix().ok_or((
            "covariance: matrix",
            "36 numbers, the upper triangle of a matrix with no negative variance",
        ))?;
        Ok(SavedFeature {
            name: self.name.clone(),
            kind,
            shape,
            covariance: Covariance { at, matrix },
            middle,
            extent: self.extent,
            recipe: self.recipe.clone(),
        })
    }

    fn shape(
        &self,
        point: Point3,
    ) -> std::result::Result<(FeatureKind, Primitive), (&'static str, &'static str)> {
        let direction = || -> std::result::Result<Direction, (&'static str, &'static str)> {
            let given = self.direction.map(Vec3::from);
            let near = given.filter(|d| (d.norm() - 1.0).abs() < 1e-6).and_then(unit);
            near.ok_or(("direction", "a unit vector"))
        };
        let size = |k: usize| {
            let size = self.sizes.get(k).copied();
            let good = size.filter(|s| *s >= 0.0 && *s <= FARTHEST);
            good.ok_or(("sizes", "a length, not negative, for each size of the kind"))
        };
        let kind = KINDS
            .into_iter()
            .find(|k| k.name() == self.kind)
            .ok_or(("kind", "plane, line, circle, point, sphere, cylinder, cone, torus, hole"))?;
        let shape = match kind {
            FeatureKind::Plane => Plane { point, normal: direction()? }.into(),
            FeatureKind::Line => Line { point, direction: direction()? }.into(),
            FeatureKind::Circle => {
                Circle { centre: point, normal: direction()?, radius: size(0)? }.into()
            }
            FeatureKind::Cone => {
                let half_angle = size(1)?;
                if half_angle >= std::f64::consts::FRAC_PI_2 {
                    return Err(("sizes", "a half-angle below a right angle"));
                }
                Cone { point, axis: direction()?, radius: size(0)?, half_angle }.into()
            }
            FeatureKind::Torus => Torus {
                centre: point,
                axis: direction()?,
                major_radius: size(0)?,
                minor_radius: size(1)?,
            }
            .into(),
            FeatureKind::Cylinder | FeatureKind::Hole => {
                Cylinder { point, axis: direction()?, radius: size(0)? }.into()
            }
            _ => Sphere { centre: point, radius: size(0)? }.into(),
        };
        Ok((kind, shape))
    }

    fn matrix(&self) -> Option<SMatrix<f64, 8, 8>> {
        let given = &self.covariance.matrix;
        if given.len() != 36 || !given.iter().all(|x| x.is_finite() && x.abs() <= FARTHEST) {
            return None;
        }
        let mut matrix = SMatrix::<f64, 8, 8>::zeros();
        let upper = (0..8).flat_map(|r| (r..8).map(move |c| (r, c)));
        for ((r, c), x) in upper.zip(given) {
            matrix[(r, c)] = *x;
            matrix[(c, r)] = *x;
        }
        let eigen = matrix.symmetric_eigenvalues();
        (eigen.min() >= -1e-9 * eigen.max().abs()).then_some(matrix)
    }
}

fn rows(pose: &Pose) -> [[f64; 4]; 4] {
    let m = pose.to_homogeneous();
    std::array::from_fn(|r| std::array::from_fn(|c| m[(r, c)]))
}

fn pose(rows: &[[f64; 4]; 4]) -> Option<Pose> {
    let m = nalgebra::Matrix4::from_fn(|r, c| rows[r][c]);
    let rotation = m.fixed_view::<3, 3>(0, 0).into_owned();
    let square = (rotation * rotation.transpose() - nalgebra::Matrix3::identity()).norm() < 1e-6;
    let shift = m.fixed_view::<3, 1>(0, 3).into_owned();
    let good = square && rotation.determinant() > 0.0 && shift.iter().all(|x| x.abs() <= FARTHEST);
    if !good || m.row(3) != nalgebra::RowVector4::new(0.0, 0.0, 0.0, 1.0) {
        return None;
    }
    let rotation = nalgebra::Rotation3::from_matrix_unchecked(rotation);
    Some(Pose::from_parts(shift.into(), nalgebra::UnitQuaternion::from_rotation_matrix(&rotation)))
}

/// Kinds that can be saved.
const KINDS: [FeatureKind; 9] = [
    FeatureKind::Plane,
    FeatureKind::Line,
    FeatureKind::Circle,
    FeatureKind::Point,
    FeatureKind::Sphere,
    FeatureKind::Cylinder,
    FeatureKind::Cone,
    FeatureKind::Torus,
    FeatureKind::Hole,
];
/// Version of the file.
const VERSION: u64 = 1;
/// Most features of a file.
const MOST_FEATURES: usize = 1000;
/// Largest coordinate or size, mm: a kilometre.
const FARTHEST: f64 = 1e6;
/// How far a feature may have moved to be found as the one it was, mm.
pub(crate) const LOOKED_FOR_WITHIN: f64 = 5.0;
/// Largest file that is read, bytes.
const LARGEST_DATUM: u64 = 16 << 20;
