//! Growth against closed forms.

use super::{Material, Temperature, Warming, scaled};
use crate::primitive::{Cone, Cylinder, Point3, Primitive, Torus, Vec3};

/// Aluminium bracket on steel, 500 mm, 60 K: (23 − 11.5)·10⁻⁶ · 500 · 60 = 0.345 mm.
#[test]
fn aluminium_outgrows_steel() {
    let growth = |name: &str| {
        let material = Material::parse(name).expect("a known material");
        Warming::of(&material, 20.0, 80.0, 0.0).growth()
    };
    let difference = 500.0 * (growth("aluminium") - growth("steel"));
    assert!((difference - 0.345).abs() < 1e-12, "{difference}");
    assert!((growth("Aluminum") - growth("aluminium")).abs() < 1e-18);
    let message = Material::parse("cheese").expect_err("no such").to_string();
    assert!(message.contains("steel") && message.contains("aluminium"), "{message}");
}

/// 10 K of doubt (rectangular) on 23·10⁻⁶ and 1.2·10⁻⁶ on 60 K, added as squares.
#[test]
fn doubt_in_coefficient_and_temperature_adds_as_squares() {
    let warming = Warming::of(&Material::parse("aluminium").expect("known"), 20.0, 80.0, 10.0);
    let variance = (1.2e-6 * 60.0f64).powi(2) / 3.0 + (23e-6 * 10.0f64).powi(2) / 3.0;
    assert!((warming.growth_deviation() - variance.sqrt()).abs() < 1e-15);
    let still = Temperature { machine: warming, part: warming, fixed: None };
    assert_eq!(still.machine.growth().to_bits(), still.part.growth().to_bits());
}

/// Scaling a shape scales its distances.
#[test]
fn scaled_shapes_have_scaled_distances() {
    let (from, by) = (Point3::new(3.0, -2.0, 5.0), 1.01);
    let axis = crate::primitive::Direction::new_normalize(Vec3::new(0.3, 0.2, 1.0));
    let at = Point3::new(40.0, 10.0, -7.0);
    let shapes: [Primitive; 3] = [
        Cylinder { point: at, axis, radius: 12.0 }.into(),
        Cone { point: at, axis, radius: 12.0, half_angle: 0.4 }.into(),
        Torus { centre: at, axis, major_radius: 20.0, minor_radius: 4.0 }.into(),
    ];
    for shape in shapes {
        let grown = scaled(&shape, &from, by).expect("a form of its own");
        for p in [Point3::new(1.0, 2.0, 3.0), Point3::new(60.0, 20.0, 9.0)] {
            let there = from + (p - from) * by;
            assert!((grown.distance(&there) - by * shape.distance(&p)).abs() < 1e-11);
        }
    }
}
