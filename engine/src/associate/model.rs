//! What a criterion must know of a shape: the distance of a point with its derivatives.
//!
//! Method: for any shape the distance d of a fixed point x changes with a small rigid motion of the
//! shape about c by -[n, (x - c) × n], n being the unit normal at the foot; so a shape gives only d,
//! n, the derivative by its own sizes and which of the eight freedoms it has (Forbes 1991,
//! Least-squares best-fit geometric elements, NPL DITC 140/89). A curve has two such residuals.

use std::fmt::Debug;

use nalgebra::{Matrix3, Rotation3};

use crate::primitive::{Cylinder, Direction, Kind, Point3, Primitive, Vec3, frame_from_axis};

/// A shape with `N` freedoms. Sealed: only the built-in shapes have it.
pub(crate) trait Model<const N: usize>:
    Copy + Debug + Send + Sync + Into<Primitive>
{
    /// Its kind.
    const KIND: Kind;
    /// Residuals a point has: 1 for a surface, 2 for a curve.
    const RESIDUALS: usize;
    /// Its freedoms in its local frame, as indices of the layout of [`super::Covariance`].
    const FREE: [usize; N];
    /// Fewest points.
    const MINIMUM: usize;
    /// Points (with normals if [`Model::ORIENTED`]) that [`Model::elemental`] needs.
    const ELEMENTAL: usize;
    /// Whether [`Model::elemental`] needs normals.
    const ORIENTED: bool;
    /// Names of the sizes.
    const SIZES: [&'static str; 2];
    /// What would determine it better.
    const REMEDY: &'static str;

    /// The shape of these parts; what it does not have is ignored.
    fn with(point: Point3, direction: Direction, sizes: [f64; 2]) -> Self;
    /// Local frame: origin at the shape's point, third axis along its direction.
    fn frame(&self) -> Frame;
    /// What [`Model::foot`] needs of the sizes, computed once a pass.
    fn constants(&self) -> [f64; 4];
    /// Residual `k` of a point in local coordinates.
    fn foot(constants: &[f64; 4], x: [f64; 3], k: usize) -> Foot;
    /// The shape after a small motion and change of sizes.
    fn moved(&self, motion: &Motion) -> Self;
    /// The same shape located at the point nearest `middle`.
    fn near(&self, middle: &Point3) -> Self;
    /// The shape, given in scaled coordinates about `centre`, in outer coordinates.
    fn unscaled(&self, centre: &Point3, scale: f64) -> Self;
    /// The same shape with the sign of its direction settled; `normals` is the mean of those given.
    fn signed(&self, normals: Option<Vec3>) -> Self;
    /// Its sizes, zero where it has none.
    fn sizes(&self) -> [f64; 2];
    /// Whether it is a shape at all, given in scaled coordinates: an iteration can leave that range
    /// on its way, or flatten the shape until its distances are rounding.
    fn plausible(&self) -> bool {
        Self::SIZES[0].is_empty() || (0.0..FLATTEST).contains(&self.sizes()[0])
    }
    /// Closed form from few or many points.
    fn elemental(points: &[Point3], normals: &[Vec3]) -> Option<Self>;
    /// Rough shape for a supposed axis.
    fn along(_points: &[Point3], _axis: &Direction) -> Option<Self> {
        None
    }
    /// Further guesses of its own.
    fn guesses(_points: &[Point3]) -> Vec<Self> {
        Vec::new()
    }
    /// Guesses near a tube whose point is in the middle of the data.
    fn bent(_tube: &Cylinder) -> Vec<Self> {
        Vec::new()
    }
}

/// One residual of a point: its value, the unit normal at the foot, the derivatives by the sizes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Foot {
    pub(crate) d: f64,
    pub(crate) n: [f64; 3],
    pub(crate) s: [f64; 2],
}

/// Local frame: coordinates of x are `axesᵀ (x - origin)`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Frame {
    pub(crate) origin: Point3,
    pub(crate) axes: Matrix3<f64>,
}

/// Small motion in outer coordinates, about the shape's point, with a change of the sizes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Motion {
    pub(crate) shift: Vec3,
    pub(crate) turn: Vec3,
    pub(crate) sizes: [f64; 2],
}

impl Foot {
    /// Derivative of the residual by freedom `index` of the layout.
    #[inline(always)]
    pub(crate) fn derivative(&self, x: [f64; 3], index: usize) -> f64 {
        let n = self.n;
        match index {
            0..3 => -n[index],
            3 => x[2] * n[1] - x[1] * n[2],
            4 => x[0] * n[2] - x[2] * n[0],
            5 => x[1] * n[0] - x[0] * n[1],
            _ => self.s[index - 6],
        }
    }
}

