//! Sets of point ids on one scan: grown from a pick, cut by a box, a sphere or an offset, trimmed from borders.

mod cut;
mod grow;
mod outline;
mod trim;

pub use grow::{Grow, Refit};

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
    /// Region of the given ids (sorted and made unique here; ids past the scan's end are dropped).
    #[must_use]
    pub fn new(scan: &Scan, mut ids: Vec<u32>, pick: Option<Point3>) -> Self {
        ids.sort_unstable();
        ids.dedup();
        let end = ids.partition_point(|&i| (i as usize) < scan.points().len());
        ids.truncate(end);
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

    /// Whether a point of the scan belongs to the region.
    #[must_use]
    pub fn contains(&self, id: u32) -> bool {
        self.ids.binary_search(&id).is_ok()
    }

    /// Positions of its points, mm, in the order of [`Region::ids`].
    #[must_use]
    pub fn points(&self) -> Vec<Point3> {
        self.ids.iter().map(|&i| self.scan.points()[i as usize]).collect()
    }

    /// Unit normals of its points, in the order of [`Region::ids`].
    #[must_use]
    pub fn normals(&self) -> Vec<Vec3> {
        let normals = self.scan.normals();
        self.ids.iter().map(|&i| normals[i as usize]).collect()
    }

    /// The part of the region whose points satisfy a condition on id.
    #[must_use]
    pub fn filtered(&self, keep: impl Fn(u32) -> bool) -> Self {
        Region {
            scan: self.scan.clone(),
            ids: self.ids.iter().copied().filter(|&i| keep(i)).collect(),
            pick: self.pick,
        }
    }
}
