//! Covariance of constrained fits against the scatter of many, and what constraints cost.

use fitwright::associate::{Constraint, Fit, Input, NoiseModel};
use fitwright::primitive::{Direction, Point3, Primitive, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{fit, fitter, scanned};
use crate::known::request;

const RUNS: usize = 200;
const NOISE: f64 = 0.02;

fn z() -> Direction {
    Direction::new_unchecked(Vec3::z())
}

fn x() -> Direction {
    Direction::new_unchecked(Vec3::x())
}

fn sample(kind: &str, numbers: &mut Random, degrees: f64) -> Vec<Point3> {
    (0..150).map(|_| scanned(kind, numbers, NOISE, degrees.to_radians()).0).collect()
}

/// Sum of the squares of `RUNS` standardised errors is chi-square with that many degrees of freedom:
/// its standard deviation is √(2 RUNS); four of them are allowed (6e-5 by chance).
fn assert_calibrated<const Q: usize>(
    label: &str,
    kind: &str,
    degrees: f64,
    constraints: &[Constraint],
    quantities: impl Fn(&Fit<Primitive>) -> [(f64, f64); Q],
) {
    let mut numbers = Random::new(degrees.to_bits() ^ kind.len() as u64);
    let mut sums = [0.0; Q];
    for _ in 0..RUNS {
        let points = sample(kind, &mut numbers, degrees);
        // Noise known for what it is: this is about what is held, not about finding out the noise.
        let white = NoiseModel::independent();
        let mut input = Input::new(&points);
        input.noise_model = Some(&white);
        let found = fitter(kind)
            .fit(&input, &request(constraints.to_vec()))
            .unwrap_or_else(|e| panic!("{label}: {e}"));
        for (sum, (error, deviation)) in sums.iter_mut().zip(quantities(&found)) {
            *sum += (error / deviation).powi(2);
        }
    }
    let (runs, allowed) = (RUNS as f64, 4.0 * (2.0 * RUNS as f64).sqrt());
    assert!(sums.iter().all(|s| (s - runs).abs() < allowed), "{label}: {sums:?} of {runs}");
}

#[test]
fn covariance_is_the_scatter() {
    let place = |f: &Fit<Primitive>, p: Point3, d: Direction| {
        (p.coords.dot(&d), f.covariance.variance_along(&p, &d).sqrt())
    };
    assert_calibrated("radius", "cylinder", 20.0, &[Constraint::Radius(5.0)], |f| {
        let Primitive::Cylinder(s) = &f.shape else { panic!("{f:?}") };
        let foot = s.point - s.axis.into_inner() * (s.point.z / s.axis.z);
        let tilt = f.covariance.rotation();
        [place(f, foot, x()), (s.axis.x * s.axis.z.signum(), tilt[(1, 1)].sqrt())]
    });
    let along = [Constraint::Parallel(z())];
    assert_calibrated("axis", "cylinder", 60.0, &along, |f| {
        let Primitive::Cylinder(s) = &f.shape else { panic!("{f:?}") };
        assert!(f.covariance.tilt(&s.axis) < 1e-15);
        [place(f, s.point, x()), (s.radius - 5.0, f.covariance.size(0))]
    });
    let through = [Constraint::Through(Point3::new(0.0, 0.0, 30.0))];
    assert_calibrated("point", "cylinder", 120.0, &through, |f| {
        let Primitive::Cylinder(s) = &f.shape else { panic!("{f:?}") };
        let pinned = Point3::new(0.0, 0.0, 30.0);
        // The root of a rounding of the variances that cancel there.
        let [there, here] = [pinned, Point3::origin()].map(|p| f.covariance.deviation_at(&p));
        assert!(there < 1e-6 * here, "{there} of {here}");
        let foot = s.point - s.axis.into_inner() * (s.point.z / s.axis.z);
        [place(f, foot, x()), (s.radius - 5.0, f.covariance.size(0))]
    });
    assert_calibrated("cap", "sphere", 40.0, &[Constraint::Radius(5.0)], |f| {
        [place(f, f.shape.point(), x()), place(f, f.shape.point(), z())]
    });
    assert_calibrated("cone", "cone", 90.0, &[Constraint::HalfAngle(0.3)], |f| {
        let Primitive::Cone(s) = &f.shape else { panic!("{f:?}") };
        let along = -s.point.z / s.axis.z;
        // Radius where the axis meets z = 0: the point slides along the axis without uncertainty.
        let foot = s.point + s.axis.into_inner() * along;
        [
            place(f, foot, x()),
            (s.axis.y * s.axis.z.signum(), f.covariance.rotation()[(0, 0)].sqrt()),
        ]
    });
}

/// A direction taken from another feature brings that feature's own tilt: scatter of fits whose
/// reference is drawn anew each time, against the covariance with the tilt handed in.
#[test]
fn the_reference_brings_its_own_tilt() {
    let tilt = 0.01;
    let mut numbers = Random::new(4);
    let (mut place, mut lean) = (0.0, 0.0);
    for _ in 0..RUNS {
        let (a, b) = (numbers.normal() * tilt, numbers.normal() * tilt);
        let reference = Direction::new_normalize(Vec3::new(a, b, 1.0));
        // Points to one side of the origin and half the way round: the tilt moves the axis too.
        let points: Vec<Point3> = sample("cylinder", &mut numbers, 150.0).into_iter().collect();
        let mut request = request(vec![Constraint::Parallel(reference)]);
        request.reference_tilt = Some(nalgebra::Matrix3::from_diagonal_element(tilt * tilt));
        let found = fit("cylinder", &points, &request).expect("cylinder");
        let Primitive::Cylinder(s) = &found.shape else { panic!("{found:?}") };
        let far = Point3::new(0.0, 0.0, 30.0);
        let at = s.axis_line().project(&far);
        place += at.x.powi(2) / found.covariance.variance_along(&at, &x());
        lean += s.axis.x.powi(2) / found.covariance.rotation()[(1, 1)];
    }
    let (runs, allowed) = (RUNS as f64, 4.0 * (2.0 * RUNS as f64).sqrt());
    assert!((place - runs).abs() < allowed && (lean - runs).abs() < allowed, "{place} {lean}");
}

/// With true constraints the probability is uniform: Kolmogorov's largest difference from it is
/// below 1.95 / √n in 999 of 1000 cases (Kolmogorov 1933; Massey 1951, The Kolmogorov-Smirnov test
/// for goodness of fit).
#[test]
fn the_cost_of_true_constraints_is_chance() {
    for (kind, constraints) in [
        ("cylinder", vec![Constraint::Radius(5.0)]),
        ("cylinder", vec![Constraint::Parallel(z()), Constraint::Through(Point3::origin())]),
        ("plane", vec![Constraint::Parallel(z())]),
        ("circle", vec![Constraint::Radius(5.0), Constraint::Parallel(z())]),
    ] {
        let mut numbers = Random::new(11);
        let mut found: Vec<f64> = (0..RUNS)
            .map(|_| {
                let points = sample(kind, &mut numbers, 180.0);
                let fit = fit(kind, &points, &request(constraints.clone())).expect(kind);
                fit.cost.and_then(|c| c.probability).expect("a probability")
            })
            .collect();
        found.sort_by(f64::total_cmp);
        let n = RUNS as f64;
        let largest = found
            .iter()
            .enumerate()
            .map(|(i, p)| (p - i as f64 / n).abs().max((p - (i + 1) as f64 / n).abs()))
            .fold(0.0, f64::max);
        assert!(largest < 1.95 / n.sqrt(), "{kind} {constraints:?}: {largest}");
    }
}

#[test]
fn the_cost_of_false_constraints_shows() {
    let off = Direction::new_normalize(Vec3::new(0.02, 0.0, 1.0));
    for (kind, constraint) in [
        ("cylinder", Constraint::Radius(5.1)),
        ("cylinder", Constraint::Parallel(off)),
        ("cylinder", Constraint::Through(Point3::new(0.1, 0.0, 0.0))),
        ("plane", Constraint::Parallel(off)),
        ("sphere", Constraint::Radius(4.9)),
        ("cone", Constraint::HalfAngle(0.31)),
        ("torus", Constraint::MinorRadius(3.05)),
    ] {
        let mut numbers = Random::new(3);
        let points = sample(kind, &mut numbers, 300.0);
        for reject in [false, true] {
            let mut request = request(vec![constraint]);
            request.reject_outliers = reject;
            let found = fit(kind, &points, &request).expect(kind);
            let cost = found.cost.expect("a cost");
            let (free, p) = (cost.free_sigma.expect("free"), cost.probability.expect("p"));
            assert!(p < 1e-6, "{kind} {constraint:?}, reject {reject}: {cost:?}");
            assert!(cost.sigma > free, "{kind} {constraint:?}: {cost:?}");
            assert!((free / NOISE - 1.0).abs() < 0.3, "{kind} {constraint:?}: {cost:?}");
        }
    }
}

/// Too short an arc for a free radius: the constrained fit stands, its price is not known.
#[test]
fn without_a_free_fit_the_cost_says_so() {
    let mut numbers = Random::new(8);
    let points = sample("cylinder", &mut numbers, 8.0);
    assert!(fit("cylinder", &points, &request(vec![])).is_err());
    let found = fit("cylinder", &points, &request(vec![Constraint::Radius(5.0)])).expect("held");
    let cost = found.cost.expect("a cost");
    assert_eq!((cost.freedoms, cost.free_sigma, cost.probability), (1, None, None));
}
