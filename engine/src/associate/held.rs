//! Constraints as the solver needs them: checked, in one form, with the steps they leave free.
//!
//! Null-space method on a manifold: a step is taken in an orthonormal basis of the motions that the
//! linearised constraints allow, then the shape is put back on the constraints exactly (Nocedal,
//! Wright 2006, Numerical Optimization, 15.2; Absil, Mahony, Sepulchre 2008, Optimization Algorithms
//! on Matrix Manifolds, 4.1). Every point of a plane, axis or centre that is known beyond the first
//! says as much as a direction does, so one point, one direction and two sizes hold all there is.

use nalgebra::{Matrix3, SMatrix};

use super::constraint::Constraint;
use super::model::{Frame, Model};
use crate::error::{Error, Result};
use crate::numeric::qr::Factor;
use crate::primitive::{Direction, Kind, Point3, Primitive, Vec3, any_perpendicular, unit};

/// What is known of a shape; by default nothing.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Held {
    pub(crate) direction: Hold,
    pub(crate) through: Option<Point3>,
    pub(crate) sizes: [Option<f64>; 2],
    /// Freedoms taken away.
    pub(crate) freedoms: usize,
}

/// What is known of a direction.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) enum Hold {
    #[default]
    Free,
    /// Perpendicular to this.
    Across(Direction),
    /// Parallel to this.
    Along(Direction),
}

/// Orthonormal basis of the steps of a shape: first those allowed, then the others.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Basis<const N: usize> {
    columns: [[f64; N]; N],
    free: usize,
}

impl Held {
    /// Checks constraints against a shape and against each other.
    pub(crate) fn new<M: Model<N>, const N: usize>(constraints: &[Constraint]) -> Result<Self> {
        let mut held = Held::default();
        for constraint in constraints {
            held.add(M::KIND, constraint)?;
        }
        if let [Some(major), Some(minor)] = held.sizes
            && M::KIND == Kind::Torus
            && major <= minor
        {
            let found = format!("{minor} with a major radius of {major}");
            return Err(refused("MinorRadius", found, "a minor radius below the major radius"));
        }
        held.freedoms = held.taken(M::KIND);
        if held.freedoms >= N {
            let found = format!("{} for the {N} freedoms of a {}", held.freedoms, M::KIND.name());
            let allowed = "fewer, so that something is left to fit";
            return Err(Error::argument("constraints", found, allowed));
        }
        Ok(held)
    }

    /// The same in coordinates about `centre`, in units of `scale`.
    pub(crate) fn scaled(&self, kind: Kind, centre: &Point3, scale: f64) -> Self {
        let [first, second] = self.sizes;
        Held {
            through: self.through.map(|p| Point3::from((p - centre) / scale)),
            sizes: [
                first.map(|s| s / scale),
                second.map(|s| match kind {
                    Kind::Cone => s,
                    _ => s / scale,
                }),
            ],
            ..*self
        }
    }

    /// The shape near this one that obeys.
    pub(crate) fn applied<M: Model<N>, const N: usize>(&self, shape: M) -> M {
        if self.freedoms == 0 {
            return shape;
        }
        let sizes = shape.sizes();
        let known: Primitive = shape.into();
        let direction = self.direction.nearest(known.direction());
        let from = |p: Point3| known.point() - p;
        let along = |p| direction.into_inner() * direction.dot(&from(p));
        let point = match (self.through, M::KIND) {
            (None, _) => known.point(),
            (Some(p), Kind::Plane) => known.point() - along(p),
            (Some(p), Kind::Line | Kind::Cylinder | Kind::Cone) => p + along(p),
            (Some(p), _) => p,
        };
        // A half-angle may have either sign while iterating.
        let sign = if M::KIND == Kind::Cone { sizes[1].signum() } else { 1.0 };
        let second = self.sizes[1].map(|s| s * sign);
        let sizes = [self.sizes[0].unwrap_or(sizes[0]), second.unwrap_or(sizes[1])];
        M::with(point, direction, sizes)
    }

    /// Steps allowed from a shape that obeys; `None` if all are.
    pub(crate) fn basis<M: Model<N>, const N: usize>(&self, shape: &M) -> Option<Basis<N>> {
        (self.freedoms > 0).then(|| Basis::beside(&self.rows::<M, N>(&shape.frame())))
    }

