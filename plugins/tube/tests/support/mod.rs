//! Simulated scans of tubes and the engine as the fitters' host.
#![allow(dead_code, unreachable_pub, reason = "each test file uses a part")]
#![allow(clippy::unwrap_used, reason = "tests")]

use std::cell::Cell;

use fitwright::associate::{Input as EngineInput, Request};
use fitwright::primitive::{Cylinder, Point3, Vec3};
use fitwright_plugin::{Failure, Fitted, Input, abi};
use fitwright_tube::{Host, Outcome, Value};
pub use nalgebra::{UnitQuaternion, Vector3};

pub mod tube;

pub type V3 = Vector3<f64>;

/// Noise of the simulated scanner, mm.
pub const NOISE: f64 = 0.03;

/// Seeded numbers: xorshift64* (Marsaglia 2003; Vigna 2016).
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        let mut r = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        (0..8).for_each(|_| {
            r.unit();
        });
        r
    }

    /// Evenly from 0 to 1.
    pub fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.unit()
    }

    /// Standard normal: Box and Muller 1958.
    pub fn normal(&mut self) -> f64 {
        let (a, b) = (1.0 - self.unit(), self.unit());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }

    pub fn direction(&mut self) -> V3 {
        loop {
            let v = V3::new(self.normal(), self.normal(), self.normal());
            if v.norm() > 0.1 {
                return v.normalize();
            }
        }
    }

    pub fn turn(&mut self) -> UnitQuaternion<f64> {
        UnitQuaternion::from_scaled_axis(self.direction() * self.between(0.0, 3.0))
    }
}

/// A scan: points with noise in all directions.
#[derive(Default)]
pub struct Scan {
    pub points: Vec<[f64; 3]>,
}

impl Scan {
    pub fn add(&mut self, p: V3, random: &mut Random) {
        let noise = V3::new(random.normal(), random.normal(), random.normal()) * NOISE;
        self.points.push((p + noise).into());
    }

    pub fn input(&self) -> Input<'_> {
        Input::of_points(&self.points, &[])
    }
}

/// Points on a cylinder patch: `seen` says which normals the scanner sees.
pub fn cylinder(
    (from, axis, length): (V3, V3, f64),
    radius: f64,
    spacing: f64,
    seen: &dyn Fn(&V3) -> bool,
    random: &mut Random,
    scan: &mut Scan,
) {
    let e = axis.cross(&if axis.x.abs() < 0.7 { V3::x() } else { V3::y() }).normalize();
    let f = axis.cross(&e);
    let count = (std::f64::consts::TAU * radius * length / spacing.powi(2)) as usize;
    for _ in 0..count {
        let (t, z) = (random.between(0.0, std::f64::consts::TAU), random.between(0.0, length));
        let n = e * t.cos() + f * t.sin();
        if seen(&n) {
            scan.add(from + axis * z + n * radius, random);
        }
    }
}

/// A rectangle of points.
pub fn plate((corner, a, b): (V3, V3, V3), spacing: f64, random: &mut Random, scan: &mut Scan) {
    let count = (a.norm() * b.norm() / spacing.powi(2)) as usize;
    for _ in 0..count {
        let (s, t) = (random.unit(), random.unit());
        scan.add(corner + a * s + b * t, random);
    }
}

/// Share of strays all over the box of the points.
pub fn strays(scan: &mut Scan, share: f64, random: &mut Random) {
    let (low, high) = scan.points.iter().fold((V3::repeat(1e9), V3::repeat(-1e9)), |b, p| {
        (b.0.inf(&V3::from(*p)), b.1.sup(&V3::from(*p)))
    });
    let count = (scan.points.len() as f64 * share / (1.0 - share)) as usize;
    for _ in 0..count {
        let t = V3::new(random.unit(), random.unit(), random.unit());
        scan.points.push((low + (high - low).component_mul(&t)).into());
    }
}

/// The engine as host; stops after some questions.
pub struct Engine {
    left: Cell<usize>,
}

impl Engine {
    pub fn new() -> Self {
        Engine { left: Cell::new(usize::MAX) }
    }

    pub fn stopping_after(questions: usize) -> Self {
        Engine { left: Cell::new(questions) }
    }
}

