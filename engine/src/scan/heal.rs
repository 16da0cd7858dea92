//! Welding within a distance: for meshes whose writer rounded the copies of one corner differently.

use super::index::PointIndex;
use super::read::RawMesh;

impl RawMesh {
    /// Largest error that single precision, in which STL is stored, can have made between two copies of one
    /// corner, mm: four units in the last place of the largest coordinate. What [`RawMesh::weld_within`] may
    /// take when a mesh that should be closed is not.
    #[must_use]
    pub fn single_precision(&self) -> f64 {
        let largest = self.points.iter().map(|p| p.coords.amax()).fold(0.0, f64::max);
        4.0 * f64::from(f32::EPSILON) * largest
    }

    /// Moves every point onto the lowest one within `distance` (mm) that stays, drops the triangles that fall
    /// flat by it, and says how many points it joined, also in the notes. Given normals are dropped if any
    /// points were joined.
    pub fn weld_within(&mut self, distance: f64) -> usize {
        let index = PointIndex::new(&self.points);
        let mut ids = vec![u32::MAX; self.points.len()];
        let mut kept = Vec::new();
        for (i, p) in self.points.iter().enumerate() {
            if ids[i] != u32::MAX {
                continue;
            }
            ids[i] = kept.len() as u32;
            for near in index.within(p, distance) {
                let id = &mut ids[near as usize];
                *id = (*id).min(kept.len() as u32);
            }
            kept.push(*p);
        }
        let joined = self.points.len() - kept.len();
        if joined == 0 {
            return 0;
        }
        self.points = kept;
        self.normals = None;
        self.triangles.iter_mut().flatten().for_each(|id| *id = ids[*id as usize]);
        let before = self.triangles.len();
        self.triangles.retain(|t| t[0] != t[1] && t[1] != t[2] && t[2] != t[0]);
        let flat = before - self.triangles.len();
        self.notes.push(format!(
            "{joined} points within {distance:.1e} mm of others joined to them, {flat} triangles dropped"
        ));
        joined
    }
}
