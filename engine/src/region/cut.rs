//! Regions cut from a whole scan: everything, a box, a sphere, an offset from a shape.

use super::Region;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose, Primitive};
use crate::scan::Scan;

impl Region {
    /// All points of a scan.
    #[must_use]
    pub fn all(scan: &Scan) -> Self {
        Self::where_point(scan, |_| true)
    }

    /// Points inside an axis-parallel box, scan coordinates, mm, borders included.
    ///
    /// # Errors
    /// [`Error::Argument`] if a lower corner is above the upper one or not finite;
    /// [`Error::EmptyRegion`] if no point is inside.
    pub fn in_box(scan: &Scan, low: Point3, high: Point3) -> Result<Self> {
        Self::in_box_of(scan, &Pose::identity(), low, high)
    }

    /// Points inside a box along the axes of another frame, its corners in that frame, mm.
    ///
    /// # Errors
    /// As [`Region::in_box`].
    pub fn in_box_of(
        scan: &Scan,
        frame_from_scan: &Pose,
        low: Point3,
        high: Point3,
    ) -> Result<Self> {
        if !(0..3).all(|k| low[k] <= high[k]) {
            return Err(Error::argument(
                "box",
                format!("{:?} to {:?}", low.coords.as_slice(), high.coords.as_slice()),
                "each coordinate of the first corner at most that of the second",
            ));
        }
        let inside = |p: &Point3| {
            let q = frame_from_scan * p;
            (0..3).all(|k| low[k] <= q[k] && q[k] <= high[k])
        };
        Self::where_point(scan, inside).not_empty("no scan point lies in the box")
    }

    /// Points inside a sphere, scan coordinates, mm, border included.
    ///
    /// # Errors
    /// [`Error::Argument`] for a radius that is not positive; [`Error::EmptyRegion`].
    pub fn in_sphere(scan: &Scan, centre: Point3, radius: f64) -> Result<Self> {
        if !(radius > 0.0 && radius.is_finite()) {
            return Err(Error::argument("sphere radius", radius, "a positive length"));
        }
        Ok(Region::new(scan, scan.within(&centre, radius), None))
            .and_then(|r| r.not_empty("no scan point lies in the sphere"))
    }

    /// Points within a distance (mm) of a shape given in scan coordinates.
    ///
    /// # Errors
    /// [`Error::Argument`] for a distance that is not positive; [`Error::EmptyRegion`].
    pub fn near(scan: &Scan, shape: &Primitive, within: f64) -> Result<Self> {
        if !(within > 0.0 && within.is_finite()) {
            return Err(Error::argument("within", within, "a positive length"));
        }
        Self::where_point(scan, |p| shape.distance(p).abs() <= within)
            .not_empty("no scan point lies that near to the feature")
    }

    fn where_point(scan: &Scan, keep: impl Fn(&Point3) -> bool) -> Self {
        let ids = (0u32..).zip(scan.points()).filter(|(_, p)| keep(p)).map(|(i, _)| i).collect();
        Region::new(scan, ids, None)
    }

    fn not_empty(self, reason: &str) -> Result<Self> {
        if self.ids.is_empty() {
            return Err(Error::EmptyRegion { reason: reason.into() });
        }
        Ok(self)
    }
}