    /// Change of the least-squares step with a small turn of the direction that is held to: turn in
    /// outer coordinates, step in local ones.
    pub(crate) fn carried<M: Model<N>, const N: usize>(
        &self,
        shape: &M,
        factor: &Factor<N>,
    ) -> Option<SMatrix<f64, N, 3>> {
        let frame = shape.frame();
        let rows = self.rows::<M, N>(&frame);
        let basis = Basis::beside(&rows);
        let turned = self.turned(&frame);
        let mut out = SMatrix::<f64, N, 3>::zeros();
        for k in 0..3 {
            let ask: Vec<f64> =
                (0..rows.len()).map(|i| turned.get(i).map_or(0.0, |t| t[k])).collect();
            // The smallest step that follows the turn, then what the data make of the rest.
            let step = basis.least(&rows, &ask);
            let z = std::array::from_fn(|i| (0..N).map(|j| factor.r[j][i] * step[j]).sum());
            let rest = basis.step(&Factor { z, ..*factor }, 0.0)?;
            out.set_column(k, &SMatrix::<f64, N, 1>::from_fn(|j, _| step[j] + rest[j]));
        }
        Some(out)
    }

    /// Right-hand sides of the first rows for a turn of the known direction about each outer axis.
    fn turned(&self, frame: &Frame) -> Vec<Vec3> {
        let axes: &Matrix3<f64> = &frame.axes;
        match self.direction {
            Hold::Free => Vec::new(),
            Hold::Along(_) => vec![axes.column(0).into_owned(), axes.column(1).into_owned()],
            // a·u = 0 with u turned by w: -a·(w × u) = -w·(u × a).
            Hold::Across(u) => vec![-u.cross(&axes.column(2).into_owned())],
        }
    }

    /// Linearised constraints by the freedoms of the shape, independent of each other; those of the
    /// direction first.
    fn rows<M: Model<N>, const N: usize>(&self, frame: &Frame) -> Vec<[f64; N]> {
        let mut rows: Vec<[f64; 8]> = Vec::new();
        let mut row = |entries: &[(usize, f64)]| {
            let mut out = [0.0; 8];
            entries.iter().for_each(|(index, value)| out[*index] = *value);
            rows.push(out);
        };
        match self.direction {
            Hold::Free => {}
            Hold::Along(_) => {
                row(&[(3, 1.0)]);
                row(&[(4, 1.0)]);
            }
            Hold::Across(u) => {
                let u = frame.axes.tr_mul(&u.into_inner());
                row(&[(3, -u.y), (4, u.x)]);
            }
        }
        if let Some(p) = self.through {
            let [x, y, z] = frame.local(&p);
            match M::KIND {
                Kind::Plane => row(&[(2, 1.0), (3, y), (4, -x)]),
                Kind::Line | Kind::Cylinder | Kind::Cone => {
                    row(&[(0, 1.0), (4, z)]);
                    row(&[(1, 1.0), (3, -z)]);
                }
                _ => (0..3).for_each(|k| row(&[(k, 1.0)])),
            }
        }
        (0..2).filter(|k| self.sizes[*k].is_some()).for_each(|k| row(&[(6 + k, 1.0)]));
        rows.iter().map(|row| std::array::from_fn(|j| row[M::FREE[j]])).collect()
    }

    fn taken(&self, kind: Kind) -> usize {
        let direction = match self.direction {
            Hold::Free => 0,
            Hold::Across(_) => 1,
            Hold::Along(_) => 2,
        };
        let through = match (self.through, kind) {
            (None, _) => 0,
            (Some(_), Kind::Plane) => 1,
            (Some(_), Kind::Line | Kind::Cylinder | Kind::Cone) => 2,
            (Some(_), _) => 3,
        };
        direction + through + self.sizes.iter().flatten().count()
    }