impl Frame {
    /// Frame with its third axis along `axis`.
    pub(crate) fn along(origin: Point3, axis: &Direction) -> Self {
        Frame { origin, axes: frame_from_axis(axis).into_inner() }
    }

    /// Local coordinates of a point.
    pub(crate) fn local(&self, p: &Point3) -> [f64; 3] {
        let v = self.axes.tr_mul(&(p - self.origin));
        [v.x, v.y, v.z]
    }

    /// The motion of a step in the freedoms `free`.
    pub(crate) fn motion<const N: usize>(&self, free: &[usize; N], step: &[f64; N]) -> Motion {
        let mut full = [0.0; 8];
        for (index, value) in free.iter().zip(step) {
            full[*index] = *value;
        }
        Motion {
            shift: self.axes * Vec3::new(full[0], full[1], full[2]),
            turn: self.axes * Vec3::new(full[3], full[4], full[5]),
            sizes: [full[6], full[7]],
        }
    }
}

impl Motion {
    /// A direction turned by the motion.
    pub(crate) fn turned(&self, direction: &Direction) -> Direction {
        Direction::new_normalize(Rotation3::new(self.turn) * direction.into_inner())
    }
}

/// Distance of a point from the shape: signed for surfaces, never negative for curves.
#[inline(always)]
pub(crate) fn distance<M: Model<N>, const N: usize>(constants: &[f64; 4], x: [f64; 3]) -> f64 {
    let d = M::foot(constants, x, 0).d;
    if M::RESIDUALS == 1 {
        return d;
    }
    // Scaled numbers neither overflow nor vanish when squared, and `hypot` is several times slower.
    let across = M::foot(constants, x, 1).d;
    (d * d + across * across).sqrt()
}

/// The direction or its opposite, so that its largest component is positive.
pub(crate) fn positive(direction: Direction) -> Direction {
    if direction[direction.iamax()] < 0.0 { -direction } else { direction }
}

/// Point and unit radial direction with distance from the third axis; zero on the axis itself.
#[inline(always)]
pub(crate) fn radial(x: [f64; 3]) -> (f64, [f64; 2]) {
    let rho = (x[0] * x[0] + x[1] * x[1]).sqrt();
    let inverse = 1.0 / rho.max(f64::MIN_POSITIVE);
    (rho, [x[0] * inverse, x[1] * inverse])
}

/// Largest radius, in units of half the data's extent, that can be told from infinity.
pub(crate) const FLATTEST: f64 = 1e6;

/// The one check of every shape's derivatives, used by the tests of each.
#[cfg(test)]
pub(crate) mod check {
    use super::*;
    use crate::numeric::random::Random;

    /// Compares derivatives with central differences, and the residual with the exact distance of
    /// the shape, at random points round it.
    pub(crate) fn derivatives<M: Model<N>, const N: usize>(shape: M, spread: f64) {
        let mut random = Random::new(7);
        let mut number = || (random.bits() as f64 / u64::MAX as f64 - 0.5) * 2.0 * spread;
        let (frame, constants) = (shape.frame(), shape.constants());
        let exact: Primitive = shape.into();
        for _ in 0..200 {
            let p = frame.origin + Vec3::new(number(), number(), number());
            let x = frame.local(&p);
            let d = distance::<M, N>(&constants, x);
            assert!((d - exact.distance(&p)).abs() < 1e-12 * spread, "{shape:?} at {p}");
            for k in 0..M::RESIDUALS {
                let foot = M::foot(&constants, x, k);
                for j in 0..N {
                    let found = foot.derivative(x, M::FREE[j]);
                    let expected = difference::<M, N>(&shape, &frame, &p, k, j);
                    assert!(
                        (found - expected).abs() < 1e-6 * (1.0 + expected.abs()),
                        "{shape:?} at {p}: residual {k}, freedom {j}: {found}, {expected}"
                    );
                }
            }
        }
    }

    fn difference<M: Model<N>, const N: usize>(
        shape: &M,
        frame: &Frame,
        p: &Point3,
        k: usize,
        j: usize,
    ) -> f64 {
        let h = 1e-6;
        let at = |h: f64| {
            let mut step = [0.0; N];
            step[j] = h;
            let motion = frame.motion(&M::FREE, &step);
            let moved = shape.moved(&motion);
            let turned = Rotation3::new(motion.turn).into_inner() * frame.axes;
            let carried = Frame { origin: frame.origin + motion.shift, axes: turned };
            M::foot(&moved.constants(), carried.local(p), k).d
        };
        (at(h) - at(-h)) / (2.0 * h)
    }
}
