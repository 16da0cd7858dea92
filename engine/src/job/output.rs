//! What the job asks to be written: checked before the run, gathered after it.

use std::collections::BTreeSet;
use std::path::Path;

use super::outcome::Outcome;
use super::read::{at, known, wrong};
use super::spec::{Job, MeshSpec, OutputSpec};
use crate::error::Result;
use crate::exchange::{MeshBody, MeshFormat, StepOptions, StepSchema, feature_colour, surface_of};
use crate::primitive::Point3;

impl Job {
    /// Checks `[output]`: known words, plain file names, each once and none of the usual ones.
    pub(super) fn validate_output(&self) -> Result<()> {
        at("[output]", step_options(&self.output, "job").and_then(|o| o.validate()))?;
        let mut taken: BTreeSet<String> = USUAL.iter().map(|f| (*f).to_owned()).collect();
        if let Some(file) = &self.output.joined {
            mesh_file(file, "[output] joined", &mut taken)?;
            if self.scans.len() < 2 {
                return Err(wrong("[output] joined", "needs two scans or more to put into one"));
            }
        }
        for mesh in &self.output.meshes {
            let place = format!("[[output.mesh]] \"{}\"", mesh.file);
            mesh_file(&mesh.file, &place, &mut taken)?;
            for name in mesh.of.iter().flatten() {
                let scans = self.scans.iter().map(|s| s.name.as_str());
                let others = self.other_parts.iter().map(|o| o.name.as_str());
                let all = scans.chain(others).chain([PART, FEATURES]);
                known("scan, other part, `part` or `features`", name, all)?;
                if name == PART && self.part.is_none() {
                    return Err(wrong(&place, "`part` needs a [part]"));
                }
                if name == FEATURES && self.features.is_empty() {
                    return Err(wrong(&place, "`features` needs a [[feature]]"));
                }
            }
        }
        Ok(())
    }
}

/// Checks the name of a mesh file.
fn mesh_file(file: &str, place: &str, taken: &mut BTreeSet<String>) -> Result<()> {
    if Path::new(file).file_name().is_none_or(|name| name != file) {
        return Err(wrong(
            place,
            "the file must be a plain name; it is put beside the other results",
        ));
    }
    at(place, MeshFormat::of(Path::new(file)))?;
    if !taken.insert(file.to_owned()) {
        return Err(wrong(place, "a file of that name is written already"));
    }
    Ok(())
}

/// Options of `features.step`.
pub(super) fn step_options(output: &OutputSpec, title: &str) -> Result<StepOptions> {
    let mut options =
        StepOptions { title: title.into(), full: output.full, ..StepOptions::default() };
    options.scan_date.clone_from(&output.scan_date);
    if let Some(name) = &output.step {
        options.schema = StepSchema::parse(name)?;
    }
    Ok(options)
}

/// A body with what it is made of.
struct Owned {
    name: String,
    points: Vec<Point3>,
    triangles: Vec<[u32; 3]>,
    colour: [u8; 3],
}

/// Writes one of the job's mesh files.
pub(super) fn write_mesh(outcome: &Outcome, mesh: &MeshSpec, path: &Path) -> Result<()> {
    let wanted = |name: &str| mesh.of.as_ref().is_none_or(|of| of.iter().any(|n| n == name));
    let mut bodies = Vec::new();
    for (k, scan) in outcome.scans.iter().enumerate().filter(|(_, s)| wanted(&s.name)) {
        let machine_from_this = outcome.machine_from_scan * scan.first_from_this;
        bodies.push(Owned {
            name: scan.name.clone(),
            points: scan.scan.points().iter().map(|p| machine_from_this * p).collect(),
            triangles: scan.scan.triangles().to_vec(),
            colour: SCANS[k % SCANS.len()],
        });
    }
    if let Some(part) = outcome.part.as_ref().filter(|_| wanted(PART)) {
        let stem =
            part.file.file_stem().map_or_else(|| PART.into(), |s| s.to_string_lossy().into_owned());
        let (points, triangles) = (part.points.clone(), part.triangles.clone());
        bodies.push(Owned { name: stem, points, triangles, colour: DESIGNED });
    }
    for other in outcome.other_parts.iter().filter(|o| wanted(&o.name)) {
        bodies.push(Owned {
            name: other.name.clone(),
            points: other.part.points.clone(),
            triangles: other.part.triangles.clone(),
            colour: OTHER,
        });
    }
    for found in outcome.features.iter().filter(|_| wanted(FEATURES)) {
        let (points, triangles) = surface_of(&found.feature, CHORD);
        if !triangles.is_empty() {
            let (name, colour) = (found.feature.name.clone(), feature_colour(found.feature.kind));
            bodies.push(Owned { name, points, triangles, colour });
        }
    }
    let mut taken = BTreeSet::new();
    for body in &mut bodies {
        // A scan, a feature and the part may have one name.
        while !taken.insert(body.name.clone()) {
            body.name.push('\'');
        }
    }
    let bodies: Vec<MeshBody<'_>> = bodies
        .iter()
        .map(|b| MeshBody {
            name: &b.name,
            points: &b.points,
            triangles: &b.triangles,
            colour: Some(b.colour),
        })
        .collect();
    crate::exchange::write_meshes(path, &bodies)
}

const PART: &str = "part";
const FEATURES: &str = "features";
/// Files of a run that a mesh must not take the place of.
const USUAL: [&str; 4] =
    ["part-clearance.ply", "made-deviation.ply", "scan-machine.ply", "insertion-path.json"];
/// How far the shown faces may be from a feature's surface, mm.
const CHORD: f64 = 0.05;
/// Greys for scans, in turn.
pub(super) const SCANS: [[u8; 3]; 3] = [[176, 176, 170], [148, 156, 160], [190, 180, 164]];
/// The part.
const DESIGNED: [u8; 3] = [58, 104, 148];
/// Other parts.
const OTHER: [u8; 3] = [172, 140, 84];
