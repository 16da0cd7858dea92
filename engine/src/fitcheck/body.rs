//! Plain geometry of a part against a scan, without judgement: distances, sides and touching triangles.
//!
//! For hosts that decide themselves, and for checks against other programs. Build once, ask often.

use crate::error::{Error, Result};
use crate::exchange::Part;
use crate::primitive::{Point3, Pose};
use crate::scan::Scan;
use crate::solid::{Mesh, Solid};

/// A closed part, prepared.
#[derive(Debug)]
pub struct PartBody(Solid);

/// A scan's surface, or its bare points, prepared in machine coordinates.
#[derive(Debug)]
pub struct ScanSurface(Mesh);

/// Nearest places of part and scan, machine coordinates, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Touching {
    /// Least distance of the surfaces; 0 where they touch.
    pub distance: f64,
    /// Place on the part.
    pub on_part: Point3,
    /// Place on the scan.
    pub on_scan: Point3,
}

impl PartBody {
    /// Prepares a part.
    ///
    /// # Errors
    /// [`Error::OpenPart`] if it is not closed, [`Error::Argument`] for a corner out of range.
    pub fn new(part: &Part) -> Result<Self> {
        let corners = part.points.len();
        if let Some(i) = part.triangles.iter().flatten().find(|&&i| i as usize >= corners) {
            return Err(Error::argument("part triangle corner", i, format!("below {corners}")));
        }
        Solid::new(&part.points, &part.triangles).map(PartBody).map_err(|open| Error::OpenPart {
            path: part.file.clone(),
            open_edges: open.count,
            at: open.at.into(),
        })
    }

    /// Least distance to a scan below `reach` (mm), `None` if there is none.
    #[must_use]
    pub fn least_distance(&self, scan: &ScanSurface, reach: f64) -> Option<Touching> {
        let w = self.0.least_distance(&scan.0, reach)?;
        Some(Touching { distance: w.distance, on_part: w.on_a, on_scan: w.on_b })
    }

    /// Touching pairs: triangle of the part, triangle of the scan (point of a cloud); ascending.
    #[must_use]
    pub fn touching_pairs(&self, scan: &ScanSurface) -> Vec<(u32, u32)> {
        self.0.touching_pairs(&scan.0)
    }

    /// Whether a point (machine coordinates, mm) lies inside any shell of the part.
    #[must_use]
    pub fn contains(&self, p: &Point3) -> bool {
        self.0.contains(p)
    }

    /// Signed distance of points (machine coordinates) to the part's surface, mm, negative inside;
    /// infinite beyond `reach` outside. On all threads of the ambient pool.
    #[must_use]
    pub fn signed_distances(&self, points: &[Point3], reach: f64) -> Vec<f64> {
        let hits = self.0.signed_all(points, reach);
        hits.into_iter().map(|h| h.map_or(f64::INFINITY, |h| h.distance)).collect()
    }
}

impl ScanSurface {
    /// Prepares a scan at a place.
    #[must_use]
    pub fn new(scan: &Scan, machine_from_scan: &Pose) -> Self {
        let points: Vec<Point3> = scan.points().iter().map(|p| machine_from_scan * p).collect();
        let triangles = if scan.triangles().is_empty() {
            (0..points.len() as u32).map(|i| [i; 3]).collect()
        } else {
            scan.triangles().to_vec()
        };
        ScanSurface(Mesh::new(points, triangles))
    }

    /// Distance of points (machine coordinates) to the scan, mm, negative behind its surface where
    /// that is certain; infinite for an empty scan. On all threads of the ambient pool.
    #[must_use]
    pub fn signed_distances(&self, points: &[Point3]) -> Vec<f64> {
        self.0.sides(points).into_iter().map(|h| h.map_or(f64::INFINITY, |h| h.distance)).collect()
    }
}
