//! The job file: TOML with a published JSON schema; units stand once at the top.

use std::collections::BTreeMap;
use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::access::{Insertion, ToolAccess};
use super::motion::MotionSpec;
use super::same::SameSpec;
use super::temperature::TemperatureSpec;
use super::together::JoiningSpec;

/// A whole job. Everything but `[job]` and one `[[scan]]` is optional.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// Name and units.
    pub job: Head,
    /// Scans; the first one's coordinates are those of the file.
    #[serde(rename = "scan")]
    pub scans: Vec<ScanSpec>,
    /// How the scans are joined beside their `join` each.
    pub joining: Option<JoiningSpec>,
    /// Features in the order they are found.
    #[serde(rename = "feature", default)]
    pub features: Vec<FeatureSpec>,
    /// Features that are fitted at once because they share an axis, centre, plane or direction.
    #[serde(rename = "group", default)]
    pub groups: Vec<GroupSpec>,
    /// The machine's own axes.
    pub datum: Option<DatumSpec>,
    /// The designed part, in machine coordinates.
    pub part: Option<PartSpec>,
    /// Further designed parts that are in the machine.
    #[serde(rename = "other_part", default)]
    pub other_parts: Vec<OtherPartSpec>,
    /// What is asked of the part.
    pub check: Option<CheckSpec>,
    /// Fitters of others.
    pub plugins: Option<PluginSpec>,
    /// How results are written, and what beside the usual files.
    #[serde(default)]
    pub output: OutputSpec,
}

/// How results are written, and what beside the usual files.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OutputSpec {
    /// Application protocol of `features.step`: `AP242` (default) or `AP214`.
    pub step: Option<String>,
    /// Complete curved faces in `features.step` instead of trimming them to what was seen.
    #[serde(default)]
    pub full: bool,
    /// When the scan was made, ISO 8601 (`2026-01-31`), a property in `features.step`.
    pub scan_date: Option<String>,
    /// Mesh files, in machine coordinates.
    #[serde(rename = "mesh", default)]
    pub meshes: Vec<MeshSpec>,
    /// Name of a mesh file of all scans as one, in machine coordinates: where they overlap, the better one is kept.
    pub joined: Option<String>,
}

/// A mesh file in machine coordinates.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MeshSpec {
    /// Name of the file; its extension says the format: `ply`, `stl`, `obj`, `glb`, `3mf`.
    pub file: String,
    /// What is in it: names of scans and of other parts, `part`, `features` (their faces); default all there is.
    pub of: Option<Vec<String>>,
}

/// Plug-ins that the job uses.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PluginSpec {
    /// Folders of a plug-in each, or of several, relative to the job file.
    pub folders: Vec<PathBuf>,
    /// Ids of plug-ins that may run inside the program instead of in a worker process.
    #[serde(default)]
    pub trusted: Vec<String>,
    /// Longest call of a plug-in in a worker, seconds; default 60.
    pub time_limit: Option<f64>,
    /// Most memory of a worker, megabytes; default 4096.
    pub memory_limit: Option<u64>,
}

/// Value of a plug-in fitter's option.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize, JsonSchema)]
#[serde(untagged, expecting = "an option is a number, or true or false")]
pub enum OptionSpec {
    /// Yes or no.
    Switch(bool),
    /// A number, in the job's units.
    Number(f64),
}

/// Name and units of a job.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// Name, for people.
    pub name: String,
    /// Unit of every length in the file and in the results: `mm`, `cm`, `m`, `in`.
    #[serde(default = "mm")]
    pub length: String,
    /// Unit of every angle in the file and in the results: `deg`, `rad`.
    #[serde(default = "deg")]
    pub angle: String,
}

