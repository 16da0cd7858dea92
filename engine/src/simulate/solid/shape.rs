//! The bodies at the leaves of a solid, each with its exact signed distance.

use nalgebra::Matrix3;

use super::pipe::Pipe;
use super::profile::Profile;
use super::{bounds_of, length, round_max};
use crate::primitive::{Point3, Pose, Vec3};

/// A body at its place.
#[derive(Debug, Clone)]
pub(super) struct Leaf {
    rotation: Matrix3<f64>,
    shift: Vec3,
    machine_from_local: Pose,
    shape: Shape,
}

/// A body in its own frame.
#[derive(Debug, Clone)]
pub(super) enum Shape {
    /// Box about the origin: half lengths, all edges rounded.
    Box { half: Vec3, edge: f64 },
    /// Profile in x and y, between z = -half and half; the profile's radius rounds all edges.
    Extruded { profile: Profile, half: f64 },
    /// Profile in radius (x, mirrored at 0) and z, turned about z.
    Turned { profile: Profile },
    /// Hollow rectangular section along z: half width, half height, outer corner radius, wall.
    Tube { half: [f64; 2], corner: f64, wall: f64, length: f64 },
    /// Ball about the origin.
    Ball { radius: f64 },
    /// Bent pipe.
    Pipe(Pipe),
}

impl Leaf {
    pub(super) fn new(machine_from_local: &Pose, shape: Shape) -> Self {
        let inverse = machine_from_local.inverse();
        Leaf {
            rotation: inverse.rotation.to_rotation_matrix().into_inner(),
            shift: inverse.translation.vector,
            machine_from_local: *machine_from_local,
            shape,
        }
    }

    pub(super) fn distance(&self, p: &Point3) -> f64 {
        self.shape.distance(&Point3::from(self.rotation * p.coords + self.shift))
    }

    pub(super) fn bounds(&self) -> (Point3, Point3) {
        let (low, high) = self.shape.bounds();
        let corner = |i: usize| {
            Point3::from(Vec3::from_fn(|a, _| if i >> a & 1 == 0 { low[a] } else { high[a] }))
        };
        bounds_of((0..8).map(|i| self.machine_from_local * corner(i)), 0.0)
    }
}

impl Shape {
    fn distance(&self, p: &Point3) -> f64 {
        match self {
            Shape::Box { half, edge } => {
                let q = p.coords.abs() - half.add_scalar(-*edge);
                q.sup(&Vec3::zeros()).norm() + q.max().min(0.0) - edge
            }
            Shape::Extruded { profile, half } => {
                let across = profile.core_distance(p.x, p.y);
                let along = p.z.abs() - (half - profile.radius());
                length(across.max(0.0), along.max(0.0)) + across.max(along).min(0.0)
                    - profile.radius()
            }
            Shape::Turned { profile } => {
                profile.core_distance(length(p.x, p.y), p.z) - profile.radius()
            }
            Shape::Tube { half, corner, wall, length } => {
                let qx = p.x.abs() - (half[0] - corner);
                let qy = p.y.abs() - (half[1] - corner);
                let outer = super::length(qx.max(0.0), qy.max(0.0)) + qx.max(qy).min(0.0) - corner;
                let ring = (outer + wall / 2.0).abs() - wall / 2.0;
                round_max(ring, p.z.abs() - length, wall / 4.0)
            }
            Shape::Ball { radius } => p.coords.norm() - radius,
            Shape::Pipe(pipe) => pipe.distance(p),
        }
    }

    fn bounds(&self) -> (Point3, Point3) {
        let symmetric = |v: Vec3| (Point3::from(-v), Point3::from(v));
        match self {
            Shape::Box { half, .. } => symmetric(*half),
            Shape::Extruded { profile, half } => {
                let (low, high) = profile.bounds();
                (Point3::new(low[0], low[1], -half), Point3::new(high[0], high[1], *half))
            }
            Shape::Turned { profile } => {
                let (low, high) = profile.bounds();
                let r = high[0];
                (Point3::new(-r, -r, low[1]), Point3::new(r, r, high[1]))
            }
            Shape::Tube { half, length, .. } => symmetric(Vec3::new(half[0], half[1], *length)),
            Shape::Ball { radius } => symmetric(Vec3::repeat(*radius)),
            Shape::Pipe(pipe) => pipe.bounds(),
        }
    }
}
