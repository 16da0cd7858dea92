//! Shapes that belong together, fitted at once: on one axis, about one centre, in one plane, with
//! parallel directions, or two square to each other.
//!
//! Method: one Gauss-Newton iteration over all shapes, its unknowns being what they share (a small
//! motion of the common axis, centre, plane or directions) and what each has of its own; each shape's
//! points enter as the triangle of their own QR. Every shape is weighted by the inverse variance of
//! its points about its own free fit (two-step, or feasible, weighted least squares: Koch 1999,
//! Parameter Estimation and Hypothesis Testing in Linear Models, 3.6): a scatter taken from the joint
//! fit would hide a shape that does not obey. A shape its own points leave open is first fitted held
//! to the best of the others.

use nalgebra::{DMatrix, DVector, Matrix3, Rotation3};

use super::constraint::{Constraint, ConstraintCost};
use super::data::Data;
use super::determined::CONDITION_LIMIT;
use super::held::{Held, Hold};
use super::part::{Alone, Part, alone, part};
use super::solve::{CLOSE, raised};
use super::{Criterion, Fit, Input, Request};
use crate::error::{Error, Result};
use crate::numeric::distribution::f_upper_tail;
use crate::primitive::{Direction, Kind, Point3, Primitive, Vec3, any_perpendicular};

/// One shape of a group.
#[derive(Debug, Clone, Copy)]
pub struct Member<'a> {
    /// Kind of the shape.
    pub kind: Kind,
    /// Its points, mm, in the frame of all members.
    pub input: Input<'a>,
}

/// What the shapes of a group share.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Relation {
    /// One axis: lines, circles, cylinders, cones, tori.
    Coaxial,
    /// One centre: circles, spheres, tori.
    Concentric,
    /// One plane: planes.
    Coplanar,
    /// Parallel directions (plane: its normal): all but spheres.
    Parallel,
    /// Two directions square to each other: all but spheres.
    Perpendicular,
}

/// Shapes fitted at once.
#[derive(Debug, Clone)]
pub struct GroupFit {
    /// In the order of the members; they obey the relation to rounding, each covariance is its part
    /// of the joint one.
    pub members: Vec<Fit<Primitive>>,
    /// What the relation cost all of them together; scatters are those of all points, mm.
    pub cost: ConstraintCost,
}

impl Relation {
    /// All relations.
    pub const ALL: [Relation; 5] = [
        Relation::Coaxial,
        Relation::Concentric,
        Relation::Coplanar,
        Relation::Parallel,
        Relation::Perpendicular,
    ];

    /// Name used in job files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Relation::Coaxial => "coaxial",
            Relation::Concentric => "concentric",
            Relation::Coplanar => "coplanar",
            Relation::Parallel => "parallel",
            Relation::Perpendicular => "perpendicular",
        }
    }

    /// Whether a kind of shape can be in such a group.
    #[must_use]
    pub fn takes(self, kind: Kind) -> bool {
        match self {
            Relation::Coaxial => matches!(
                kind,
                Kind::Line | Kind::Circle | Kind::Cylinder | Kind::Cone | Kind::Torus
            ),
            Relation::Concentric => matches!(kind, Kind::Circle | Kind::Sphere | Kind::Torus),
            Relation::Coplanar => kind == Kind::Plane,
            Relation::Parallel | Relation::Perpendicular => {
                !matches!(kind, Kind::Sphere | Kind::Composite)
            }
        }
    }

    /// Freedoms, in the layout of the covariance, that a shape shares.
    fn shared(self) -> &'static [usize] {
        match self {
            Relation::Coaxial => &[0, 1, 3, 4],
            Relation::Concentric => &[0, 1, 2],
            Relation::Coplanar => &[2, 3, 4],
            Relation::Parallel | Relation::Perpendicular => &[3, 4],
        }
    }

    /// Which motions of the common frame there are: shifts along and turns about its axes.
    fn motions(self) -> &'static [usize] {
        match self {
            Relation::Perpendicular => &[3, 4, 5],
            other => other.shared(),
        }
    }
}

