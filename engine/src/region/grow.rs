//! Growing a region from a pick along one shape, or over any surface as far as it is smooth.
//!
//! A patch round the pick is grown smoothly to several sizes, the shape is fitted to each, and
//! the scan is flooded from the pick as long as points lie on that shape; fit and flood repeat
//! until the region stands still. A curved surface is followed for as far as it is that shape,
//! with no limit on how far the normal turns. Region growing as in Rabbani, van den Heuvel and
//! Vosselman, "Segmentation of point clouds using smoothness constraint" (2006), with the shape
//! in the place of their curvature test.

use super::Region;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Primitive, Vec3};
use crate::scan::Scan;

/// Quick fit of one kind of shape to points and their unit normals; `None` if they do not give one.
pub type Refit = fn(&[Point3], &[Vec3]) -> Option<Primitive>;

/// How a region grows; lengths mm, angles rad. Every limit defaults from the scan's noise and resolution.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct Grow {
    /// The shape to follow; `None` to follow the surface as far as it goes on smoothly.
    pub refit: Option<Refit>,
    /// Largest distance of an accepted point from the shape; default 4 times the noise plus 5 % of the resolution.
    pub distance: f64,
    /// Largest angle between a point's normal and the shape's; default 20 degrees or what noise explains.
    pub angle: f64,
    /// Largest distance of the pick from the nearest scan point; default 5 times the resolution.
    pub pick_distance: f64,
    /// Points nearer than this to where the region ends are left out; default twice the
    /// resolution, less on narrow faces (see [`Region::trimmed_at_most`]).
    pub trim: f64,
}

impl Grow {
    /// Limits for following a shape on a scan.
    #[must_use]
    pub fn new(scan: &Scan, refit: Refit) -> Self {
        let (noise, resolution) = (scan.noise(), scan.resolution());
        Grow {
            refit: Some(refit),
            distance: 4.0 * noise + 0.05 * resolution,
            angle: 20f64.to_radians().max(4.0 * noise / resolution.max(f64::MIN_POSITIVE)).min(1.0),
            pick_distance: 5.0 * resolution,
            trim: 2.0 * resolution,
        }
    }

    /// Limits for following a surface over any shape, stopped by edges only: a point belongs if its
    /// normal turns from a neighbour's little more than is usual round the pick (at most `angle`), and if
    /// it lies within `distance` (default: any) of the pick.
    #[must_use]
    pub fn smooth(scan: &Scan) -> Self {
        let shape = Grow::new(scan, |_, _| None);
        Grow { refit: None, distance: f64::INFINITY, trim: 0.0, ..shape }
    }
}

impl Scan {
    /// Grows a region from a pick (scan coordinates, mm; near the surface, not exactly on it).
    ///
    /// # Errors
    /// [`Error::PickOffSurface`]; [`Error::EmptyRegion`] if no shape of the asked kind is there;
    /// [`Error::Argument`] for a pick that is not finite.
    pub fn grow(&self, pick: Point3, grow: &Grow) -> Result<Region> {
        let whole = self.grow_untrimmed(pick, grow)?;
        let region = whole.trimmed_at_most(grow.trim).0;
        if region.ids().is_empty() {
            return Err(Error::EmptyRegion {
                reason: format!(
                    "trimming {:.3} mm from the edges leaves nothing of {} points",
                    grow.trim,
                    whole.ids().len()
                ),
            });
        }
        Ok(region)
    }

    /// As [`Scan::grow`], with the points next to edges kept.
    ///
    /// # Errors
    /// As [`Scan::grow`].
    pub fn grow_untrimmed(&self, pick: Point3, grow: &Grow) -> Result<Region> {
        let start = self.pick_point(&pick, grow.pick_distance)?;
        let Some(refit) = grow.refit else {
            return Ok(Region::new(self, self.smooth_from(start, grow), Some(pick)));
        };
        let mut best: Vec<u32> = Vec::new();
        for patch in Patches::new(self, start, grow) {
            if best.len() > 4 * patch.len() && best.len() > ENOUGH {
                break;
            }
            if let Some(ids) = follow(self, start, patch, refit, grow)
                && ids.len() > best.len()
            {
                best = ids;
            }
        }
        if best.is_empty() {
            return Err(Error::EmptyRegion {
                reason: format!(
                    "no such shape fits the surface at ({:.3}, {:.3}, {:.3}) within {:.3} mm",
                    pick.x, pick.y, pick.z, grow.distance
                ),
            });
        }
        Ok(Region::new(self, best, Some(pick)))
    }

    /// Everything that goes on smoothly from a point, within reach.
    fn smooth_from(&self, start: u32, grow: &Grow) -> Vec<u32> {
        let (points, normals) = (self.points(), self.normals());
        let cos = self.usual_turn(start, grow).cos();
        let centre = points[start as usize];
        let mut seen = vec![false; points.len()];
        seen[start as usize] = true;
        let mut found = vec![start];
        let mut next = 0;
        while let Some(&id) = found.get(next) {
            next += 1;
            for &n in self.neighbours(id) {
                let turns = normals[id as usize].dot(&normals[n as usize]) < cos;
                let far = (points[n as usize] - centre).norm() > grow.distance;
                if !turns && !far && !std::mem::replace(&mut seen[n as usize], true) {
                    found.push(n);
                }
            }
        }
        found.sort_unstable();
        found
    }

