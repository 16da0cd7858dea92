//! Outside diameters of round tube and pipe.

/// A standard outside diameter.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundSize {
    /// Standard and designation.
    pub name: String,
    /// Outside diameter, mm.
    pub diameter: f64,
    /// Its tolerance, mm.
    pub tolerance: f64,
}

/// Every size known.
#[must_use]
pub fn round_sizes() -> Vec<RoundSize> {
    let pipe = |d: f64| (0.01 * d).max(0.5);
    let size =
        |name: String, diameter: f64, tolerance: f64| RoundSize { name, diameter, tolerance };
    let mut out = Vec::new();
    out.extend(ASME.iter().map(|(n, d)| size(format!("ASME B36.10 pipe {n} in"), *d, pipe(*d))));
    out.extend(EN_PIPE.iter().map(|d| size("EN 10220 pipe".into(), *d, pipe(*d))));
    let precision = |d: &f64| size("EN 10305-1 precision tube".into(), *d, precision(*d));
    out.extend(PRECISION.iter().map(precision));
    let inch = |n: &(&str, f64)| size(format!("inch tube {} in", n.0), n.1, INCH_TOLERANCE);
    out.extend(INCH.iter().map(inch));
    out.extend(FOOD.iter().map(|d| size("DIN 11850 food tube".into(), *d, FOOD_TOLERANCE)));
    out
}

/// Sentence on the standard sizes near a diameter of standard uncertainty `u`: the nearest, and every other
/// that its own tolerance and the uncertainty allow.
#[must_use]
pub fn near_round(diameter: f64, u: f64) -> String {
    let mut sizes = round_sizes();
    let off = |s: &RoundSize| (diameter - s.diameter).abs();
    sizes.sort_by(|a, b| off(a).total_cmp(&off(b)));
    let allowed = |s: &RoundSize| off(s) <= s.tolerance.hypot(3.0 * u);
    let name = |s: &RoundSize| {
        let outside = if allowed(s) { "" } else { ", outside its tolerance" };
        format!("{:.2} ({}; measured {:+.3}{outside})", s.diameter, s.name, diameter - s.diameter)
    };
    let mut named: Vec<String> = sizes
        .iter()
        .enumerate()
        .filter(|(i, s)| *i == 0 || allowed(s))
        .map(|s| name(s.1))
        .collect();
    named.truncate(MOST_NAMED);
    match named.len() {
        1 => format!("Nearest standard outside diameter, mm: {}.", named[0]),
        _ => format!(
            "Standard outside diameters that a fit cannot tell apart, mm, nearest first: {}.",
            named.join("; ")
        ),
    }
}

/// Tolerance of EN 10305-1, from memory.
fn precision(diameter: f64) -> f64 {
    let steps =
        [(30.0, 0.08), (40.0, 0.15), (50.0, 0.20), (60.0, 0.25), (70.0, 0.30), (80.0, 0.35)];
    steps.iter().find(|s| diameter <= s.0).map_or(0.45, |s| s.1)
}

/// ASME B36.10, nominal inches and outside diameter, mm; two published tables agree.
const ASME: [(&str, f64); 18] = [
    ("1/8", 10.3),
    ("1/4", 13.7),
    ("3/8", 17.1),
    ("1/2", 21.3),
    ("3/4", 26.7),
    ("1", 33.4),
    ("1 1/4", 42.2),
    ("1 1/2", 48.3),
    ("2", 60.3),
    ("2 1/2", 73.0),
    ("3", 88.9),
    ("3 1/2", 101.6),
    ("4", 114.3),
    ("5", 141.3),
    ("6", 168.3),
    ("8", 219.1),
    ("10", 273.0),
    ("12", 323.8),
];

/// EN 10220, also EN 10210: from a published table to 139.7, above from memory.
const EN_PIPE: [f64; 15] = [
    21.3, 26.9, 33.7, 42.4, 48.3, 60.3, 76.1, 88.9, 101.6, 114.3, 139.7, 168.3, 219.1, 273.0, 323.9,
];

/// EN 10305-1, usual outside diameters, from memory.
const PRECISION: [f64; 31] = [
    4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 15.0, 16.0, 18.0, 20.0, 22.0, 25.0, 28.0, 30.0, 32.0,
    35.0, 38.0, 40.0, 42.0, 45.0, 48.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0, 80.0, 90.0, 100.0,
];

/// Inch tube: exact fractions of 25.4.
const INCH: [(&str, f64); 13] = [
    ("1/4", 6.35),
    ("5/16", 7.9375),
    ("3/8", 9.525),
    ("1/2", 12.7),
    ("5/8", 15.875),
    ("3/4", 19.05),
    ("7/8", 22.225),
    ("1", 25.4),
    ("1 1/8", 28.575),
    ("1 1/4", 31.75),
    ("1 1/2", 38.1),
    ("1 3/4", 44.45),
    ("2", 50.8),
];
/// Of drawn inch tube, from memory.
const INCH_TOLERANCE: f64 = 0.13;

/// DIN 11850, from a published table.
const FOOD: [f64; 9] = [19.0, 23.0, 29.0, 35.0, 41.0, 53.0, 70.0, 85.0, 104.0];
/// From memory.
const FOOD_TOLERANCE: f64 = 0.2;

/// Most sizes named.
const MOST_NAMED: usize = 6;