    fn add(&mut self, kind: Kind, constraint: &Constraint) -> Result<()> {
        match *constraint {
            Constraint::Radius(r) => {
                let kinds = [Kind::Circle, Kind::Sphere, Kind::Cylinder];
                self.hold_size(kind, 0, ("Radius", r), &kinds, "a circle, sphere or cylinder")
            }
            Constraint::MajorRadius(r) => {
                self.hold_size(kind, 0, ("MajorRadius", r), &[Kind::Torus], "a torus")
            }
            Constraint::MinorRadius(r) => {
                self.hold_size(kind, 1, ("MinorRadius", r), &[Kind::Torus], "a torus")
            }
            Constraint::HalfAngle(a) if a >= std::f64::consts::FRAC_PI_2 => {
                Err(refused("HalfAngle", format!("{a} rad"), "below a right angle, π/2 rad"))
            }
            Constraint::HalfAngle(a) => {
                self.hold_size(kind, 1, ("HalfAngle", a), &[Kind::Cone], "a cone")
            }
            Constraint::Parallel(d) => self.hold_along(kind, "Parallel", d),
            Constraint::Perpendicular(d) => self.hold_across(kind, "Perpendicular", d),
            Constraint::Through(p) => self.hold_through(kind, p),
        }
    }

    fn hold_size(
        &mut self,
        kind: Kind,
        index: usize,
        (name, value): (&str, f64),
        kinds: &[Kind],
        of: &str,
    ) -> Result<()> {
        if !kinds.contains(&kind) {
            let found = format!("one on a {}", kind.name());
            return Err(refused(name, found, &format!("it on {of} only; leave it out")));
        }
        if !(value > 0.0 && value.is_finite()) {
            return Err(refused(name, value.to_string(), "a finite number above zero"));
        }
        if let Some(other) = self.sizes[index] {
            let found = format!("{value} beside {other}");
            return Err(refused(name, found, "one such constraint; leave the other out"));
        }
        self.sizes[index] = Some(value);
        Ok(())
    }

    fn hold_along(&mut self, kind: Kind, name: &str, along: Direction) -> Result<()> {
        let along = usable(kind, name, along)?;
        if self.direction != Hold::Free {
            return Err(already(name));
        }
        self.direction = Hold::Along(along);
        Ok(())
    }

    fn hold_across(&mut self, kind: Kind, name: &str, across: Direction) -> Result<()> {
        let across = usable(kind, name, across)?;
        self.direction = match self.direction {
            Hold::Free => Hold::Across(across),
            Hold::Along(_) => return Err(already(name)),
            Hold::Across(other) => {
                let both = across.cross(&other);
                if both.norm() < SEPARATE {
                    let found = format!("two directions {:.1e} rad apart", both.norm());
                    let allowed = format!("directions {SEPARATE} rad apart; leave one out");
                    return Err(refused(name, found, &allowed));
                }
                Hold::Along(Direction::new_normalize(both))
            }
        };
        Ok(())
    }

    fn hold_through(&mut self, kind: Kind, p: Point3) -> Result<()> {
        const NAME: &str = "Through";
        if !p.coords.norm_squared().is_finite() {
            return Err(refused(NAME, p.to_string(), "finite coordinates"));
        }
        let Some(first) = self.through else {
            self.through = Some(p);
            return Ok(());
        };
        let Some(between) = unit(p - first) else {
            return Err(refused(NAME, "the same point twice".into(), "points that differ"));
        };
        match kind {
            Kind::Plane => self.hold_across(kind, NAME, between),
            Kind::Line | Kind::Cylinder | Kind::Cone => self.hold_along(kind, NAME, between),
            _ => {
                let found = format!("two centres of a {}", kind.name());
                Err(refused(NAME, found, "one point; leave the other out"))
            }
        }
    }
}

impl Hold {
    /// The direction that obeys and is nearest to `direction`.
    pub(crate) fn nearest(&self, direction: Option<Direction>) -> Direction {
        let direction = direction.unwrap_or(Vec3::z_axis());
        match self {
            Hold::Free => direction,
            Hold::Along(a) if a.dot(&direction) < 0.0 => -*a,
            Hold::Along(a) => *a,
            Hold::Across(u) => {
                let without = |d: Vec3| d - u.into_inner() * u.dot(&d);
                let flat = unit(without(direction.into_inner()));
                // Once more: what is left along u is as large as rounding over the remainder.
                let clean = flat.and_then(|d| unit(without(d.into_inner())));
                clean.unwrap_or_else(|| any_perpendicular(u))
            }
        }
    }
}