/// A scan.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScanSpec {
    /// Name, unique among scans.
    pub name: String,
    /// STL, PLY, OBJ, GLB, 3MF, E57 or text points, relative to the job file.
    pub file: PathBuf,
    /// Unit of the scan's file where it differs from the job's: `mm`, `cm`, `m`, `in`; GLB, 3MF and E57 have
    /// their own.
    pub unit: Option<String>,
    /// Drop points that are not numbers instead of refusing the file.
    #[serde(default)]
    pub drop_invalid: bool,
    /// Largest permissible error of length as the scanner's maker states it.
    pub length_error: Option<LengthErrorSpec>,
    /// Target centres in this scan's coordinates (text, in the scan's unit).
    pub targets: Option<PathBuf>,
    /// How it is joined to another scan; every scan but the first needs it.
    pub join: Option<JoinSpec>,
}

/// Largest permissible error of a length: `fixed + per_length * length`.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LengthErrorSpec {
    /// Part that does not depend on the length.
    #[serde(default)]
    pub fixed: f64,
    /// Part in proportion to the length: 0.00005 for 0.05 mm per metre.
    #[serde(default)]
    pub per_length: f64,
}

/// How a scan is joined to another one.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct JoinSpec {
    /// Name of an earlier scan.
    pub to: String,
    /// The way.
    pub by: JoinBy,
    /// Target centres of this scan, for `by = "targets"`; the other scan's stand at its `targets`.
    pub targets: Option<PathBuf>,
    /// Where a join by surface starts; default `near`.
    #[serde(default)]
    pub start: JoinStart,
    /// Features that are the same in both scans, for `by = "features"`.
    #[serde(default)]
    pub same: Vec<SameSpec>,
    /// Follow targets or features by a fit of the overlapping surface; default yes after targets, no
    /// after features.
    pub refine: Option<bool>,
}

/// Ways to join scans.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum JoinBy {
    /// By the overlapping surface.
    Surface,
    /// By target centres with unknown correspondence.
    Targets,
    /// By features that are named in both scans.
    Features,
    /// The file already has the other scan's coordinates.
    Nothing,
}

/// Where a join by surface starts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum JoinStart {
    /// At the pose the files have, which is near.
    #[default]
    Near,
    /// Anywhere: the pose is looked for by shape.
    Unknown,
}

/// A feature.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FeatureSpec {
    /// Name, unique among features.
    pub name: String,
    /// Shape to fit: `plane`, `line`, `circle`, `sphere`, `cylinder`, `cone`, `torus`, `hole`; a
    /// construction: `intersection`, `midplane`; or the id of a plug-in's fitter: `vendor.name`.
    pub fit: String,
    /// Options of a plug-in's fitter by name; lengths and angles in the job's units.
    #[serde(default)]
    pub options: BTreeMap<String, OptionSpec>,
    /// A point near its surface; the region grows from it.
    pub at: Option<[f64; 3]>,
    /// Frame of `at`, of `region` and of `surveyed`.
    #[serde(default)]
    pub frame: FrameSpec,
    /// Scan it is taken from; default the first.
    pub scan: Option<String>,
    /// Points to use instead of growing from `at`.
    pub region: Option<RegionSpec>,
    /// A primitive of the scan's survey, whose points are used instead of growing from `at`.
    pub surveyed: Option<SurveyedSpec>,
    /// Points nearer than this to where the region ends are left out.
    pub trim: Option<f64>,
    /// Largest distance of a region's point from the shape; default from the scan's noise. For a
    /// plug-in's composite, which grows as far as the surface is smooth: largest distance from `at`.
    pub reach: Option<f64>,
    /// Face that a hole opens in.
    pub on: Option<String>,
    /// Features that a construction starts from.
    pub of: Option<[String; 2]>,
    /// Bolt that goes through a hole: `M8`.
    pub bolt: Option<String>,
    /// Association criterion: `least-squares` (default), `minimum-zone`, and for circle, sphere,
    /// cylinder and hole `maximum-inscribed` (the largest pin that enters) or `minimum-circumscribed`
    /// (the smallest ring that goes over).
    pub criterion: Option<String>,
    /// What is known of the shape; the fit obeys it exactly and says what it cost.
    pub hold: Option<HoldSpec>,
    /// Clearance that the part must keep to this feature.
    pub keep_clear: Option<f64>,
}