    /// How far the normal may turn from neighbour to neighbour: half as much again as it usually does round
    /// the pick. A surface that turns slowly is left at edges that the scanner has rounded, too.
    fn usual_turn(&self, start: u32, grow: &Grow) -> f64 {
        let Some(patch) = Patches::new(self, start, grow).next() else { return grow.angle };
        let normals = self.normals();
        let turn = |a: u32, b: u32| normals[a as usize].angle(&normals[b as usize]);
        let mut turns: Vec<f64> = patch
            .iter()
            .flat_map(|&id| self.neighbours(id).iter().map(move |&n| (id, n)))
            .map(|(id, n)| turn(id, n))
            .filter(|t| *t <= grow.angle)
            .collect();
        turns.sort_by(f64::total_cmp);
        let usual = turns.get(turns.len() * 9 / 10).copied().unwrap_or(grow.angle);
        (1.5 * usual).clamp(0.25 * grow.angle, grow.angle)
    }

    /// Nearest point of the scan to a pick, if near enough.
    fn pick_point(&self, pick: &Point3, allowed: f64) -> Result<u32> {
        if !pick.coords.iter().all(|c| c.is_finite()) {
            return Err(Error::argument("pick", format!("{:?}", pick.coords), "finite numbers"));
        }
        let (id, distance) = self.nearest(pick);
        if distance > allowed {
            return Err(Error::PickOffSurface { at: (*pick).into(), distance, allowed });
        }
        Ok(id)
    }
}

/// Smooth patches round a point, each about twice the size of the one before.
struct Patches<'a> {
    scan: &'a Scan,
    limit: f64,
    seen: Vec<bool>,
    front: Vec<u32>,
    patch: Vec<u32>,
    target: usize,
}

impl<'a> Patches<'a> {
    fn new(scan: &'a Scan, start: u32, grow: &Grow) -> Self {
        let mut seen = vec![false; scan.points().len()];
        seen[start as usize] = true;
        // From neighbour to neighbour a curved surface turns little: half the shape's limit
        // stops the patch at edges and lets it round any radius over a few spacings.
        Patches {
            scan,
            limit: grow.angle,
            seen,
            front: vec![start],
            patch: vec![start],
            target: FIRST_PATCH,
        }
    }
}

impl Iterator for Patches<'_> {
    type Item = Vec<u32>;

    fn next(&mut self) -> Option<Vec<u32>> {
        let normals = self.scan.normals();
        let cos = self.limit.cos();
        while self.patch.len() < self.target && !self.front.is_empty() {
            let mut next = Vec::new();
            for &id in &self.front {
                for &n in self.scan.neighbours(id) {
                    let turns = normals[id as usize].dot(&normals[n as usize]) < cos;
                    if !turns && !std::mem::replace(&mut self.seen[n as usize], true) {
                        next.push(n);
                    }
                }
            }
            self.patch.extend_from_slice(&next);
            self.front = next;
        }
        if self.target > LAST_PATCH || self.patch.len() < FIRST_PATCH / 4 {
            return None;
        }
        let ended = self.front.is_empty();
        self.target = if ended { LAST_PATCH + 1 } else { self.target * 2 };
        Some(self.patch.clone())
    }
}

/// Fits and floods in turn from a patch until the region stands still.
fn follow(scan: &Scan, start: u32, patch: Vec<u32>, refit: Refit, grow: &Grow) -> Option<Vec<u32>> {
    let mut ids = patch;
    let mut last = 0;
    for _ in 0..ROUNDS {
        let shape = fit_sample(scan, &ids, refit)?;
        let flooded = flood(scan, start, &shape, grow);
        if flooded.len() < FIRST_PATCH / 4 {
            return None;
        }
        let still = flooded.len().abs_diff(last) * 1000 <= flooded.len();
        last = flooded.len();
        ids = flooded;
        if still {
            break;
        }
    }
    Some(ids)
}

/// The shape of at most [`SAMPLE`] points spread evenly over the ids.
fn fit_sample(scan: &Scan, ids: &[u32], refit: Refit) -> Option<Primitive> {
    let step = ids.len().div_ceil(SAMPLE);
    let chosen: Vec<usize> = ids.iter().step_by(step.max(1)).map(|&i| i as usize).collect();
    let points: Vec<Point3> = chosen.iter().map(|&i| scan.points()[i]).collect();
    let normals: Vec<Vec3> = chosen.iter().map(|&i| scan.normals()[i]).collect();
    refit(&points, &normals)
}

/// All points connected to `start` that lie on the shape; single bad points do not stop it,
/// since it may step over one point that is off.
fn flood(scan: &Scan, start: u32, shape: &Primitive, grow: &Grow) -> Vec<u32> {
    let on = |id: u32| lies_on(scan, id, shape, grow);
    let mut seen = vec![false; scan.points().len()];
    let mut front = vec![start];
    front.extend_from_slice(scan.neighbours(start));
    front.iter().for_each(|&i| seen[i as usize] = true);
    let mut found = Vec::new();
    while let Some(id) = front.pop() {
        if !on(id) {
            continue;
        }
        found.push(id);
        for &n in scan.neighbours(id) {
            if !std::mem::replace(&mut seen[n as usize], true) {
                front.push(n);
            }
        }
    }
    found.sort_unstable();
    found
}

fn lies_on(scan: &Scan, id: u32, shape: &Primitive, grow: &Grow) -> bool {
    let p = &scan.points()[id as usize];
    if shape.distance(p).abs() > grow.distance {
        return false;
    }
    let Some(expected) = shape.normal_at(p) else { return true };
    // Either sense: the shape does not know on which side the material is.
    scan.normals()[id as usize].dot(&expected).abs() >= grow.angle.cos()
}

/// Points of the first patch.
const FIRST_PATCH: usize = 48;
/// Points of the largest patch that is tried.
const LAST_PATCH: usize = 60_000;
/// A region of this many points, four times its patch, needs no larger start.
const ENOUGH: usize = 2_000;
/// Points that a quick fit looks at.
const SAMPLE: usize = 2_000;
/// Fits and floods from one patch.
const ROUNDS: usize = 8;