impl Host for Engine {
    fn cylinder(
        &self,
        points: &[[f64; 3]],
        normals: Option<&[[f64; 3]]>,
    ) -> Result<Fitted, Failure> {
        let points: Vec<Point3> = points.iter().map(|p| Point3::from(*p)).collect();
        let normals: Option<Vec<Vec3>> =
            normals.map(|n| n.iter().map(|n| Vec3::from(*n)).collect());
        let mut input = EngineInput::new(&points);
        input.normals = normals.as_deref();
        let fit = Cylinder::fit_points(&input, &Request::default()).map_err(|e| Failure {
            state: abi::FITW_PLUGIN_E_UNDETERMINED,
            reason: e.to_string(),
        })?;
        let mut used = vec![true; points.len()];
        fit.rejected.iter().for_each(|i| used[*i as usize] = false);
        let m = &fit.covariance.matrix;
        Ok(Fitted {
            point: fit.shape.point.coords.into(),
            direction: fit.shape.axis.into_inner().into(),
            size_1: fit.shape.radius,
            size_2: 0.0,
            at: fit.covariance.at.coords.into(),
            covariance: std::array::from_fn(|i| std::array::from_fn(|j| m[(i, j)])),
            rms: fit.quality.rms,
            sigma: fit.quality.sigma,
            used,
        })
    }

    fn progress(&self, _fraction: f64) -> Result<(), Failure> {
        self.check()
    }

    fn check(&self) -> Result<(), Failure> {
        let left = self.left.get();
        self.left.set(left.saturating_sub(1));
        if left == 0 { Err(Failure::cancelled()) } else { Ok(()) }
    }
}

pub fn number(o: &Outcome, name: &str) -> f64 {
    match o.report.get(name) {
        Some(Value::Number(_, x)) => *x,
        other => panic!("{name}: {other:?}"),
    }
}

pub fn place(o: &Outcome, name: &str) -> V3 {
    match o.report.get(name) {
        Some(Value::Point(p) | Value::Direction(p)) => V3::from(*p),
        other => panic!("{name}: {other:?}"),
    }
}

/// What the host checks of every answer.
pub fn sound(o: &Outcome) {
    let size = o.covariance.nrows();
    let rows: usize = o
        .report
        .items
        .iter()
        .map(|(name, v)| match v {
            Value::Number(_, x) => {
                assert!(x.is_finite(), "{name}");
                1
            }
            Value::Point(p) => {
                assert!(V3::from(*p).norm().is_finite(), "{name}");
                3
            }
            Value::Direction(d) => {
                assert!((V3::from(*d).norm() - 1.0).abs() < 1e-9, "{name}");
                3
            }
            Value::Table(columns, values) => {
                assert!(values.iter().all(|x| x.is_finite()), "{name}");
                assert_eq!(values.len() % columns.len(), 0, "{name}");
                0
            }
        })
        .sum();
    assert_eq!(rows, size);
    assert_eq!(o.covariance, o.covariance.transpose());
    let scale = o.covariance.diagonal().map(|d| d.max(1e-300).sqrt());
    let scaled =
        nalgebra::DMatrix::from_fn(size, size, |i, j| o.covariance[(i, j)] / scale[i] / scale[j]);
    let least = scaled.symmetric_eigenvalues().min();
    assert!(least > -1e-6, "covariance is not positive: {least}");
    assert!(o.report.items.len() <= 64, "{} parameters", o.report.items.len());
    assert!(!o.pieces.is_empty() && o.pieces.len() <= 4096);
    assert!(o.rejected.windows(2).all(|w| w[0] < w[1]));
}

/// Points that no tube can be made of, by name.
pub fn poor() -> Vec<(&'static str, Scan)> {
    let mut random = Random::new(99);
    let mut out = Vec::new();
    let scan = |points: Vec<[f64; 3]>| Scan { points };
    out.push(("none", scan(Vec::new())));
    out.push(("one", scan(vec![[1.0, 2.0, 3.0]])));
    out.push(("few", scan((0..20).map(|i| [f64::from(i), 0.0, 1.0]).collect())));
    out.push(("equal", scan(vec![[5.0, 6.0, 7.0]; 4000])));
    out.push(("line", scan((0..4000).map(|i| [f64::from(i) * 0.1, 0.0, 0.0]).collect())));
    let mut with_nan: Vec<[f64; 3]> = vec![[1.0, 0.0, 0.0]; 500];
    with_nan[77][1] = f64::NAN;
    out.push(("NaN", scan(with_nan)));
    let mut huge: Vec<[f64; 3]> = vec![[1.0, 0.0, 0.0]; 500];
    huge[77][1] = 1e300;
    out.push(("huge", scan(huge)));
    let mut plane = Scan::default();
    plate((V3::zeros(), V3::x() * 60.0, V3::y() * 60.0), 0.8, &mut random, &mut plane);
    out.push(("plane", plane));
    let mut sphere = Scan::default();
    for _ in 0..6000 {
        let p = random.direction() * 20.0;
        sphere.add(p, &mut random);
    }
    out.push(("sphere", sphere));
    let mut cloud = Scan::default();
    for _ in 0..4000 {
        cloud.points.push([0; 3].map(|_| random.between(0.0, 50.0)));
    }
    out.push(("cloud", cloud));
    out
}
