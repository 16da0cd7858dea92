//! Sizes named beside a measured one, and the manifest.
//!
//! The expected sizes come from the sizing tables of pipe and tube (ASME B36.10, EN 10220, EN 10305-1), not
//! from the plug-in.
#![allow(clippy::unwrap_used, reason = "tests")]

use fitwright_plugin::Fitter;
use fitwright_tube::standard::{
    hollow_sizes, near_hollow, near_round, round_sizes, wall_of_corner,
};
use fitwright_tube::{bent::BentTube, round::RoundTube, section::HollowSection};

/// A fit cannot tell 26.7 (ASME) from 26.9 (EN): hot-finished pipe may be 0.5 mm off.
#[test]
fn neighbours_within_tolerance_are_all_named() {
    let said = near_round(26.82, 0.01);
    assert!(said.contains("26.90 (EN 10220") && said.contains("26.70 (ASME B36.10 pipe 3/4 in"));
    assert!(said.contains("-0.080") && said.contains("+0.120"), "{said}");
    let said = near_round(20.02, 0.005);
    assert!(said.contains("20.00 (EN 10305-1") && said.contains("+0.020"), "{said}");
    assert!(!said.contains("outside its"), "{said}");
    // Between all sizes: the nearest, and that it is outside.
    let said = near_round(130.0, 0.01);
    assert!(said.contains("outside its tolerance"), "{said}");
}

#[test]
fn exact_inches() {
    for (name, inches) in [("1/4", 0.25), ("7/8", 0.875), ("1 1/8", 1.125), ("2", 2.0)] {
        let name = format!("inch tube {name} in");
        let size = round_sizes().into_iter().find(|s| s.name == name).unwrap();
        assert!((size.diameter - 25.4 * inches).abs() < 1e-9, "{name}");
    }
}

#[test]
fn sections_and_their_walls() {
    let said = near_hollow(40.1, 60.05, 0.01);
    assert!(said.contains("60 x 40") && said.contains("+0.050 and +0.100"), "{said}");
    assert!(hollow_sizes().iter().all(|s| s.0 >= s.1));
    // 50 x 50 x 3 has an outer corner radius of 4.8 to 7.2 mm: 3 mm is among the walls of both limits.
    for radius in [4.8, 7.2] {
        let (thin, thick) = wall_of_corner(radius);
        assert!(thin <= 3.0 + 1e-9 && thick >= 3.0 - 1e-9, "{radius}: {thin} to {thick}");
    }
    let (thin, thick) = wall_of_corner(36.0);
    assert!(thin <= 10.1 && thick >= 14.9, "{thin} to {thick}");
}

#[test]
fn manifest_names_the_fitters() {
    let manifest = include_str!("../fitwright-plugin.toml");
    for id in [RoundTube::ID, HollowSection::ID, BentTube::ID] {
        assert!(manifest.contains(&format!("\"{id}\"")), "{id}");
    }
}
