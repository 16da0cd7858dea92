//! Sides of square and rectangular hollow sections.

/// Common sizes of EN 10219-2, larger side first, mm; from memory, not the standard's whole list.
#[must_use]
pub fn hollow_sizes() -> Vec<(f64, f64)> {
    SQUARE.iter().map(|a| (*a, *a)).chain(RECTANGLES).collect()
}

/// Sentence on the standard sizes near two sides of standard uncertainty `u`.
#[must_use]
pub fn near_hollow(width: f64, height: f64, u: f64) -> String {
    let (a, b) = (width.max(height), width.min(height));
    let off = |s: &(f64, f64)| (a - s.0).abs().max((b - s.1).abs());
    let allowed = |s: &(f64, f64)| {
        (a - s.0).abs() <= tolerance(s.0).hypot(3.0 * u)
            && (b - s.1).abs() <= tolerance(s.1).hypot(3.0 * u)
    };
    let mut sizes = hollow_sizes();
    sizes.sort_by(|x, y| off(x).total_cmp(&off(y)));
    let name = |s: &(f64, f64)| {
        let outside = if allowed(s) { "" } else { ", outside its tolerance" };
        let (p, q) = (a - s.0, b - s.1);
        format!("{} x {} (EN 10219; measured {p:+.3} and {q:+.3}{outside})", s.0, s.1)
    };
    let near = sizes.iter().enumerate().filter(|(i, s)| *i == 0 || allowed(s));
    let named: Vec<String> = near.take(MOST_NAMED).map(|(_, s)| name(s)).collect();
    format!("Nearest standard section, mm: {}.", named.join("; "))
}

/// Walls whose outer corner radius EN 10219-2 allows to be `radius`, thinnest and thickest, mm: 1.6 to 2.4 T
/// up to 6 mm, 2.0 to 3.0 T up to 10 mm, 2.4 to 3.6 T above (a published table of the standard).
#[must_use]
pub fn wall_of_corner(radius: f64) -> (f64, f64) {
    let bands = [(0.0, 6.0, 1.6, 2.4), (6.0, 10.0, 2.0, 3.0), (10.0, f64::INFINITY, 2.4, 3.6)];
    let walls = bands.iter().filter_map(|(above, to, least, most)| {
        let (thin, thick) = ((radius / most).max(*above), (radius / least).min(*to));
        (thin <= thick).then_some((thin, thick))
    });
    walls.fold((f64::INFINITY, 0.0), |a, w| (f64::min(a.0, w.0), f64::max(a.1, w.1)))
}

/// Tolerance of a side, EN 10219-2, from memory.
fn tolerance(side: f64) -> f64 {
    match side {
        s if s < 100.0 => (0.01 * s).max(0.5),
        s if s <= 200.0 => 0.008 * s,
        s => 0.006 * s,
    }
}

const SQUARE: [f64; 21] = [
    20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 120.0, 140.0, 150.0, 160.0, 180.0,
    200.0, 220.0, 250.0, 260.0, 300.0, 400.0,
];

const RECTANGLES: [(f64, f64); 26] = [
    (40.0, 20.0),
    (50.0, 25.0),
    (50.0, 30.0),
    (60.0, 40.0),
    (70.0, 50.0),
    (80.0, 40.0),
    (80.0, 60.0),
    (90.0, 50.0),
    (100.0, 40.0),
    (100.0, 50.0),
    (100.0, 60.0),
    (100.0, 80.0),
    (120.0, 40.0),
    (120.0, 60.0),
    (120.0, 80.0),
    (140.0, 80.0),
    (150.0, 100.0),
    (160.0, 80.0),
    (180.0, 100.0),
    (200.0, 100.0),
    (200.0, 120.0),
    (250.0, 150.0),
    (260.0, 180.0),
    (300.0, 200.0),
    (400.0, 200.0),
    (400.0, 300.0),
];
/// Most sizes named.
const MOST_NAMED: usize = 4;