/// A primitive of a scan's survey: that of the feature's kind, and of about this size, which is nearest to a place.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SurveyedSpec {
    /// A place no farther from it than it is large: on it, or in the mouth of a bore.
    pub near: [f64; 3],
    /// Diameter of a round shape, within a tenth: of a cone in the middle of what was seen, of a torus that of
    /// its tube.
    pub size: Option<f64>,
}

/// What is known of a shape.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HoldSpec {
    /// Radius of a circle, sphere or cylinder.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub radius: Option<f64>,
    /// Major radius of a torus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub major_radius: Option<f64>,
    /// Minor radius of a torus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minor_radius: Option<f64>,
    /// Half-angle of a cone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub half_angle: Option<f64>,
    /// Direction (of a plane: its normal), either way, in the feature's `frame`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub direction: Option<[f64; 3]>,
    /// Point on its axis, line or plane, or its centre, in the feature's `frame`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub through: Option<[f64; 3]>,
    /// Feature before this one that its direction is parallel to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parallel: Option<String>,
    /// Feature before this one that its direction is square to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub perpendicular: Option<String>,
}

/// Features that are fitted at once.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupSpec {
    /// Name, unique among groups.
    pub name: String,
    /// What they share.
    pub relation: RelationSpec,
    /// Two features or more, all of one scan and frame.
    pub features: Vec<String>,
}

/// What the features of a group share.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RelationSpec {
    /// One axis.
    Coaxial,
    /// One centre.
    Concentric,
    /// One plane.
    Coplanar,
    /// Parallel directions.
    Parallel,
    /// Two directions square to each other.
    Perpendicular,
}

/// Frame of coordinates in the job file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FrameSpec {
    /// Scanner coordinates of the first scan.
    #[default]
    Scan,
    /// Machine coordinates; for features that are not part of the datum system.
    Machine,
}

/// Points of a feature other than by growing.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "region must be \"all\", { box = [[x, y, z], [x, y, z]] }, { sphere = [x, y, z, r] } or { near = \"feature\", within = d }"
)]
pub enum RegionSpec {
    /// All points of the scan.
    All(All),
    /// Points in a box between two corners.
    Box {
        /// Lower and upper corner.
        r#box: [[f64; 3]; 2],
    },
    /// Points in a sphere.
    Sphere {
        /// Centre and radius.
        sphere: [f64; 4],
    },
    /// Points near another feature's shape.
    Near {
        /// The other feature.
        near: String,
        /// Distance from it.
        within: f64,
    },
}

/// The word `all`.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum All {
    /// The whole scan.
    All,
}

/// The datum system in order of precedence.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DatumSpec {
    /// First datum.
    pub primary: Option<DatumFeature>,
    /// Second datum.
    pub secondary: Option<DatumFeature>,
    /// Third datum.
    pub tertiary: Option<DatumFeature>,
    /// `datum.json` of an earlier run instead: its datum system is found again in this job's scans, and what moved
    /// since is told. Relative to the job file.
    pub again: Option<PathBuf>,
    /// Where it is looked for: `unknown` (any pose, the default), or `near` where that day's first scan had it.
    pub start: Option<JoinStart>,
    /// Change up to which a feature counts as where it was; default 0.1 mm.
    pub still: Option<f64>,
}

/// A datum.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DatumFeature {
    /// Name of a feature.
    pub feature: String,
    /// Machine axis its direction becomes: `+x` … `-z`.
    pub axis: Option<String>,
    /// Coordinates it sets to zero ahead of the others: `origin`, `x`, `xy`, ….
    pub sets: Option<String>,
}

