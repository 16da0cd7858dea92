//! Points to fit to, of a region or of the host.

use std::ffi::c_void;
use std::sync::Arc;

use engine::associate::{Input, NoiseModel};
use engine::primitive::{Point3, Vec3};

use crate::error::Fault;
use crate::mesh::Coordinates;
use crate::pointer::{self, grows};
use crate::region::RegionBox;

/// Points of the host to fit to, without a scan. Read during the call.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_points {
    /// sizeof(fitw_points).
    pub struct_size: u32,
    /// FITW_SCALAR_… of points and normals; 0: double.
    pub scalar: i32,
    /// x, y, z of the first point, mm.
    pub points: *const c_void,
    /// Number of points.
    pub count: usize,
    /// Bytes from one point to the next; 0: side by side.
    pub point_stride: usize,
    /// Unit normal of each point, zero where unknown; NULL: none.
    pub normals: *const c_void,
    /// Bytes from one normal to the next; 0: side by side.
    pub normal_stride: usize,
    /// Where the user pointed: three numbers, mm; may be NULL.
    pub pick_mm: *const f64,
    /// Noise of the points, mm; 0: unknown.
    pub noise_mm: f64,
    /// Usual distance from point to point, mm; 0: unknown. Plug-ins may use it.
    pub resolution_mm: f64,
}

grows! { fitw_points 64 }

/// Points with what is known of them.
pub(crate) struct Data {
    points: Vec<Point3>,
    normals: Option<Vec<Vec3>>,
    pick: Option<Point3>,
    noise: Option<f64>,
    resolution: Option<f64>,
    region: Option<Arc<RegionBox>>,
}

impl Data {
    /// A region's points; computes normals and noise of its scan if they are not known yet.
    pub(crate) fn of_region(region: Arc<RegionBox>) -> Self {
        let of = &region.region;
        Data {
            points: of.points(),
            normals: Some(of.normals()),
            pick: of.pick(),
            noise: Some(of.scan().noise()),
            resolution: Some(of.scan().resolution()),
            region: Some(region),
        }
    }

    /// Points of the host, copied.
    pub(crate) fn of_host(points: *const fitw_points, name: &str) -> Result<Self, Fault> {
        let given = pointer::read_sized(points, name)?;
        let array = |pointer, stride, part: &str| {
            let part = format!("{name}.{part}");
            Coordinates::new(pointer, given.count, stride, given.scalar, &part)
        };
        let normals = match given.normals.is_null() {
            true => None,
            false => Some(array(given.normals, given.normal_stride, "normals")?.directions()?),
        };
        let mut resolution = 0.0;
        let part = format!("{name}.resolution_mm");
        crate::region::limit(&mut resolution, given.resolution_mm, &part)?;
        let pick = pointer::optional_three(given.pick_mm, &format!("{name}.pick_mm"))?;
        Ok(Data {
            points: array(given.points, given.point_stride, "points")?.points(1.0)?,
            normals,
            pick: pick.map(Point3::from),
            noise: (given.noise_mm > 0.0).then_some(given.noise_mm),
            resolution: (resolution > 0.0).then_some(resolution),
            region: None,
        })
    }

    pub(crate) fn input<'a>(&'a self, noise_model: Option<&'a NoiseModel>) -> Input<'a> {
        let mut input = Input::new(&self.points);
        input.normals = self.normals.as_deref();
        input.pick = self.pick;
        input.noise = self.noise;
        input.noise_model = noise_model;
        input.resolution = self.resolution;
        input
    }

    /// Positions in the input as numbers of the scan's points, if they are of a scan.
    pub(crate) fn ids(&self, positions: &[u32]) -> Vec<u32> {
        match &self.region {
            Some(region) => {
                let ids = region.region.ids();
                positions.iter().filter_map(|at| ids.get(*at as usize).copied()).collect()
            }
            None => positions.to_vec(),
        }
    }
}
