//! Writing what a run found: every file appears complete or not at all.

use std::path::{Path, PathBuf};

use super::outcome::Outcome;
use super::{joined, output};
use crate::error::{Error, Result};
use crate::exchange::write_step;
use crate::feature::Feature;
use crate::files::write_bytes;
use crate::primitive::Pose;
use crate::scan::{Column, Precision, write_ply};

/// What is written beside the usual files.
#[derive(Debug, Clone, Copy, Default)]
pub struct WriteOptions {
    /// The first scan in machine coordinates, `scan-machine.ply`.
    pub scan_machine: bool,
}

impl Outcome {
    /// Name of the assembly in STEP: the job's, which must not be that of a feature.
    fn title(&self) -> String {
        let mut title = self.job.clone();
        while self.features.iter().any(|f| f.feature.name == title) {
            title.push_str(" (job)");
        }
        title
    }

    /// Writes `result.json`, `features.step`, `report.html` (given as text), with a datum system `datum.json`, with a part
    /// `part-clearance.ply`, with a scan of the made part `made-deviation.ply`, with a way in
    /// `insertion-path.json`, and what the options and the job's `[output]` ask for; returns the paths.
    ///
    /// # Errors
    /// [`Error::Io`]; whatever building a file's content may bring. Files written before the
    /// failure are complete.
    pub fn write(&self, folder: &Path, page: &str, options: WriteOptions) -> Result<Vec<PathBuf>> {
        let json = self.to_json()?;
        std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, &e))?;
        let mut written = Vec::new();
        let mut path = |name: &str| {
            let path = folder.join(name);
            written.push(path.clone());
            path
        };
        if !self.features.is_empty() {
            let features: Vec<Feature> = self.features.iter().map(|f| f.feature.clone()).collect();
            let step = output::step_options(&self.output, &self.title())?;
            write_step(path("features.step"), &Pose::identity(), &features, &step)?;
        }
        if let Some(part) = &self.part {
            let clearance = [Column::Double("clearance", &self.part_clearance)];
            let path = path("part-clearance.ply");
            write_ply(path, &part.points, &part.triangles, &clearance, Precision::Double)?;
        }
        if let Some(made) = &self.made {
            let laid = made.scan.transformed(&made.part_from_scan);
            let deviation = [Column::Double("deviation", &made.deviation)];
            let path = path("made-deviation.ply");
            write_ply(path, laid.points(), laid.triangles(), &deviation, Precision::Double)?;
        }
        if let (true, Some(first)) = (options.scan_machine, self.scans.first()) {
            let moved = first.scan.transformed(&self.machine_from_scan);
            let path = path("scan-machine.ply");
            write_ply(path, moved.points(), moved.triangles(), &[], Precision::Double)?;
        }
        if let Some(way) = self.path_json()? {
            write_bytes(&path("insertion-path.json"), way.as_bytes())?;
        }
        if let Some(saved) = &self.saved {
            saved.write(path("datum.json"))?;
        }
        write_bytes(&path("report.html"), page.as_bytes())?;
        write_bytes(&path("result.json"), json.as_bytes())?;
        if let (Some(file), Some(merged)) = (&self.output.joined, &self.joined) {
            joined::write(self, merged, &path(file))?;
        }
        for mesh in &self.output.meshes {
            output::write_mesh(self, mesh, &path(&mesh.file))?;
        }
        Ok(written)
    }
}
