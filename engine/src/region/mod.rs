//! Sets of point ids on one scan: grown from a pick, cut by a box, a sphere or an offset, trimmed from borders.

use crate::primitive::{Point3, Vec3};
use crate::scan::Scan;

/// Points of one scan that belong to one surface.
#[derive(Debug, Clone)]
pub struct Region {
    scan: Scan,
    ids: Vec<u32>,
    pick: Option<Point3>,
}

impl Region {
    /// Region of the given ids (sorted and made unique here).
    #[must_use]
    pub fn new(scan: &Scan, mut ids: Vec<u32>, pick: Option<Point3>) -> Self {
        ids.sort_unstable();
        ids.dedup();
        Region { scan: scan.clone(), ids, pick }
    }

    /// The scan.
    #[must_use]
    pub fn scan(&self) -> &Scan {
        &self.scan
    }

    /// Point ids, ascending, unique.
    #[must_use]
    pub fn ids(&self) -> &[u32] {
        &self.ids
    }

    /// The point it was grown from, scan coordinates, mm.
    #[must_use]
    pub fn pick(&self) -> Option<Point3> {
        self.pick
    }

    /// Positions of its points, mm, in the order of [`Region::ids`].
    #[must_use]
    pub fn points(&self) -> Vec<Point3> {
        self.ids.iter().map(|&i| self.scan.points()[i as usize]).collect()
    }

    /// Unit normals of its points, in the order of [`Region::ids`].
    #[must_use]
    pub fn normals(&self) -> Vec<Vec3> {
        self.ids.iter().map(|&i| self.scan.normals()[i as usize]).collect()
    }
}
