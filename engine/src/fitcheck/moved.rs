//! The surface of a scan taken elsewhere, and the least air to it there as to what stands still.

use super::clearance::{Place, least};
use super::local::Patch;
use super::view::{ScanView, View};
use crate::primitive::{Point3, Primitive};
use crate::solid::{Mesh, Witness};

/// Triangles of a scan with all of its points moved.
pub(super) struct Moved {
    scan: ScanView,
    mesh: Mesh,
    /// Which points are corners of the mesh.
    own: Vec<bool>,
}

impl Moved {
    /// Takes the points of a patch elsewhere; the triangles are those of `mesh`.
    pub(super) fn new(
        view: &View<'_>,
        patch: &Patch<'_>,
        mesh: &Mesh,
        to: impl Fn(&Point3) -> Point3,
    ) -> Self {
        let points: Vec<Point3> = patch.points.iter().map(to).collect();
        let mut own = vec![false; points.len()];
        mesh.triangles().as_flattened().iter().for_each(|&i| own[i as usize] = true);
        let ids: Vec<u32> = (0..points.len() as u32).filter(|&i| own[i as usize]).collect();
        let moved: Vec<Point3> = ids.iter().map(|&i| points[i as usize]).collect();
        let hits = view.solid.signed_all(&moved, view.reach(patch.noise, patch.resolution));
        let near = ids.into_iter().zip(hits).filter_map(|(i, h)| Some((i, h?))).collect();
        let mesh = Mesh::new(points.clone(), mesh.triangles().to_vec());
        let scan = ScanView::moved(points, patch.noise, patch.resolution, near);
        Moved { scan, mesh, own }
    }

    /// The least air and the least raw distance; `shape` is the ideal shape taken there. `None`
    /// without triangles.
    pub(super) fn least(
        &self,
        view: &View<'_>,
        patch: &Patch<'_>,
        shape: Option<&Primitive>,
    ) -> Option<(Place, Witness)> {
        let moved = Patch { points: &self.scan.points, shape, ..*patch };
        let raw = view.solid.least_distance(&self.mesh, f64::INFINITY)?;
        let corners = self.mesh.triangles()[raw.triangle_b as usize];
        let own = |i: u32| self.own[i as usize];
        Some((least(&view.solid, &self.scan, &own, &moved, &raw, &corners), raw))
    }
}