/// Fits shapes that share an axis, centre, plane or direction, all at once.
///
/// # Errors
/// [`Error::Argument`] for too few members, more than [`MOST_MEMBERS`], kinds that the relation does
/// not take, constraints or criteria beside it; else as [`super::Fitter::fit`], the member named.
pub fn fit_group(
    members: &[Member<'_>],
    relation: Relation,
    request: &Request,
) -> Result<GroupFit> {
    check(members, relation, request)?;
    let work = || {
        let alone = each_alone(members, relation, request)?;
        let (centre, scale) = coordinates(members)?;
        let parts = members.iter().zip(&alone).enumerate().map(|(k, (m, alone))| {
            part(m.kind, &m.input, alone, centre, scale).map_err(|e| of_member(k, e))
        });
        let mut joint = Joint {
            common: Common::start(relation, &alone, &centre, scale),
            parts: parts.collect::<Result<_>>()?,
            relation,
        };
        let iterations = joint.solve(request)?;
        joint.result(iterations, scale)
    };
    match &request.context {
        Some(context) => context.run(work),
        None => work(),
    }
}

fn check(members: &[Member<'_>], relation: Relation, request: &Request) -> Result<()> {
    let name = relation.name();
    let count = members.len();
    let most = if relation == Relation::Perpendicular { 2 } else { MOST_MEMBERS };
    if !(2..=most).contains(&count) {
        let allowed = format!("2 to {most} for {name} shapes");
        return Err(Error::argument("members of the group", count, allowed));
    }
    if let Some(k) = members.iter().position(|m| !relation.takes(m.kind)) {
        let found = members[k].kind.name();
        let takes = format!("a shape that can be {name}; leave it out of the group");
        return Err(Error::argument(format!("member {} of the group", k + 1), found, takes));
    }
    if request.criterion != Criterion::LeastSquares || !request.constraints.is_empty() {
        let found = format!("{:?}, {} constraints", request.criterion, request.constraints.len());
        let allowed = "LeastSquares without constraints beside the group's own";
        return Err(Error::argument("request of a group", found, allowed));
    }
    Ok(())
}

/// Each member by its own points; those that are left open, held to the best of the others.
fn each_alone(members: &[Member<'_>], relation: Relation, request: &Request) -> Result<Vec<Alone>> {
    let mut found: Vec<Result<Fit<Primitive>>> = Vec::new();
    for (k, m) in members.iter().enumerate() {
        match alone(m.kind, &m.input, request) {
            Err(e @ (Error::Undetermined { .. } | Error::NotConverged { .. })) => {
                found.push(Err(of_member(k, e)));
            }
            done => found.push(Ok(done.map_err(|e| of_member(k, e))?)),
        }
    }
    let best = found
        .iter()
        .flatten()
        .min_by(|a, b| uncertainty(relation, a).total_cmp(&uncertainty(relation, b)));
    let Some(best) = best.map(|b| b.shape.clone()) else {
        // None stands by itself: the first says why.
        return found.into_iter().map(|f| f.map(|fit| Alone { fit, free: true })).collect();
    };
    let mut request = request.clone();
    let each = found.into_iter().zip(members).enumerate().map(|(k, (fit, m))| match fit {
        Ok(fit) => Ok(Alone { fit, free: true }),
        Err(open) => {
            request.constraints = known(relation, &best, m.kind);
            match alone(m.kind, &m.input, &request) {
                Ok(fit) => Ok(Alone { fit, free: false }),
                // Why it does not stand by itself is what helps.
                Err(Error::Argument { .. } | Error::Undetermined { .. }) => Err(open),
                Err(other) => Err(of_member(k, other)),
            }
        }
    });
    each.collect()
}

/// How poorly a shape knows what it shares: mm for a centre, rad for a direction.
fn uncertainty(relation: Relation, fit: &Fit<Primitive>) -> f64 {
    match (relation, fit.shape.direction()) {
        (Relation::Concentric, _) | (_, None) => fit.covariance.deviation_at(&fit.shape.point()),
        (_, Some(d)) => fit.covariance.tilt(&d),
    }
}

/// What one shape says of another.
fn known(relation: Relation, shape: &Primitive, kind: Kind) -> Vec<Constraint> {
    let through = Constraint::Through(shape.point());
    let Some(direction) = shape.direction() else { return vec![through] };
    match relation {
        // Where along the axis their centre is stays open.
        Relation::Coaxial if SLIDING.contains(&kind) => vec![Constraint::Parallel(direction)],
        Relation::Coaxial => vec![Constraint::Parallel(direction), through],
        Relation::Concentric => vec![through],
        Relation::Coplanar | Relation::Parallel => vec![Constraint::Parallel(direction)],
        Relation::Perpendicular => vec![Constraint::Perpendicular(direction)],
    }
}

/// Centre and scale that all members share, the scale a power of two.
fn coordinates(members: &[Member<'_>]) -> Result<(Point3, f64)> {
    let mut middles = Vec::new();
    for m in members {
        let data = Data::new(m.kind.name(), &m.input, 1)?;
        middles.push((data.centre, data.scale));
    }
    let centre = middles.iter().map(|m| m.0.coords).sum::<Vec3>() / middles.len() as f64;
    let reach = |m: &(Point3, f64)| (m.0.coords - centre).amax() + m.1;
    let scale = middles.iter().map(reach).fold(f64::MIN_POSITIVE, f64::max).log2().ceil().exp2();
    let grain = scale / 1024.0;
    Ok((Point3::from(centre.map(|c| (c / grain).round() * grain)), scale))
}

/// What the shapes share, scaled: a point, and axes whose third is the common direction (of two
/// that are square, the first; the first axis is the second's).
#[derive(Clone, Copy)]
struct Common {
    origin: Point3,
    axes: Matrix3<f64>,
}

impl Common {
    fn start(relation: Relation, alone: &[Alone], centre: &Point3, scale: f64) -> Self {
        let best = (0..alone.len()).min_by(|&a, &b| {
            let of = |k: usize| (!alone[k].free, uncertainty(relation, &alone[k].fit));
            of(a).0.cmp(&of(b).0).then(of(a).1.total_cmp(&of(b).1))
        });
        let shape = &alone[best.unwrap_or(0)].fit.shape;
        let third = |k: usize| alone[k].fit.shape.direction().unwrap_or(Vec3::z_axis());
        let (z, x) = if relation == Relation::Perpendicular {
            // The better of both keeps its direction.
            let (z, x) = (third(0), third(1));
            if best == Some(0) { (z, square(&x, &z)) } else { (square(&z, &x), x) }
        } else {
            let z = shape.direction().unwrap_or(Vec3::z_axis());
            (z, any_perpendicular(&z))
        };
        let axes = Matrix3::from_columns(&[x.into_inner(), z.cross(&x), z.into_inner()]);
        Common { origin: Point3::from((shape.point() - centre) / scale), axes }
    }

    /// Shift and turn of its motion `index`, outer axes.
    fn motion(&self, index: usize) -> (Vec3, Vec3) {
        let along = self.axes.column(index % 3).into_owned();
        if index < 3 { (along, Vec3::zeros()) } else { (Vec3::zeros(), along) }
    }

    fn moved(&self, relation: Relation, step: &[f64]) -> Self {
        let (mut shift, mut turn) = (Vec3::zeros(), Vec3::zeros());
        for (&index, &size) in relation.motions().iter().zip(step) {
            let (t, r) = self.motion(index);
            shift += t * size;
            turn += r * size;
        }
        let turned = Rotation3::new(turn).into_inner() * self.axes;
        // Square to rounding again, however many steps were taken.
        let z = Direction::new_normalize(turned.column(2).into_owned());
        let x = square(&Direction::new_normalize(turned.column(0).into_owned()), &z);
        let axes = Matrix3::from_columns(&[x.into_inner(), z.cross(&x), z.into_inner()]);
        Common { origin: self.origin + shift, axes }
    }

    /// What it holds member `k` to.
    fn held(&self, relation: Relation, k: usize) -> Held {
        let column = |k| Direction::new_unchecked(self.axes.column(k).into_owned());
        let direction = match relation {
            Relation::Concentric => Hold::Free,
            Relation::Perpendicular if k == 1 => Hold::Along(column(0)),
            _ => Hold::Along(column(2)),
        };
        let placed =
            matches!(relation, Relation::Coaxial | Relation::Concentric | Relation::Coplanar);
        let through = placed.then_some(self.origin);
        Held { direction, through, sizes: [None; 2], freedoms: 1 }
    }
}

/// The direction nearest to `d` that is square to `to`.
fn square(d: &Direction, to: &Direction) -> Direction {
    Hold::Across(*to).nearest(Some(*d))
}

/// The parts and what they share, as it is iterated.
struct Joint<'a> {
    common: Common,
    parts: Vec<Box<dyn Part + 'a>>,
    relation: Relation,
}

/// Linearised joint system, in standard deviations.
struct System {
    matrix: DMatrix<f64>,
    rhs: DVector<f64>,
    cost: f64,
}

impl Joint<'_> {
    /// Levenberg-Marquardt as in [`super::solve`]; returns the passes it took.
    fn solve(&mut self, request: &Request) -> Result<usize> {
        let still: Vec<f64> = vec![0.0; self.unknowns()];
        self.take(&still);
        let mut at = self.system();
        let (mut damping, mut last) = (0.0, f64::INFINITY);
        for pass in 1..=PASSES {
            if let Some(context) = &request.context {
                context.check()?;
            }
            let Some(step) = at.step(damping) else {
                damping = raised(damping);
                continue;
            };
            let before = self.common;
            self.take(step.as_slice());
            let (next, size) = (self.system(), step.norm());
            let close = size < CLOSE;
            if !(next.cost < at.cost || close && next.cost.is_finite()) {
                self.common = before;
                self.parts.iter_mut().for_each(|p| p.back());
                (damping, last) = (raised(damping), f64::INFINITY);
                continue;
            }
            at = next;
            if damping == 0.0 {
                // Steps that no longer shrink are rounding.
                if size <= 4.0 * f64::EPSILON || close && size > 0.3 * last {
                    return Ok(pass);
                }
                last = size;
            } else {
                damping = if close || damping < 1e-4 { 0.0 } else { damping / 8.0 };
            }
        }
        let reason = format!("still moving after {PASSES} passes");
        Err(Error::NotConverged { what: self.what(), reason })
    }

    fn result(&self, iterations: usize, scale: f64) -> Result<GroupFit> {
        let covariance = self.system().covariance().ok_or_else(|| {
            let reason = "what they share is open";
            Error::undetermined(self.what(), reason, "scan more of each, or leave the weakest out")
        })?;
        let mut members = Vec::new();
        for (k, part) in self.parts.iter().enumerate() {
            let design = self.design(k);
            let own = &design * &covariance * design.transpose();
            members.push(part.finish(&own, iterations).map_err(|e| of_member(k, e))?);
        }
        Ok(GroupFit { members, cost: self.cost(scale) })
    }

    fn cost(&self, scale: f64) -> ConstraintCost {
        let all: usize = self.parts.iter().map(|p| p.freedoms().len()).sum();
        let rows: usize = self.parts.iter().map(|p| p.rows()).sum();
        let freedoms = all - self.unknowns();
        let (mut now, mut weighted, mut free) = (0.0, 0.0, Some((0.0, 0.0)));
        for part in &self.parts {
            let ((held, alone), variance) = (part.squares(), part.sigma().powi(2));
            now += held;
            weighted += held / variance;
            free = free.zip(alone).map(|((a, b), s)| (a + s, b + s / variance));
        }
        let deviation = |sum: f64, spare: usize| (sum / spare.max(1) as f64).sqrt() * scale;
        let spare = rows.saturating_sub(all);
        let free = free.filter(|_| spare > 0);
        ConstraintCost {
            freedoms,
            sigma: deviation(now, rows.saturating_sub(self.unknowns())),
            free_sigma: free.map(|f| deviation(f.0, spare)),
            probability: free.map(|(_, alone)| {
                let more = (weighted - alone).max(0.0) / freedoms as f64;
                f_upper_tail(more / (alone / spare as f64), freedoms as f64, spare as f64)
            }),
        }
    }

    fn what(&self) -> String {
        format!("{} group of {}", self.relation.name(), self.parts.len())
    }

    /// Shared unknowns first, then each part's own.
    fn unknowns(&self) -> usize {
        let own = |p: &dyn Part| p.freedoms().iter().filter(|&&f| self.is_own(f)).count();
        let own: usize = self.parts.iter().map(|p| own(p.as_ref())).sum();
        self.relation.motions().len() + own
    }

    fn is_own(&self, freedom: usize) -> bool {
        !self.relation.shared().contains(&freedom)
    }

    /// Local step of part `k` by the joint unknowns.
    fn design(&self, k: usize) -> DMatrix<f64> {
        let (free, frame) = (self.parts[k].freedoms(), self.parts[k].frame());
        let mut design = DMatrix::zeros(free.len(), self.unknowns());
        let arm = frame.origin - self.common.origin;
        for (j, &index) in self.relation.motions().iter().enumerate() {
            let (shift, turn) = self.common.motion(index);
            let (t, r) = (frame.axes.tr_mul(&(shift + turn.cross(&arm))), frame.axes.tr_mul(&turn));
            for (i, &f) in free.iter().enumerate().filter(|(_, f)| !self.is_own(**f)) {
                design[(i, j)] = if f < 3 { t[f] } else { r[f - 3] };
            }
        }
        let owned = |p: &dyn Part| p.freedoms().iter().filter(|&&f| self.is_own(f)).count();
        let before: usize = self.parts[..k].iter().map(|p| owned(p.as_ref())).sum();
        let first = self.relation.motions().len() + before;
        let own = free.iter().enumerate().filter(|(_, f)| self.is_own(**f));
        own.enumerate().for_each(|(j, (i, _))| design[(i, first + j)] = 1.0);
        design
    }

    fn system(&self) -> System {
        let (mut rows, mut cost) = (Vec::new(), 0.0);
        for (k, part) in self.parts.iter().enumerate() {
            let (r, z, squares) = part.system();
            rows.push((r * self.design(k), z));
            cost += squares;
        }
        let count = rows.iter().map(|r| r.1.len()).sum();
        let mut matrix = DMatrix::zeros(count, self.unknowns());
        let mut rhs = DVector::zeros(count);
        let mut at = 0;
        for (part, z) in &rows {
            matrix.rows_mut(at, z.len()).copy_from(part);
            rhs.rows_mut(at, z.len()).copy_from(z);
            at += z.len();
        }
        System { matrix, rhs, cost }
    }

    /// Moves the common frame and every part by a step, then puts the parts on the frame.
    fn take(&mut self, step: &[f64]) {
        let steps: Vec<DVector<f64>> = (0..self.parts.len())
            .map(|k| self.design(k) * DVector::from_column_slice(step))
            .collect();
        self.common = self.common.moved(self.relation, step);
        let slides = self.relation == Relation::Coaxial;
        for (k, (part, step)) in self.parts.iter_mut().zip(&steps).enumerate() {
            part.step(step.as_slice(), self.common.held(self.relation, k), slides);
        }
    }
}

impl System {
    fn step(&self, damping: f64) -> Option<DVector<f64>> {
        let (rows, count) = self.matrix.shape();
        let mut matrix = self.matrix.clone().resize_vertically(rows + count, 0.0);
        let mut rhs = self.rhs.clone().resize_vertically(rows + count, 0.0);
        for j in 0..count {
            matrix[(rows + j, j)] = damping * self.matrix.column(j).norm();
        }
        rhs.neg_mut();
        let qr = matrix.qr();
        let step = qr.r().solve_upper_triangular(&qr.q().tr_mul(&rhs))?;
        step.iter().all(|s| s.is_finite()).then_some(step)
    }

    /// Covariance of the unknowns, `None` where they are open.
    fn covariance(&self) -> Option<DMatrix<f64>> {
        let count = self.matrix.ncols();
        let mut scaled = self.matrix.clone();
        for mut column in scaled.column_iter_mut() {
            let length = column.norm();
            column /= length.max(f64::MIN_POSITIVE);
        }
        let values = scaled.singular_values();
        // Not so for numbers that are none, either.
        let determined = values.max() < values.min() * CONDITION_LIMIT;
        if !determined {
            return None;
        }
        let r = self.matrix.clone().qr().r();
        let inverse = r.solve_upper_triangular(&DMatrix::identity(count, count))?;
        Some(&inverse * inverse.transpose())
    }
}

/// The same error with the member named.
fn of_member(k: usize, error: Error) -> Error {
    match error {
        Error::Undetermined { what, reason, remedy } => {
            Error::Undetermined { what: format!("member {} ({what})", k + 1), reason, remedy }
        }
        Error::NotConverged { what, reason } => {
            Error::NotConverged { what: format!("member {} ({what})", k + 1), reason }
        }
        other => other,
    }
}

/// Most members of a group: the joint system is dense.
pub const MOST_MEMBERS: usize = 64;
/// Shapes that may slide along a common axis.
const SLIDING: [Kind; 2] = [Kind::Circle, Kind::Torus];
/// Most passes over all points.
const PASSES: usize = 200;
