//! A virtual hand-held scanner: what a few viewpoints see of a machine, with the faults of a real scan.
//!
//! The surface is meshed exactly ([`extract`]), what no viewpoint saw is left out ([`view`]), and the
//! rest is disturbed ([`defects`]) and expressed in the scanner's own frame. The data are invented:
//! the faults are those the trade reports, their sizes are options.

mod bvh;
mod defects;
mod extract;
mod octree;
mod pieces;
mod relax;
mod sheets;
mod view;

use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose, Vec3};
use crate::scan::Scan;

use super::machine::{Machine, Surface};
pub use view::Viewpoint;

/// How the virtual scanner sees and errs. Lengths mm, angles rad.
#[derive(Debug, Clone)]
pub struct Scanner {
    /// Spacing of the mesh; default 1.2.
    pub resolution: f64,
    /// Where that spacing holds; farther out it grows; default everywhere.
    pub focus: Option<Focus>,
    /// Standard deviation of independent noise normal to the surface; default 0.03.
    pub noise: f64,
    /// Standard deviation and correlation length of additional smooth noise; default none.
    pub smooth_noise: Option<(f64, f64)>,
    /// Distance between the two eyes, both of which must see a point; default 110.
    pub baseline: f64,
    /// Largest angle between the surface normal and the sight line; default 67 degrees.
    pub grazing: f64,
    /// Nearest and farthest distance seen; default 150 to 900.
    pub range: (f64, f64),
    /// Half-angle of the field of view; default 30 degrees.
    pub field: f64,
    /// Share of points moved off the surface by up to `outlier_reach`; default 0.
    pub outliers: f64,
    /// Largest distance of an outlier; default 1.
    pub outlier_reach: f64,
    /// Share of the border's points that fly off along the surface normal; default 0.
    pub flying: f64,
    /// Number of shiny spots where nothing is seen; default 0.
    pub spots: usize,
    /// Radius of a shiny spot; default 4.
    pub spot_radius: f64,
    /// Target dots: nothing is seen within `dot_radius` of them; machine coordinates; default none.
    pub dots: Vec<Point3>,
    /// Radius of a target dot; default 3.2.
    pub dot_radius: f64,
    /// Connected pieces of fewer triangles are dropped; default 40.
    pub smallest_piece: usize,
    /// Seed of everything random; default 1.
    pub seed: u64,
}

impl Default for Scanner {
    fn default() -> Self {
        Scanner {
            resolution: 1.2,
            focus: None,
            noise: 0.03,
            smooth_noise: None,
            baseline: 110.0,
            grazing: 67f64.to_radians(),
            range: (150.0, 900.0),
            field: 30f64.to_radians(),
            outliers: 0.0,
            outlier_reach: 1.0,
            flying: 0.0,
            spots: 0,
            spot_radius: 4.0,
            dots: Vec::new(),
            dot_radius: 3.2,
            smallest_piece: 40,
            seed: 1,
        }
    }
}

/// Where a scan is fine: about `centre` (machine coordinates) its spacing is the stated one, beyond
/// `radius` it grows until, at about two radii, it is `coarse` times as wide.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Focus {
    /// Middle of the fine part, machine coordinates, mm.
    pub centre: Point3,
    /// Radius of the fine part, mm.
    pub radius: f64,
    /// Largest spacing in units of the stated one, at least 1.
    pub coarse: f64,
}

/// A scan of a machine with its exact truth.
#[derive(Debug, Clone)]
pub struct SimulatedScan {
    /// Disturbed positions, scanner coordinates, mm.
    pub points: Vec<Point3>,
    /// Corner ids, counter-clockwise seen from outside.
    pub triangles: Vec<[u32; 3]>,
    /// Where each point would be without any disturbance: on the surface, machine coordinates, mm.
    pub exact: Vec<Point3>,
    /// Exact outward unit normal at each point, machine coordinates.
    pub normals: Vec<Vec3>,
    /// The true pose of the scanner's frame.
    pub machine_from_scan: Pose,
    /// Standard deviation of the disturbance normal to the surface without outliers, mm.
    pub sigma: f64,
}

/// Scans a machine from the given viewpoints; `machine_from_scan` is the frame of the result.
///
/// # Errors
/// [`Error::Argument`] for options that make no scan (spacing or range not positive, no viewpoint,
/// no body), [`Error::Limit`] if the spacing is too fine for the machine's size,
/// [`Error::EmptyRegion`] if nothing is seen.
pub fn scan(
    machine: &Machine,
    views: &[Viewpoint],
    scanner: &Scanner,
    machine_from_scan: &Pose,
) -> Result<SimulatedScan> {
    scanner.validate(views)?;
    let mut mesh =
        extract::extract(&machine.solid, machine_from_scan, scanner.resolution, scanner.focus)?;
    let sights = view::sights(views, scanner);
    let all = vec![true; mesh.points.len()];
    relax::find_normals(&mut mesh, &all);
    let facing = view::facing(&mesh, &sights, scanner);
    relax::relax(&mut mesh, &facing);
    mesh.split();
    let bvh = bvh::Bvh::new(&mesh.points, &mesh.triangles);
    let mut seen = view::seen(&mesh, &facing, &bvh, &sights, scanner);
    defects::drop_spots(&mesh, &mut seen, scanner);
    let kept = mesh.keep(&seen, scanner.smallest_piece);
    if kept.triangles.is_empty() {
        return Err(Error::EmptyRegion { reason: "no viewpoint sees the machine".into() });
    }
    Ok(defects::disturb(kept, scanner, machine_from_scan))
}

impl Scanner {
    fn validate(&self, views: &[Viewpoint]) -> Result<()> {
        let positive = [
            ("resolution", self.resolution),
            ("grazing", self.grazing),
            ("range", self.range.1 - self.range.0),
            ("field", self.field),
        ];
        let focus =
            self.focus.map(|f| [("focus", f.radius), ("focus", f.coarse - 1.0 + f64::EPSILON)]);
        for (name, value) in positive.into_iter().chain(focus.into_iter().flatten()) {
            if !(value.is_finite() && value > 0.0) {
                return Err(Error::argument(name, value, "more than 0"));
            }
        }
        if views.is_empty() {
            return Err(Error::argument("viewpoints", 0, "at least one"));
        }
        Ok(())
    }

    /// Standard deviation of the disturbance normal to the surface without outliers, mm.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        self.noise.hypot(self.smooth_noise.map_or(0.0, |s| s.0))
    }
}

impl SimulatedScan {
    /// The scan as the engine knows it.
    ///
    /// # Errors
    /// As [`Scan::from_mesh`].
    pub fn to_scan(&self) -> Result<Scan> {
        Scan::from_mesh(self.points.clone(), self.triangles.clone())
    }

    /// Ids of the points that lie on a surface of the machine, ascending.
    #[must_use]
    pub fn points_on(&self, surface: &Surface) -> Vec<u32> {
        (0..).zip(&self.exact).filter(|(_, p)| surface.holds(p)).map(|(i, _)| i).collect()
    }
}
