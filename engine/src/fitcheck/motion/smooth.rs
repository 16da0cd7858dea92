//! The moving surface as its neighbours say it is, where it may come near enough to decide.
//!
//! A whole motion has many places at which a single point that stands off its surface could come
//! first, so the search runs on a surface without such points: each is put onto what its neighbours
//! say (see `local`); where the surface is not smooth the point stays, unless it stands alone.

use rayon::prelude::*;

use super::super::clearance::{band, is_backed};
use super::super::local::Patch;
use super::super::view::View;
use super::prepare::Prepared;
use crate::error::Result;
use crate::primitive::Point3;
use crate::solid::{Least, Mesh};

/// Least distance of the part to the smoothed surface over a motion. `raw` is that to the points as
/// scanned.
pub(super) fn least(
    view: &View<'_>,
    what: &Prepared,
    patch: &Patch<'_>,
    raw: &Least,
    go_on: &(dyn Fn() -> Result<()> + Sync),
) -> Result<Least> {
    let mut places: Vec<Place> = vec![Place::Raw; patch.points.len()];
    let (mut found, mut within) = (*raw, raw.distance);
    // Without the points that stood off, what is nearest lies farther: more of the surface decides.
    for _ in 0..ROUNDS {
        let reaching = view.solid.may_reach(&what.mesh, &what.movements, within + band(patch));
        let wanted = |i: &u32| matches!(places[*i as usize], Place::Raw);
        let ids: Vec<u32> = reaching.into_iter().filter(wanted).collect();
        if ids.is_empty() {
            break;
        }
        let put: Vec<Place> = ids.par_iter().map(|&i| smoothed(patch, i)).collect();
        ids.iter().zip(put).for_each(|(&i, p)| places[i as usize] = p);
        let mesh = mesh_of(what, patch, &places);
        let Some(next) =
            view.solid.least_over(&mesh, &what.movements, raw.gap.max(TOLERANCE), go_on)?
        else {
            break;
        };
        found = next;
        if found.distance <= within + NEAR_ENOUGH * band(patch) {
            break;
        }
        within = found.distance;
    }
    if found.distance > DEPTH_TOLERANCE && !is_inside(view, what, &found) {
        return Ok(found);
    }
    let mesh = mesh_of(what, patch, &places);
    let deepest = view.solid.deepest(&mesh, &what.movements, DEPTH_TOLERANCE, go_on)?;
    // A part's edge may pass through the surface between its corners, none of which goes in.
    Ok(deepest.filter(|d| d.distance < 0.0).unwrap_or(found))
}

/// Where a point of the scan is taken to be.
#[derive(Clone, Copy)]
enum Place {
    /// Where it was scanned: not looked at.
    Raw,
    At(Point3),
    /// Not real.
    Nowhere,
}

fn smoothed(patch: &Patch<'_>, i: u32) -> Place {
    let p = patch.points[i as usize];
    if patch.noise == 0.0 {
        return Place::At(p);
    }
    match patch.local(i) {
        Some(local) => Place::At(nalgebra::center(&local.first.foot(&p), &local.second.foot(&p))),
        None if is_backed(patch, i) => Place::At(p),
        None => Place::Nowhere,
    }
}

fn mesh_of(what: &Prepared, patch: &Patch<'_>, places: &[Place]) -> Mesh {
    let at = |(place, raw): (&Place, &Point3)| match place {
        Place::At(p) => *p,
        Place::Raw | Place::Nowhere => *raw,
    };
    let points = places.iter().zip(patch.points).map(at).collect();
    let real = |t: &&[u32; 3]| !t.iter().any(|&i| matches!(places[i as usize], Place::Nowhere));
    Mesh::new(points, what.mesh.triangles().iter().filter(real).copied().collect())
}

/// Whether a corner of what moves lies inside the part where it comes nearest to its surface.
fn is_inside(view: &View<'_>, what: &Prepared, found: &Least) -> bool {
    let pose = crate::solid::pose_at(&what.movements, &found.values);
    let moved: Vec<Point3> = what.mesh.used().map(|p| pose * p).collect();
    view.solid.signed_all(&moved, 0.0).iter().flatten().any(|h| h.distance < -DEPTH_TOLERANCE)
}

/// To within what the least distance is found, mm: far below any scan's uncertainty.
pub(super) const TOLERANCE: f64 = 0.001;
/// To within what a depth is found, mm.
const DEPTH_TOLERANCE: f64 = 0.01;
const ROUNDS: usize = 6;
/// Share of the band by which the least distance may grow without more points deciding.
const NEAR_ENOUGH: f64 = 0.5;
