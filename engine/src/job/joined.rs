//! The job's scans as one: put together, written, and told in `result.json`.

use std::path::Path;

use serde_json::{Value as Json, json};

use super::outcome::Outcome;
use super::output::SCANS;
use super::result::Units;
use crate::associate::Covariance;
use crate::context::Context;
use crate::error::Result;
use crate::exchange::{MeshBody, MeshFormat, write_meshes};
use crate::primitive::Point3;
use crate::register::{MergeOptions, Merged, Placed, Seam, merge};
use crate::scan::{Column, Precision, write_ply};

/// Scans of an outcome as one, machine coordinates.
pub(super) fn joined(outcome: &Outcome, context: &Context) -> Result<Merged> {
    let in_machine = |c: &Covariance| c.transformed(&outcome.machine_from_scan);
    let covariances: Vec<Option<Covariance>> =
        outcome.scans.iter().map(|s| s.spread.as_ref().map(in_machine)).collect();
    let placed = outcome.scans.iter().zip(&covariances).map(|(s, covariance)| Placed {
        scan: &s.scan,
        all_from_this: outcome.machine_from_scan * s.first_from_this,
        covariance: covariance.as_ref(),
    });
    merge(&placed.collect::<Vec<_>>(), &MergeOptions::default(), context)
}

/// Writes the scans as one: PLY with the scan of each point, other formats with a body a scan.
pub(super) fn write(outcome: &Outcome, merged: &Merged, path: &Path) -> Result<()> {
    let colour = |k: u32| SCANS[k as usize % SCANS.len()];
    if MeshFormat::of(path)? == MeshFormat::Ply {
        let channel =
            |c: usize| -> Vec<u8> { merged.point_scans.iter().map(|&k| colour(k)[c]).collect() };
        let [red, green, blue] = [0, 1, 2].map(channel);
        let scans: Vec<f32> = merged.point_scans.iter().map(|&k| k as f32).collect();
        let columns = [
            Column::Byte("red", &red),
            Column::Byte("green", &green),
            Column::Byte("blue", &blue),
            Column::Single("scan", &scans),
        ];
        return write_ply(path, &merged.points, &merged.triangles, &columns, Precision::Double);
    }
    let bodies: Vec<(usize, Vec<Point3>, Vec<[u32; 3]>)> = (0..outcome.scans.len())
        .map(|k| {
            // Points and triangles stand scan after scan.
            let points = range(&merged.point_scans, k);
            let triangles = range(&merged.triangle_scans, k);
            let first = points.start as u32;
            let moved = merged.triangles[triangles].iter().map(|t| t.map(|id| id - first));
            (k, merged.points[points].to_vec(), moved.collect())
        })
        .filter(|(_, points, _): &(usize, Vec<Point3>, Vec<[u32; 3]>)| !points.is_empty())
        .collect();
    let bodies: Vec<MeshBody<'_>> = bodies
        .iter()
        .map(|(k, points, triangles)| MeshBody {
            name: &outcome.scans[*k].name,
            points,
            triangles,
            colour: Some(colour(*k as u32)),
        })
        .collect();
    write_meshes(path, &bodies)
}

/// Places of the entries of an ascending list that are `k`.
fn range(scans: &[u32], k: usize) -> std::ops::Range<usize> {
    let k = k as u32;
    scans.partition_point(|&s| s < k)..scans.partition_point(|&s| s <= k)
}

impl Units {
    pub(super) fn joined(&self, outcome: &Outcome, merged: &Merged) -> Json {
        let name = |k: usize| outcome.scans.get(k).map_or("", |s| s.name.as_str());
        let seam = |s: &Seam| {
            json!({
                "a": name(s.a), "b": name(s.b), "length": self.len(s.length),
                "mean": self.len(s.mean), "uncertainty": self.len(s.uncertainty),
                "largest": self.len(s.largest), "at": self.point(&s.at),
                "largest_uncertainty": self.len(s.largest_uncertainty), "exceeds": s.exceeds,
            })
        };
        let kept = merged.kept.iter().enumerate();
        json!({
            "file": outcome.output.joined,
            "points": merged.points.len(),
            "triangles": merged.triangles.len(),
            "kept": kept.map(|(k, share)| json!({ "scan": name(k), "share": share })).collect::<Vec<_>>(),
            "seams": merged.seams.iter().map(seam).collect::<Vec<_>>(),
        })
    }
}
