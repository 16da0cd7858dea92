//! Faces on surfaces of revolution: cylinder, cone, sphere, torus, cut along their parameter lines.
//!
//! In (u, v) every such face is a rectangle; going round it counter-clockwise gives the loop that
//! ISO 10303-42 asks for, since the normal of all four surfaces is ∂u × ∂v, outwards. A side that
//! closes on itself becomes a seam, a side that shrinks to a pole is left out.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::entity::{Id, Oriented, Placement, Writer};
use crate::error::{Error, Result};
use crate::primitive::{Cone, Direction, Extent, Point3, Primitive, any_perpendicular, unit};

/// How a face on a surface of revolution is to be written.
pub(super) struct Style<'a> {
    /// Name of the face.
    pub(super) name: &'a str,
    /// Whether the material is outside: the wall of a hole.
    pub(super) inside_out: bool,
    /// Whether patches are completed: full turns, whole spheres, whole tubes.
    pub(super) full: bool,
    /// What is closer is one and the same, mm.
    pub(super) precision: f64,
    /// Feature and piece, for messages.
    pub(super) place: &'a str,
}

/// Writes the faces of one piece; several only where they share their edges.
///
/// # Errors
/// [`Error::Argument`] naming the place when shape and extent do not belong together or leave no area.
pub(super) fn faces(
    w: &mut Writer,
    shape: &Primitive,
    extent: &Extent,
    style: &Style<'_>,
) -> Result<Vec<Id>> {
    let patch = Patch::new(shape, extent, style)?;
    let surface = patch.surface.write(w);
    if matches!(patch.surface.form, Form::Torus { .. }) && patch.full_u && patch.full_v {
        return Ok(two_bends(w, &patch, surface, style));
    }
    let ring = if patch.low_pole && patch.high_pole && patch.full_u {
        let pole = w.vertex(&patch.surface.point(0.0, -FRAC_PI_2));
        w.add(format_args!("VERTEX_LOOP('',{pole})"))
    } else {
        let sides = rectangle(w, &patch);
        sides.write(w, style)
    };
    Ok(vec![w.face(style.name, &[ring], surface, !style.inside_out)])
}

/// A surface of revolution in its placement.
struct Surface {
    at: Placement,
    form: Form,
}

#[derive(Clone, Copy)]
enum Form {
    Cylinder { radius: f64 },
    Cone { radius: f64, half_angle: f64 },
    Sphere { radius: f64 },
    Torus { major: f64, minor: f64 },
}

/// A rectangle of parameters on a surface.
struct Patch {
    surface: Surface,
    u: (f64, f64),
    v: (f64, f64),
    full_u: bool,
    full_v: bool,
    low_pole: bool,
    high_pole: bool,
}

/// Edges round a patch in the sense of growing parameters; the sides of a seam are one edge.
struct Sides {
    bottom: Option<Id>,
    right: Id,
    top: Option<Id>,
    left: Id,
}

impl Sides {
    /// Counter-clockwise in (u, v), or clockwise for a face turned inside out.
    fn write(&self, w: &mut Writer, style: &Style<'_>) -> Id {
        let bottom = self.bottom.map(|e| (e, true));
        let top = self.top.map(|e| (e, false));
        let sides = [bottom, Some((self.right, true)), top, Some((self.left, false))];
        let mut ring: Vec<Oriented> = sides.into_iter().flatten().collect();
        if style.inside_out {
            ring.reverse();
            ring.iter_mut().for_each(|(_, forward)| *forward = !*forward);
        }
        w.edge_loop(&ring)
    }
}

