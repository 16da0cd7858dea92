//! Joined scans as one: each place of the machine once, from the scan that knows it best.
//!
//! Every triangle is looked up on the other scans. Where several show the place, the scan whose
//! surface is known best there keeps it ([`layer`]), the others' triangles are left out; where they
//! end stays a seam, which is measured ([`seam`]). After Turk and Levoy, "Zippered polygon meshes from
//! range images" (1994); nothing is moved, averaged or filled in, so that every point is a measured one.

mod choose;
mod cover;
mod layer;
mod seam;

use crate::associate::Covariance;
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose};
use crate::scan::Scan;
use choose::Choice;
use layer::Layer;

pub use seam::Seam;

/// A scan at its place among the others.
#[derive(Debug, Clone, Copy)]
pub struct Placed<'a> {
    /// The scan in its own coordinates.
    pub scan: &'a Scan,
    /// Takes its coordinates to those of all.
    pub all_from_this: Pose,
    /// Covariance of that pose, coordinates of all; `None`: the scan that the others are joined to, or not known.
    pub covariance: Option<&'a Covariance>,
}

/// Limits of putting joined scans into one.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct MergeOptions {
    /// Surfaces of two scans that face one way and are this near are one, mm. Default: the coarser
    /// spacing of the two, plus four times their noise and the uncertainty of the join.
    pub reach: Option<f64>,
    /// How many times better a later scan must know a place to take it from an earlier one, so that
    /// equal scans do not make a patchwork; at least 1, default 1.2.
    pub margin: f64,
}

impl Default for MergeOptions {
    fn default() -> Self {
        MergeOptions { reach: None, margin: 1.2 }
    }
}

/// Several scans as one, coordinates of all.
#[derive(Debug, Clone)]
pub struct Merged {
    /// Points that are kept, mm, scan after scan.
    pub points: Vec<Point3>,
    /// Triangles that are kept, scan after scan; none if a scan is bare points.
    pub triangles: Vec<[u32; 3]>,
    /// Place of each point's scan in the order given.
    pub point_scans: Vec<u32>,
    /// Place of each triangle's scan in the order given.
    pub triangle_scans: Vec<u32>,
    /// Share of each scan's triangles (of bare points: points) that is kept, 0 to 1.
    pub kept: Vec<f64>,
    /// Where two scans meet, by pair.
    pub seams: Vec<Seam>,
}

/// Puts joined scans into one: where they overlap, the better one is kept.
///
/// Better is the scan whose surface has the smaller standard deviation there, across the surface and
/// averaged over a patch as wide as two spacings of the coarsest scan: its noise there, times its spacing
/// there over the width of the patch, and the uncertainty of its join there. So a fine scan wins over a
/// coarse one, a calm one over a noisy one, and one that met the surface square over one that met it
/// slantwise, whose points lie farther apart. A scan's border counts as twice as uncertain.
///
/// Along a seam the surfaces may leave open, or cover twice, up to a triangle's width.
///
/// # Errors
/// [`Error::Argument`] for fewer than two scans, a pose that is not finite, an option out of range;
/// [`Error::Limit`] for more points than an id can count; [`Error::Cancelled`].
pub fn merge(scans: &[Placed<'_>], options: &MergeOptions, context: &Context) -> Result<Merged> {
    validate(scans, options)?;
    context.run(|| {
        context.report("one surface: quality of the scans", 0.0)?;
        let mesh = scans.iter().all(|s| s.scan.is_mesh());
        let coarsest = scans.iter().map(|s| s.scan.resolution()).fold(0.0, f64::max);
        let layers: Vec<Layer<'_>> = scans.iter().map(|s| Layer::new(s, mesh, coarsest)).collect();
        let choice = Choice::new(&layers, options, context)?;
        context.report("one surface: seams", 0.8)?;
        let seams = seam::seams(&layers, &choice);
        let merged = gathered(&layers, &choice, seams)?;
        context.report("one surface", 1.0)?;
        Ok(merged)
    })
}

fn validate(scans: &[Placed<'_>], options: &MergeOptions) -> Result<()> {
    if scans.len() < 2 {
        return Err(Error::argument("scans to put into one", scans.len(), "at least two"));
    }
    for (k, s) in scans.iter().enumerate() {
        if !s.all_from_this.to_homogeneous().iter().all(|x| x.is_finite()) {
            return Err(Error::argument(format!("pose of scan {k}"), "not finite", "finite"));
        }
        if s.covariance.is_some_and(|c| !c.matrix.iter().all(|x| x.is_finite())) {
            let name = format!("covariance of scan {k}");
            return Err(Error::argument(name, "not finite", "finite"));
        }
    }
    if let Some(reach) = options.reach.filter(|r| !(r.is_finite() && *r > 0.0)) {
        return Err(Error::argument("reach", reach, "more than 0 mm"));
    }
    if !(options.margin.is_finite() && options.margin >= 1.0) {
        return Err(Error::argument("margin", options.margin, "1 or more"));
    }
    let count: u64 = scans.iter().map(|s| s.scan.points().len() as u64).sum();
    if count > u64::from(u32::MAX) {
        let limit = u64::from(u32::MAX);
        return Err(Error::Limit { what: "points of all scans".into(), found: count, limit });
    }
    Ok(())
}

fn gathered(layers: &[Layer<'_>], choice: &Choice, seams: Vec<Seam>) -> Result<Merged> {
    let mut out = Merged {
        points: Vec::new(),
        triangles: Vec::new(),
        point_scans: Vec::new(),
        triangle_scans: Vec::new(),
        kept: Vec::new(),
        seams,
    };
    for (k, layer) in layers.iter().enumerate() {
        let keeps = &choice.kept[k];
        let mut ids = vec![u32::MAX; layer.scan.points().len()];
        let mut put = |id: u32, out: &mut Merged| {
            let new = &mut ids[id as usize];
            if *new == u32::MAX {
                *new = out.points.len() as u32;
                out.points.push(layer.all_from_this * layer.scan.points()[id as usize]);
                out.point_scans.push(k as u32);
            }
            *new
        };
        let mut count = 0_usize;
        for e in (0..layer.count() as u32).filter(|&e| keeps[e as usize]) {
            count += 1;
            if layer.mesh {
                let corners = layer.scan.triangles()[e as usize];
                let triangle = corners.map(|id| put(id, &mut out));
                out.triangles.push(triangle);
                out.triangle_scans.push(k as u32);
            } else {
                put(e, &mut out);
            }
        }
        out.kept.push(count as f64 / layer.count().max(1) as f64);
    }
    if out.points.is_empty() {
        return Err(Error::Internal("nothing is left of the joined scans".into()));
    }
    Ok(out)
}
