//! Signed clearance of every corner of the part to what was scanned, seats left out.

use super::scene::{Limits, Mount, Scene};
use super::view::{Owner, View};
use crate::context::Context;
use crate::error::Result;
use crate::exchange::Part;

/// Distance of each point of the part to the nearest scanned surface that is not its seat, or other part that it is
/// not meant to touch, mm: negative behind the surface (in the machine's material) where the side is certain, infinite
/// without any such surface. The part need not be clear of the scan.
///
/// # Errors
/// As [`super::all`].
pub fn part_clearance(
    part: &Part,
    scene: &Scene<'_>,
    mounts: &[Mount],
    limits: &Limits,
    context: &Context,
) -> Result<Vec<f64>> {
    context.report("part clearance", 0.0)?;
    context.run(|| {
        let view = View::new(part, scene, mounts, limits)?;
        let mut least = vec![f64::INFINITY; part.points.len()];
        for s in 0..view.scans.len() {
            let free = |o: &[Owner]| !o.iter().any(|o| matches!(o, Owner::Seat(_)));
            let mesh = view.mesh(s, free);
            for (l, hit) in least.iter_mut().zip(mesh.sides(&part.points)) {
                if let Some(hit) = hit.filter(|h| h.distance.abs() < l.abs()) {
                    *l = hit.distance;
                }
            }
        }
        for other in view.others.iter().filter(|o| !o.given.touches) {
            for (l, hit) in
                least.iter_mut().zip(other.solid.signed_all(&part.points, f64::INFINITY))
            {
                // Inside another part counts before any air.
                if let Some(hit) = hit.filter(|h| h.distance < l.abs()) {
                    *l = hit.distance.min(*l);
                }
            }
        }
        Ok(least)
    })
}