impl<const N: usize> Basis<N> {
    /// Basis whose first columns are perpendicular to the rows, which are independent.
    fn beside(rows: &[[f64; N]]) -> Self {
        let mut done: Vec<[f64; N]> = Vec::with_capacity(N);
        for row in rows {
            done.extend(normal(without(&done, *row)));
        }
        let held = done.len();
        while done.len() < N {
            let rest = (0..N).map(|j| without(&done, std::array::from_fn(|i| f64::from(i == j))));
            // Of N - d dimensions left, some axis has at least its share.
            let longest = rest.max_by(|a, b| dot(a, a).total_cmp(&dot(b, b)));
            done.push(longest.and_then(normal).unwrap_or([0.0; N]));
        }
        let free = N - held;
        Basis { columns: std::array::from_fn(|j| done[(j + held) % N]), free }
    }

    /// The system's step within the basis, see [`Factor::step`].
    pub(crate) fn step(&self, factor: &Factor<N>, damping: f64) -> Option<[f64; N]> {
        let y = factor.restricted(&self.columns, self.free).step(damping)?;
        Some(self.expanded(&y))
    }

    /// Root of the inverse normal matrix within the basis, by column; see [`Factor::inverse`].
    pub(crate) fn inverse(&self, factor: &Factor<N>) -> Option<[[f64; N]; N]> {
        let inner = factor.restricted(&self.columns, self.free).inverse()?;
        Some(std::array::from_fn(
            |j| {
                if j < self.free { self.expanded(&inner[j]) } else { [0.0; N] }
            },
        ))
    }

    /// See [`Factor::condition`].
    pub(crate) fn condition(&self, factor: &Factor<N>) -> (f64, [f64; N]) {
        let (condition, weak) = factor.restricted(&self.columns, self.free).condition();
        (condition, self.expanded(&weak))
    }

    fn expanded(&self, y: &[f64; N]) -> [f64; N] {
        let allowed = self.columns[..self.free].iter().zip(y);
        allowed.fold([0.0; N], |x, (column, y)| std::array::from_fn(|i| x[i] + column[i] * y))
    }

    /// Smallest step with `rows * step = ask`.
    fn least(&self, rows: &[[f64; N]], ask: &[f64]) -> [f64; N] {
        // The complement spans the rows in order, so the rows are triangular in it.
        let complement = &self.columns[self.free..];
        let mut step = [0.0; N];
        for ((row, ask), column) in rows.iter().zip(ask).zip(complement) {
            let share = (ask - dot(row, &step)) / dot(row, column);
            step = std::array::from_fn(|i| step[i] + share * column[i]);
        }
        step
    }
}

/// What is left of a vector beside orthonormal ones; the second round reaches rounding.
fn without<const N: usize>(done: &[[f64; N]], mut v: [f64; N]) -> [f64; N] {
    for unit in done.iter().chain(done) {
        let part = dot(unit, &v);
        v = std::array::from_fn(|i| v[i] - part * unit[i]);
    }
    v
}

fn normal<const N: usize>(v: [f64; N]) -> Option<[f64; N]> {
    let length = dot(&v, &v).sqrt();
    (length > 0.0).then(|| v.map(|x| x / length))
}

fn dot<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// A unit direction of a shape that has one.
fn usable(kind: Kind, name: &str, direction: Direction) -> Result<Direction> {
    if kind == Kind::Sphere {
        let found = "one on a sphere".into();
        return Err(refused(name, found, "it on shapes with a direction; leave it out"));
    }
    unit(direction.into_inner())
        .ok_or_else(|| refused(name, format!("{:?}", direction.as_slice()), "a unit direction"))
}

fn already(name: &str) -> Error {
    let found = "a direction that another constraint fixes already".into();
    refused(
        name,
        found,
        "at most one Parallel, or two Perpendicular, or a second point; leave it out",
    )
}

fn refused(name: &str, found: String, allowed: &str) -> Error {
    Error::argument(format!("constraint {name}"), found, allowed)
}

/// Smallest angle, rad, between two directions a shape is perpendicular to: the direction that is
/// left is as uncertain as their rounding over it, and a shape is held to 1e-12.
const SEPARATE: f64 = 1e-3;