/// The designed part.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PartSpec {
    /// STEP, STL, PLY, OBJ, GLB or 3MF in machine coordinates, relative to the job file.
    pub file: PathBuf,
    /// Unit of a mesh file where it differs from the job's; STEP, GLB and 3MF have their own.
    pub unit: Option<String>,
    /// Importer of a plug-in that reads the file, such as `occt.step`; default the built-in readers.
    pub reader: Option<String>,
    /// Largest distance of the mesh from a STEP file's exact surface; default a tenth of the clearance.
    pub chord_error: Option<f64>,
    /// Bolt holes of the part and the scanned holes they belong to.
    #[serde(default)]
    pub mount: Vec<MountSpec>,
    /// A scan of the finished part, held against its model; every check is then made again with the part as made.
    pub made: Option<MadeSpec>,
}

/// A designed part beside the one that is checked: a guard, a sensor.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OtherPartSpec {
    /// Name, which no scan, feature or other part has too.
    pub name: String,
    /// STEP, STL, PLY, OBJ, GLB or 3MF in machine coordinates, relative to the job file.
    pub file: PathBuf,
    /// Unit of a mesh file where it differs from the job's; STEP, GLB and 3MF have their own.
    pub unit: Option<String>,
    /// Importer of a plug-in that reads the file, such as `occt.step`; default the built-in readers.
    pub reader: Option<String>,
    /// Largest distance of the mesh from a STEP file's exact surface; default that of the part.
    pub chord_error: Option<f64>,
    /// Clearance that the part must keep to it; default that of `[check]`.
    pub keep_clear: Option<f64>,
    /// Whether the part is meant to touch it: then only overlap is a fail, and no clearance is asked.
    #[serde(default)]
    pub touches: bool,
}

/// A scan of the finished part.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MadeSpec {
    /// Its file, in coordinates of its own, relative to the job file.
    pub file: PathBuf,
    /// Unit of the file where it differs from the job's.
    pub unit: Option<String>,
    /// What it is laid on: the whole `model` (default), or its `seats` with the walls of its bolt holes.
    #[serde(default)]
    pub laid_on: LaidOnSpec,
    /// Largest deviation from the model that is admitted.
    pub tolerance: Option<f64>,
    /// Three places or more, on the scan and on the model, where the part looks the same from two sides.
    #[serde(default)]
    pub start: Vec<PairSpec>,
}

/// What the scan of the finished part is laid on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LaidOnSpec {
    /// The whole model.
    #[default]
    Model,
    /// The faces that sit on the machine and the walls of the bolt holes.
    Seats,
}

/// One place twice.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PairSpec {
    /// In the coordinates of the finished part's scan.
    pub scan: [f64; 3],
    /// On the model, machine coordinates.
    pub part: [f64; 3],
}

/// One bolt.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MountSpec {
    /// The scanned hole.
    pub hole: String,
    /// A point near the part's hole, machine coordinates.
    pub near: [f64; 3],
    /// The face the part sits on there; default the face the hole opens in.
    pub seat: Option<String>,
    /// Length of the bolt under its head, for `tool_access`.
    pub bolt_length: Option<f64>,
}

/// What is asked of the part.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CheckSpec {
    /// Air required everywhere that is not a seat.
    #[serde(default)]
    pub clearance: f64,
    /// Gap or overlap up to which a seat counts as in contact; default from the scan's noise.
    pub seat_tolerance: Option<f64>,
    /// Whether tools must reach the bolts, and which.
    pub tool_access: Option<ToolAccess>,
    /// Whether the part can be brought in from outside, and how.
    pub insertion: Option<Insertion>,
    /// What moves while the part stays.
    #[serde(default)]
    pub motion: Vec<MotionSpec>,
    /// What machine and part are warmed to.
    pub temperature: Option<TemperatureSpec>,
}

impl DatumSpec {
    /// The datums in order of precedence.
    pub(super) fn features(&self) -> impl Iterator<Item = &DatumFeature> {
        self.primary.iter().chain(&self.secondary).chain(&self.tertiary)
    }
}

fn mm() -> String {
    "mm".into()
}

fn deg() -> String {
    "deg".into()
}
