//! Answers: the same in a worker and in process, known slots found, the engine's own judgement beside them.

use fitwright::Context;
use fitwright::associate::{Input, Request};
use fitwright::primitive::{Point3, Primitive, Value};
use fitwright_tests::plugins::{self, Interface};

use super::common::{ball, registry, slot, temporary};

fn number(shape: &Primitive, name: &str) -> f64 {
    let found = shape.parameters().into_iter().find(|p| p.name == name).map(|p| p.value);
    match found {
        Some(Value::Scalar(x, _)) => x,
        other => panic!("no number {name}: {other:?}"),
    }
}

#[test]
fn a_slot_in_c_is_found_and_is_the_same_to_the_bit_in_a_worker_and_in_process() {
    let folder = temporary();
    let Some(plugin) = plugins::obround(Interface::Today, &[], folder.path()) else { return };
    let (points, normals) = slot(4000, 9.0, 8.0, 0.02);
    let mut input = Input::new(&points);
    (input.normals, input.noise) = (Some(normals.as_slice()), Some(0.02));
    let mut fits = Vec::new();
    for (trusted, threads) in [(true, 1), (true, 2), (false, 1), (false, 2)] {
        let ids: &[&str] = if trusted { &["fitwright.obround-c"] } else { &[] };
        let registry = registry(&plugin, ids);
        assert_eq!(registry.loaded()[0].trusted, trusted);
        let fitter = registry.fitter("fitwright.obround").expect("a fitter");
        let mut request = Request::default();
        request.context = Some(Context::new(threads).expect("threads"));
        fits.push(fitter.fit(&input, &request).expect("a slot"));
    }
    let bits = |f: &fitwright::associate::Fit<Primitive>| {
        format!("{:?}", (&f.shape, &f.covariance, &f.quality))
    };
    for other in &fits[1..] {
        assert_eq!(bits(other), bits(&fits[0]));
    }
    // Truth of the simulation; 4,000 points of 0.02 mm leave less than 0.005 mm to the width.
    let fit = &fits[0];
    assert!((number(&fit.shape, "width") - 9.0).abs() < 0.005, "{:?}", fit.shape);
    assert!((number(&fit.shape, "length") - 25.0).abs() < 0.005, "{:?}", fit.shape);
    // The engine's own judgement: noise 0.02 mm all over.
    assert!((fit.quality.rms / 0.02 - 1.0).abs() < 0.05, "{}", fit.quality.rms);
    assert!(
        fit.quality.sigma > 0.0 && fit.covariance.deviation_at(&Point3::new(0.0, 0.0, 5.0)) < 0.01
    );
}

#[test]
fn the_stated_deviations_of_place_and_size_are_those_of_many_scans() {
    let folder = temporary();
    let built = plugins::built_here("fitwright-stud", "plugins/stud", folder.path());
    let registry = registry(&built, &["acme.studs"]);
    let fitter = registry.fitter("acme.stud").expect("a fitter");
    let mut random = fitwright::simulate::random::Random::new(5);
    let (mut squares, mut stated, runs) = ([0.0; 2], [0.0; 2], 60);
    for _ in 0..runs {
        let points: Vec<Point3> = (0..1500)
            .map(|_| {
                let (sin, cos) = (std::f64::consts::PI * random.uniform()).sin_cos();
                let r = 6.0 + 0.03 * random.normal();
                Point3::new(r * cos, r * sin, 40.0 * random.uniform())
            })
            .collect();
        let mut input = Input::new(&points);
        input.resolution = Some(0.5);
        let fit = fitter.fit(&input, &Request::default()).expect("a stud");
        let Primitive::Composite(shape) = &fit.shape else { panic!("a composite") };
        // Of the diameter by the plug-in, and of the place across the axis at its middle by the engine.
        squares[0] += (number(&fit.shape, "diameter") - 12.0).powi(2);
        stated[0] += shape.deviation(1).expect("of the diameter").powi(2);
        let Some(cylinder) = shape.pieces.first().map(|p| &p.shape) else { panic!("a piece") };
        let middle = cylinder.project(&Point3::new(0.0, 0.0, 20.0));
        let Primitive::Cylinder(c) = cylinder else { panic!("a cylinder: {middle:?}") };
        let on_axis = c.axis_line().project(&Point3::new(0.0, 0.0, 20.0));
        squares[1] += on_axis.y.powi(2);
        let y = fitwright::primitive::unit(fitwright::primitive::Vec3::y()).expect("a direction");
        stated[1] += fit.covariance.variance_along(&on_axis, &y);
    }
    for k in 0..2 {
        let ratio = (squares[k] / stated[k]).sqrt();
        // 60 runs tell a deviation to 9 %.
        assert!((0.73..1.27).contains(&ratio), "{k}: error over stated deviation {ratio}");
    }
}