fn rectangle(w: &mut Writer, patch: &Patch) -> Sides {
    let Patch { surface, u, v, .. } = patch;
    let a = w.vertex(&surface.point(u.0, v.0));
    let b = if patch.full_u || patch.low_pole { a } else { w.vertex(&surface.point(u.1, v.0)) };
    let d = if patch.full_v { a } else { w.vertex(&surface.point(u.0, v.1)) };
    let c = if patch.full_v {
        b
    } else if patch.full_u || patch.high_pole {
        d
    } else {
        w.vertex(&surface.point(u.1, v.1))
    };
    let bottom = (!patch.low_pole).then(|| surface.parallel(w, *u, v.0, a, b));
    let top = if patch.full_v {
        bottom
    } else {
        (!patch.high_pole).then(|| surface.parallel(w, *u, v.1, d, c))
    };
    let left = surface.meridian(w, u.0, *v, a, d);
    let right = if patch.full_u { left } else { surface.meridian(w, u.1, *v, b, c) };
    Sides { bottom, right, top, left }
}

/// A whole torus as two half bends that share the circles where they meet.
fn two_bends(w: &mut Writer, patch: &Patch, surface: Id, style: &Style<'_>) -> Vec<Id> {
    let s = &patch.surface;
    let ends = [0.0, PI].map(|u| w.vertex(&s.point(u, 0.0)));
    let joints = [0, 1].map(|i| s.meridian(w, PI * i as f64, (0.0, TAU), ends[i], ends[i]));
    [0, 1]
        .map(|i| {
            let from = PI * i as f64;
            let seam = s.parallel(w, (from, from + PI), 0.0, ends[i], ends[1 - i]);
            let (left, right) = (joints[i], joints[1 - i]);
            let ring = Sides { bottom: Some(seam), right, top: Some(seam), left }.write(w, style);
            w.face(style.name, &[ring], surface, !style.inside_out)
        })
        .into()
}

impl Surface {
    fn point(&self, u: f64, v: f64) -> Point3 {
        let (radius, height) = self.form.profile(v);
        self.at.origin + self.at.radial(u) * radius + self.at.z.into_inner() * height
    }

    fn write(&self, w: &mut Writer) -> Id {
        let at = w.placement(&self.at);
        match self.form {
            Form::Cylinder { radius } => {
                let radius = w.real(radius);
                w.add(format_args!("CYLINDRICAL_SURFACE('',{at},{radius})"))
            }
            Form::Cone { radius, half_angle } => {
                let (radius, angle) = (w.real(radius), w.real(half_angle));
                w.add(format_args!("CONICAL_SURFACE('',{at},{radius},{angle})"))
            }
            Form::Sphere { radius } => {
                let radius = w.real(radius);
                w.add(format_args!("SPHERICAL_SURFACE('',{at},{radius})"))
            }
            Form::Torus { major, minor } => {
                let (major, minor) = (w.real(major), w.real(minor));
                w.add(format_args!("TOROIDAL_SURFACE('',{at},{major},{minor})"))
            }
        }
    }

    /// Circle about the axis at `v`, from the first angle to the second.
    fn parallel(&self, w: &mut Writer, u: (f64, f64), v: f64, from: Id, to: Id) -> Id {
        let (radius, height) = self.form.profile(v);
        let origin = self.at.origin + self.at.z.into_inner() * height;
        // Counting from the start keeps the edge clear of the circle's own join.
        let x = Direction::new_normalize(self.at.radial(u.0));
        let circle = w.circle("", &Placement { origin, z: self.at.z, x }, radius);
        w.edge(from, to, circle)
    }

    /// Generator at angle `u`, from the first `v` to the second.
    fn meridian(&self, w: &mut Writer, u: f64, v: (f64, f64), from: Id, to: Id) -> Id {
        let out = self.at.radial(u);
        let curve = match self.form {
            Form::Cylinder { .. } => w.line(&self.point(u, v.0), &self.at.z),
            Form::Cone { half_angle, .. } => {
                let (sin, cos) = half_angle.sin_cos();
                let along = Direction::new_normalize(out * sin + self.at.z.into_inner() * cos);
                w.line(&self.point(u, v.0), &along)
            }
            Form::Sphere { radius } => self.tube(w, u, 0.0, radius),
            Form::Torus { major, minor } => self.tube(w, u, major, minor),
        };
        w.edge(from, to, curve)
    }

