//! Growing along the built-in shapes: region growing below knows only a function, here it gets one.

use super::refit;
use crate::error::{Error, Result};
use crate::primitive::Kind;
use crate::region::Grow;
use crate::scan::Scan;

impl Grow {
    /// Limits for growing along a surface of some kind.
    ///
    /// # Errors
    /// [`Error::Argument`] for a kind that is no surface: a region does not grow along a line or a
    /// circle.
    pub fn along(scan: &Scan, kind: Kind) -> Result<Self> {
        Ok(match kind {
            Kind::Plane => Self::plane(scan),
            Kind::Sphere => Self::sphere(scan),
            Kind::Cylinder => Self::cylinder(scan),
            Kind::Cone => Self::cone(scan),
            Kind::Torus => Self::torus(scan),
            // Of what a plug-in makes of it nothing is known: all that goes on smoothly.
            Kind::Composite => Self::smooth(scan),
            Kind::Line | Kind::Circle => {
                return Err(Error::argument(
                    "shape to grow along",
                    kind.name(),
                    "plane, sphere, cylinder, cone, torus; give `region` instead of `at`",
                ));
            }
        })
    }

    /// Limits for growing along a plane.
    #[must_use]
    pub fn plane(scan: &Scan) -> Self {
        Grow::new(scan, |p, n| refit(Kind::Plane, p, n))
    }

    /// Limits for growing along a sphere.
    #[must_use]
    pub fn sphere(scan: &Scan) -> Self {
        Grow::new(scan, |p, n| refit(Kind::Sphere, p, n))
    }

    /// Limits for growing along a cylinder.
    #[must_use]
    pub fn cylinder(scan: &Scan) -> Self {
        Grow::new(scan, |p, n| refit(Kind::Cylinder, p, n))
    }

    /// Limits for growing along a cone.
    #[must_use]
    pub fn cone(scan: &Scan) -> Self {
        Grow::new(scan, |p, n| refit(Kind::Cone, p, n))
    }

    /// Limits for growing along a torus.
    #[must_use]
    pub fn torus(scan: &Scan) -> Self {
        Grow::new(scan, |p, n| refit(Kind::Torus, p, n))
    }
}
