//! Simulated scans of a known shape: white and correlated noise along the normals.

use fitwright::associate::{Fit, Input, NoiseModel, Request, fitter_by_id};
use fitwright::primitive::{Kind, Point3, Primitive, Vec3};
use fitwright::simulate::random::Random;

use crate::field::Field;
use crate::shape::Truth;

/// Noise along the normal (curves: along both); lengths in mean point spacings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Noise {
    /// Independent from point to point.
    White,
    /// As much white noise as noise with Gaussian correlation of this length.
    Mixed(f64),
    /// Only noise with Gaussian correlation of this length.
    Smooth(f64),
}

/// A simulated scan in scan coordinates, with what it is made of.
#[derive(Debug, Default)]
pub(crate) struct Scan {
    pub(crate) points: Vec<Point3>,
    /// Local points on the shape.
    pub(crate) feet: Vec<Vec3>,
    /// Errors along the normals.
    pub(crate) noise: Vec<[f64; 2]>,
}

impl Noise {
    pub(crate) fn name(&self) -> String {
        match self {
            Noise::White => "white".into(),
            Noise::Mixed(length) => format!("mixed{length}"),
            Noise::Smooth(length) => format!("smooth{length}"),
        }
    }
}

/// Points on the shape at random places.
pub(crate) fn random_feet(truth: &Truth, count: usize, random: &mut Random) -> Vec<Vec3> {
    (0..count).map(|_| truth.on(random.uniform(), random.uniform())).collect()
}

/// Points on the shape as evenly spread as a golden-ratio lattice is.
pub(crate) fn even_feet(truth: &Truth, count: usize) -> Vec<Vec3> {
    let place = |i: usize| {
        let (even, golden) = ((i as f64 + 0.5) / count as f64, (i as f64 * GOLDEN).fract());
        // A curve is run through by the even number alone.
        match truth.kind {
            Kind::Line => truth.on(0.5, even),
            Kind::Circle => truth.on(even, 0.5),
            _ => truth.on(golden, even),
        }
    };
    (0..count).map(place).collect()
}

/// A scan of the given feet; `seed` decides the noise.
pub(crate) fn scan(truth: &Truth, feet: Vec<Vec3>, sigma: f64, noise: Noise, seed: u64) -> Scan {
    let mut random = Random::stream(seed, 1);
    let spacing = truth.spacing(feet.len());
    let (white, smooth, length) = match noise {
        Noise::White => (sigma, 0.0, 1.0),
        Noise::Mixed(length) => (sigma, sigma, length),
        Noise::Smooth(length) => (0.0, sigma, length),
    };
    let field = |k| Field::new(&mut Random::stream(seed, 2 + k as u64), length * spacing, &feet);
    let fields: Vec<Field> = (0..truth.families()).filter(|_| smooth > 0.0).map(field).collect();
    let mut out = Scan::default();
    for x in feet {
        let mut error = [0.0; 2];
        let mut point = x;
        for (k, error) in error.iter_mut().enumerate().take(truth.families()) {
            *error = white * random.normal();
            if let Some(field) = fields.get(k) {
                *error += smooth * field.at(&x);
            }
            point += truth.residual(&x, k).n * *error;
        }
        out.points.push(truth.scan_from_local * Point3::from(point));
        out.feet.push(x);
        out.noise.push(error);
    }
    out
}

/// What a large plane of the same scan says of its noise: as dense as the shape's `points`, with the
/// same kind of noise.
pub(crate) fn noise_of_a_face(
    truth: &Truth,
    points: usize,
    noise: Noise,
    seed: u64,
) -> Option<NoiseModel> {
    let small = Truth::new(Kind::Plane, 360.0, SIZE, place());
    let size = SIZE * truth.spacing(points) / small.spacing(FACE);
    let plane = Truth::new(Kind::Plane, 360.0, size, place());
    let feet = random_feet(&plane, FACE, &mut Random::stream(seed, 4));
    let seen = scan(&plane, feet, SIGMA, noise, !seed);
    NoiseModel::pooled(fit(Kind::Plane, &seen.points, true).ok()?.noise.as_ref())
}

/// Fits a kind of shape by the engine's default, or with every point counting.
pub(crate) fn fit(
    kind: Kind,
    points: &[Point3],
    reject_outliers: bool,
) -> fitwright::Result<Fit<Primitive>> {
    let mut request = Request::default();
    request.reject_outliers = reject_outliers;
    fit_with(kind, points, &request)
}

/// Fits a kind of shape as requested.
pub(crate) fn fit_with(
    kind: Kind,
    points: &[Point3],
    request: &Request,
) -> fitwright::Result<Fit<Primitive>> {
    fit_knowing(kind, points, request, None)
}

/// Fits a kind of shape whose noise is known or not.
pub(crate) fn fit_knowing(
    kind: Kind,
    points: &[Point3],
    request: &Request,
    noise_model: Option<&NoiseModel>,
) -> fitwright::Result<Fit<Primitive>> {
    let id = format!("builtin.{}", kind.name());
    let fitter = fitter_by_id(&id)
        .ok_or_else(|| fitwright::Error::Internal(format!("no built-in fitter {id}")))?;
    let mut input = Input::new(points);
    input.noise_model = noise_model;
    fitter.fit(&input, request)
}

/// Place of the shapes, mm: about a metre and a half from the origin.
pub(crate) fn place() -> Vec3 {
    Vec3::new(800.0, -300.0, 1200.0)
}

/// Radius of the simulated shapes, mm.
pub(crate) const SIZE: f64 = 25.0;
/// Standard deviation of one point, mm.
pub(crate) const SIGMA: f64 = 0.02;
/// Points of the face that the noise is taken from.
const FACE: usize = 20_000;
/// Fractional part of the golden ratio.
const GOLDEN: f64 = 0.618_033_988_749_894_9;