    /// Circle in the plane through the axis at angle `u`, whose angle is v.
    fn tube(&self, w: &mut Writer, u: f64, major: f64, minor: f64) -> Id {
        let out = self.at.radial(u);
        let at = Placement {
            origin: self.at.origin + out * major,
            z: Direction::new_normalize(out.cross(&self.at.z)),
            x: Direction::new_normalize(out),
        };
        w.circle("", &at, minor)
    }
}

impl Form {
    /// Radius and height of the parallel at `v`.
    fn profile(self, v: f64) -> (f64, f64) {
        match self {
            Form::Cylinder { radius } => (radius, v),
            Form::Cone { radius, half_angle } => (radius + v * half_angle.tan(), v),
            Form::Sphere { radius } => (radius * v.cos(), radius * v.sin()),
            Form::Torus { major, minor } => (major + minor * v.cos(), minor * v.sin()),
        }
    }

    /// Largest distance from the axis, mm.
    fn reach(self, v: (f64, f64)) -> f64 {
        match self {
            Form::Cylinder { radius } | Form::Sphere { radius } => radius,
            Form::Cone { .. } => self.profile(v.1).0,
            Form::Torus { major, minor } => major + minor,
        }
    }
}

impl Patch {
    fn new(shape: &Primitive, extent: &Extent, style: &Style<'_>) -> Result<Self> {
        let (form, origin, axis) = form_of(shape, style)?;
        let whole = (0.0, TAU);
        let (zero, pole, u, v) = match (extent, form) {
            (Extent::Patch { zero, pole, u, v }, _) => (*zero, *pole, *u, *v),
            (Extent::Whole, Form::Sphere { .. }) => {
                let z = Placement::identity();
                (z.x, z.z, whole, (-FRAC_PI_2, FRAC_PI_2))
            }
            (Extent::Whole, Form::Torus { .. }) => (any_perpendicular(&axis), axis, whole, whole),
            _ => return Err(style.refused("extent", "none on this shape", "a patch")),
        };
        let z = if matches!(form, Form::Sphere { .. }) { pole } else { axis };
        let x = unit(zero.into_inner() - z.into_inner() * z.dot(&zero))
            .filter(|_| zero.cross(&z).norm() > PARALLEL)
            .ok_or_else(|| style.refused("zero", "along the axis", "perpendicular to it"))?;
        let mut patch = Patch {
            surface: Surface { at: Placement { origin, z, x }, form },
            u,
            v,
            full_u: false,
            full_v: false,
            low_pole: false,
            high_pole: false,
        };
        if style.full {
            patch.complete();
        }
        patch.close(style);
        patch.check(style)?;
        Ok(patch)
    }

    /// Full turns, whole spheres, whole tubes; what has ends along its axis keeps them.
    fn complete(&mut self) {
        match self.surface.form {
            Form::Cylinder { .. } | Form::Cone { .. } => self.u = (self.u.0, self.u.0 + TAU),
            Form::Sphere { .. } => {
                self.u = (self.u.0, self.u.0 + TAU);
                self.v = (-FRAC_PI_2, FRAC_PI_2);
            }
            Form::Torus { .. } => self.v = (0.0, TAU),
        }
    }