#[test]
fn a_plug_in_of_interface_1_0_serves_this_host() {
    let folder = temporary();
    let Some(old) = plugins::obround(Interface::First, &[], folder.path()) else { return };
    for trusted in [&["fitwright.obround-c"][..], &[]] {
        let registry = registry(&old, trusted);
        let (points, normals) = slot(1000, 6.0, 5.0, 0.01);
        let mut input = Input::new(&points);
        (input.normals, input.resolution) = (Some(normals.as_slice()), Some(0.3));
        let fitter = registry.fitter("fitwright.obround").expect("a fitter");
        let fit = fitter.fit(&input, &Request::default()).expect("a slot");
        assert!((number(&fit.shape, "width") - 6.0).abs() < 0.005);
    }
}

#[test]
fn a_standard_shape_of_a_plug_in_is_judged_as_the_built_in_one() {
    let folder = temporary();
    let registry = registry(&plugins::ball(folder.path()), &[]);
    let points = ball(2000, Point3::new(3.0, -4.0, 5.0), 20.0, 0.03);
    let fit = |id: &str| {
        let fitter = registry.fitter(id).expect("a fitter");
        fitter.fit(&Input::new(&points), &Request::default()).expect("a ball")
    };
    let (own, other) = (fit("builtin.sphere"), fit("test.hosted-ball"));
    let radius = |f: &fitwright::associate::Fit<Primitive>| match &f.shape {
        Primitive::Sphere(s) => s.radius,
        Primitive::Composite(_) => number(&f.shape, "radius"),
        other => panic!("{other:?}"),
    };
    assert!((radius(&own) - radius(&other)).abs() < 1e-9);
    assert!((own.quality.rms / other.quality.rms - 1.0).abs() < 1e-6);
}

#[test]
fn options_are_checked_and_named() {
    let folder = temporary();
    let Some(plugin) = plugins::obround(Interface::Today, &[], folder.path()) else { return };
    let registry = registry(&plugin, &[]);
    let fitter = registry.fitter("fitwright.obround").expect("a fitter");
    let (points, _) = slot(500, 6.0, 5.0, 0.01);
    let message = |name: &str, value: f64| {
        let mut request = Request::default();
        request.options = vec![(name.to_owned(), value)];
        fitter.fit(&Input::new(&points), &request).expect_err("an error").to_string()
    };
    let unknown = message("widht", 6.0);
    assert!(unknown.contains("widht") && unknown.contains("width"), "{unknown}");
    let negative = message("width", -1.0);
    assert!(
        negative.contains("width") && negative.contains("-1") && negative.contains("mm"),
        "{negative}"
    );
    assert!(message("width", f64::NAN).contains("NaN"));
    let builtin = registry.fitter("builtin.plane").expect("a fitter");
    let mut request = Request::default();
    request.options = vec![("width".into(), 1.0)];
    let refused = builtin.fit(&Input::new(&points), &request).expect_err("an error").to_string();
    assert!(refused.contains("width") && refused.contains("none"), "{refused}");
}

#[test]
fn bad_points_never_reach_a_plug_in() {
    let folder = temporary();
    let registry = registry(&plugins::ball(folder.path()), &[]);
    let fitter = registry.fitter("test.ball").expect("a fitter");
    let fit = |points: &[Point3]| {
        fitter.fit(&Input::new(points), &Request::default()).expect_err("an error").to_string()
    };
    let mut points = ball(100, Point3::origin(), 5.0, 0.01);
    assert!(fit(&[]).contains("0 points"));
    assert!(fit(&points[..1]).contains("1 points"));
    points[7].y = f64::NAN;
    assert!(fit(&points).contains("point 7"));
    points[7].y = f64::INFINITY;
    assert!(fit(&points).contains("point 7"));
}
