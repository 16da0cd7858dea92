//! The data section under construction: entities with their numbers, and the geometry all pieces share.

use std::fmt;

use super::text::{real, string};
use crate::primitive::{Direction, Point3, Vec3};

/// Number of an entity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Id(usize);

/// An edge and whether it is run through forwards.
pub(super) type Oriented = (Id, bool);

/// Entities written so far.
#[derive(Default)]
pub(super) struct Writer {
    text: String,
    count: usize,
    not_finite: Option<f64>,
}

/// Right-handed orthonormal placement: origin, z axis, x axis.
#[derive(Debug, Clone, Copy)]
pub(super) struct Placement {
    pub(super) origin: Point3,
    pub(super) z: Direction,
    pub(super) x: Direction,
}

impl Writer {
    /// Adds an entity, `body` being all between `=` and `;`.
    pub(super) fn add(&mut self, body: impl fmt::Display) -> Id {
        self.count += 1;
        self.text.push_str(&format!("#{}={body};\n", self.count));
        Id(self.count)
    }

    /// A number as text; the first that is not finite is remembered for [`Writer::not_finite`].
    pub(super) fn real(&mut self, x: f64) -> String {
        if !x.is_finite() {
            self.not_finite.get_or_insert(x);
        }
        real(x)
    }

    /// The first number so far that has no place in a file.
    pub(super) fn not_finite(&self) -> Option<f64> {
        self.not_finite
    }

    /// All entities, one a line.
    pub(super) fn into_text(self) -> String {
        self.text
    }

    pub(super) fn point(&mut self, p: &Point3) -> Id {
        self.named_point("", p)
    }

    pub(super) fn named_point(&mut self, name: &str, p: &Point3) -> Id {
        let xyz = self.triple(&p.coords);
        self.add(format_args!("CARTESIAN_POINT({},{xyz})", string(name)))
    }

    pub(super) fn placement(&mut self, at: &Placement) -> Id {
        let origin = self.point(&at.origin);
        let z = self.direction(&at.z);
        let x = self.direction(&at.x);
        self.add(format_args!("AXIS2_PLACEMENT_3D('',{origin},{z},{x})"))
    }

    pub(super) fn vertex(&mut self, p: &Point3) -> Id {
        let point = self.point(p);
        self.add(format_args!("VERTEX_POINT('',{point})"))
    }

    /// A line whose parameter counts in millimetres from `start`.
    pub(super) fn line(&mut self, start: &Point3, along: &Direction) -> Id {
        let point = self.point(start);
        let direction = self.direction(along);
        let vector = self.add(format_args!("VECTOR('',{direction},1.)"));
        self.add(format_args!("LINE('',{point},{vector})"))
    }

    pub(super) fn circle(&mut self, name: &str, at: &Placement, radius: f64) -> Id {
        let placement = self.placement(at);
        let radius = self.real(radius);
        self.add(format_args!("CIRCLE({},{placement},{radius})", string(name)))
    }

    /// An edge from one vertex to the other in the sense of its curve.
    pub(super) fn edge(&mut self, from: Id, to: Id, curve: Id) -> Id {
        self.add(format_args!("EDGE_CURVE('',{from},{to},{curve},.T.)"))
    }

    pub(super) fn edge_loop(&mut self, edges: &[Oriented]) -> Id {
        let uses: Vec<Id> = edges
            .iter()
            .map(|(edge, forward)| {
                self.add(format_args!("ORIENTED_EDGE('',*,*,{edge},{})", flag(*forward)))
            })
            .collect();
        self.add(format_args!("EDGE_LOOP('',{})", list(&uses)))
    }

    /// A face from its loops, the outer one first; `along_surface` says whether its normal is the surface's.
    pub(super) fn face(
        &mut self,
        name: &str,
        loops: &[Id],
        surface: Id,
        along_surface: bool,
    ) -> Id {
        let bounds: Vec<Id> = loops
            .iter()
            .enumerate()
            .map(|(i, l)| {
                let kind = if i == 0 { "FACE_OUTER_BOUND" } else { "FACE_BOUND" };
                self.add(format_args!("{kind}('',{l},.T.)"))
            })
            .collect();
        let (name, bounds, sense) = (string(name), list(&bounds), flag(along_surface));
        self.add(format_args!("ADVANCED_FACE({name},{bounds},{surface},{sense})"))
    }

    pub(super) fn direction(&mut self, d: &Direction) -> Id {
        let xyz = self.triple(d);
        self.add(format_args!("DIRECTION('',{xyz})"))
    }

    fn triple(&mut self, v: &Vec3) -> String {
        format!("({},{},{})", self.real(v.x), self.real(v.y), self.real(v.z))
    }
}

impl Placement {
    /// The axes of the file itself.
    pub(super) fn identity() -> Self {
        Placement {
            origin: Point3::origin(),
            z: Direction::new_unchecked(Vec3::z()),
            x: Direction::new_unchecked(Vec3::x()),
        }
    }

    pub(super) fn y(&self) -> Vec3 {
        self.z.cross(&self.x)
    }

    /// Unit vector at an angle from x about z.
    pub(super) fn radial(&self, angle: f64) -> Vec3 {
        let (sin, cos) = angle.sin_cos();
        self.x.into_inner() * cos + self.y() * sin
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "#{}", self.0)
    }
}

/// `(#1,#2)`.
pub(super) fn list(ids: &[Id]) -> String {
    let items: Vec<String> = ids.iter().map(Id::to_string).collect();
    format!("({})", items.join(","))
}

fn flag(yes: bool) -> &'static str {
    if yes { ".T." } else { ".F." }
}