    /// Finds which sides close on themselves or shrink to a point, and puts seams where kernels put theirs.
    fn close(&mut self, style: &Style<'_>) {
        let form = self.surface.form;
        self.full_u = (TAU - (self.u.1 - self.u.0)).abs() * form.reach(self.v) <= style.precision;
        match form {
            Form::Cylinder { .. } => {}
            Form::Cone { radius, half_angle } => {
                let tan = half_angle.tan();
                let tip = -radius / tan;
                self.low_pole = (self.v.0 - tip) * tan <= style.precision;
                if self.low_pole {
                    // Not every reader knows a seam that ends in the tip.
                    self.v.0 = if self.full_u { tip + TIP_GAP } else { tip };
                    self.low_pole = !self.full_u;
                }
                self.move_to_wide_end(radius, style.precision);
            }
            Form::Sphere { radius } => {
                self.low_pole = (self.v.0 + FRAC_PI_2).abs() * radius <= style.precision;
                self.high_pole = (FRAC_PI_2 - self.v.1).abs() * radius <= style.precision;
                if self.low_pole {
                    self.v.0 = -FRAC_PI_2;
                }
                if self.high_pole {
                    self.v.1 = FRAC_PI_2;
                }
            }
            Form::Torus { minor, .. } => {
                self.full_v = (TAU - (self.v.1 - self.v.0)).abs() * minor <= style.precision;
                if self.full_v {
                    self.v = (0.0, TAU);
                }
            }
        }
        if self.full_u {
            self.surface.at.x = Direction::new_normalize(self.surface.at.radial(self.u.0));
            self.u = (0.0, TAU);
        }
    }

    /// A cone is placed where it has a radius: not every reader knows one placed in its tip.
    fn move_to_wide_end(&mut self, radius: f64, precision: f64) {
        if let Form::Cone { half_angle, .. } = self.surface.form
            && radius <= precision
        {
            let shift = self.v.1;
            let wide = radius + shift * half_angle.tan();
            self.surface.at.origin += self.surface.at.z.into_inner() * shift;
            self.surface.form = Form::Cone { radius: wide, half_angle };
            self.v = (self.v.0 - shift, 0.0);
        }
    }

    fn check(&self, style: &Style<'_>) -> Result<()> {
        let form = self.surface.form;
        let (u, v) = (self.u.1 - self.u.0, self.v.1 - self.v.0);
        let turn = TAU + style.precision / form.reach(self.v);
        if !(u * form.reach(self.v) > style.precision && u <= turn) {
            return Err(style.refused("u", format!("{:?}", self.u), "from < to ≤ from + 2π"));
        }
        let (v_length, v_most, allowed) = match form {
            Form::Cylinder { .. } => (v, f64::INFINITY, "from < to"),
            Form::Cone { .. } => (v, f64::INFINITY, "from < to, to beyond the tip"),
            Form::Sphere { radius } => (v * radius, PI, "from < to in [-π/2, π/2]"),
            Form::Torus { minor, .. } => {
                (v * minor, TAU + style.precision / minor, "from < to ≤ from + 2π")
            }
        };
        let over =
            matches!(form, Form::Sphere { .. }) && (self.v.0 < -FRAC_PI_2 || self.v.1 > FRAC_PI_2);
        if !(v_length > style.precision && v <= v_most) || over {
            return Err(style.refused("v", format!("{:?}", self.v), allowed));
        }
        Ok(())
    }
}

impl Style<'_> {
    fn refused(&self, field: &str, found: impl ToString, allowed: &str) -> Error {
        Error::argument(format!("{}: {field}", self.place), found, allowed)
    }
}

fn form_of(shape: &Primitive, style: &Style<'_>) -> Result<(Form, Point3, Direction)> {
    Ok(match shape {
        Primitive::Cylinder(s) => (Form::Cylinder { radius: s.radius }, s.point, s.axis),
        Primitive::Cone(Cone { point, axis, radius, half_angle }) => {
            (Form::Cone { radius: *radius, half_angle: *half_angle }, *point, *axis)
        }
        Primitive::Sphere(s) => {
            (Form::Sphere { radius: s.radius }, s.centre, Placement::identity().z)
        }
        Primitive::Torus(s) => {
            (Form::Torus { major: s.major_radius, minor: s.minor_radius }, s.centre, s.axis)
        }
        other => {
            return Err(style.refused("shape", other.kind().name(), "a surface of revolution"));
        }
    })
}

/// How far from its tip a full cone ends, mm along its axis.
const TIP_GAP: f64 = 0.001;
/// Sine of the angle below which a direction counts as parallel to an axis.
const PARALLEL: f64 = 1e-6;
