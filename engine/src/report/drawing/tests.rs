//! Drawings of the made-up outcome, whose holes, part and witnesses are known.

use super::*;
use crate::primitive::{Pose, Vec3};
use crate::report::{compose, sample};

fn plans(outcome: &Outcome) -> String {
    let all = holes::patterns(outcome);
    let units = Units::of(outcome);
    all.iter().enumerate().map(|(i, p)| plan::plan(outcome, p, i + 1, &units)).collect()
}

fn sections(outcome: &Outcome) -> String {
    let looks = compose::Looks::of(outcome);
    let scene = compose::scene(outcome, &looks);
    let from = view::general_direction(&scene);
    drawings(outcome, &scene, &from, 6, &Units::of(outcome))
}

/// Numbers of the attributes of each circle of a class, hundredths of a millimetre.
fn circles(svg: &str, class: &str) -> Vec<[f64; 3]> {
    let number = |text: &str, name: &str| -> f64 {
        let rest = text.split_once(&format!("{name}=\"")).map_or("", |t| t.1);
        rest.split('"').next().and_then(|n| n.parse().ok()).unwrap_or(f64::NAN)
    };
    let of = |text: &str| ["cx", "cy", " r"].map(|n| number(text, n));
    svg.split(&format!("<circle class=\"{class}\"")).skip(1).map(of).collect()
}

/// The sample's holes are 8.5 wide at (60, 60) and (170, 90), the part's 9 at (60.05, 60.1) and (171.4, 90.6).
#[test]
fn holes_are_true_to_scale_and_dimensioned_from_the_origin() {
    let page = plans(&sample::outcome());
    assert!(page.contains("<b>1:1</b> printed on A4 at full size"), "{page}");
    let holes = circles(&page, "hole");
    let [a, b] = holes.as_slice() else { panic!("{holes:?}") };
    assert_eq!([a[2], b[2]], [425.0, 425.0]);
    // Upwards on paper is against its second coordinate.
    assert_eq!([b[0] - a[0], a[1] - b[1]], [11_000.0, 3_000.0]);
    let of_part = circles(&page, "clear");
    assert_eq!(of_part.iter().map(|c| c[2]).collect::<Vec<_>>(), [450.0, 450.0]);
    assert_eq!([of_part[1][0] - b[0], b[1] - of_part[1][1]], [140.0, 60.0]);
    for words in [">60.000</text>", ">170.000</text>", ">90.000</text>", ">Ø8.500 ± 0.032</text>"]
    {
        assert!(page.contains(words), "{words}");
    }
    // The element is as many millimetres wide as it has hundreds of units.
    let wide = page.split_once("<svg width=\"").and_then(|t| t.1.split_once("mm\"")).map(|t| t.0);
    let units = page.split_once("viewBox=\"0 0 ").and_then(|t| t.1.split_once(' ')).map(|t| t.0);
    assert_eq!(wide.map(|w| format!("{w}00")).as_deref(), units);
    for cell in ["1.40", "0.60", "9.00", "170.00, 90.00, 23.00"] {
        assert!(page.contains(&format!(">{cell}<")), "{cell}");
    }
}

/// A machine four times as large goes on A4 at 1:5; its places do not change with the paper.
#[test]
fn what_is_too_large_is_reduced_and_says_so() {
    let mut outcome = sample::outcome();
    outcome.part = None;
    let far = outcome.features.iter_mut().filter(|f| f.feature.name == "hole B");
    far.for_each(|f| f.feature = f.feature.transformed(&Pose::translation(400.0, 0.0, 0.0)));
    let page = plans(&outcome);
    assert!(page.contains("<b>1:5</b>"), "{page}");
    let holes = circles(&page, "hole");
    // Each place is written to a hundredth.
    assert!(
        (holes[1][0] - holes[0][0] - 10_200.0).abs() <= 1.0 && holes[0][2] == 85.0,
        "{holes:?}"
    );
    assert!(page.contains(">570.000</text>") && page.contains(">60.000</text>"));
    // Within an A4 page.
    let wide = page.split_once("<svg width=\"").and_then(|t| t.1.split_once("mm")).map(|t| t.0);
    assert!(wide.and_then(|w| w.parse::<f64>().ok()).is_some_and(|w| w < 184.0), "{wide:?}");
}

/// Seen from below, x grows to the left: places stay machine coordinates.
#[test]
fn seen_from_the_other_side_places_stay_what_they_are() {
    let mut outcome = sample::outcome();
    let over = Pose::rotation(Vec3::x() * std::f64::consts::PI);
    outcome.features.iter_mut().for_each(|f| f.feature = f.feature.transformed(&over));
    let page = plans(&outcome);
    assert!(page.contains("seen from -z"), "{page}");
    let holes = circles(&page, "hole");
    // Turned about x: y is -60 and -90; from below with y upwards, x runs to the left.
    assert_eq!([holes[1][0] - holes[0][0], holes[0][1] - holes[1][1]], [-11_000.0, -3_000.0]);
    for words in [">60.000<", ">170.000<", ">-60.000<", ">-90.000<"] {
        assert!(page.contains(words), "{words}");
    }
}

#[test]
fn one_hole_is_no_pattern_and_no_findings_no_sections() {
    let mut outcome = sample::outcome();
    outcome.features.retain(|f| f.feature.name != "hole B");
    outcome.findings.clear();
    assert_eq!(sections(&outcome), "");
}

/// The witnesses of the sample's overlap are 5.334 mm apart, its value is 5.31 ± 0.062; those of the pipe are 4.2 mm
/// apart, its value is 2.97 ± 0.09.
#[test]
fn sections_say_value_limit_and_what_is_drawn() -> crate::error::Result<()> {
    let page = sections(&sample::scanned(1)?);
    let of = |code: &str| {
        let start = page.find(&format!("<title>Section {code},")).unwrap_or(page.len());
        page[start..].split_once("</figure>").map_or("", |t| t.0)
    };
    let overlap = of("A");
    assert!(
        overlap.contains(">5.310 ± 0.062 mm</text>") && overlap.contains(">limit ≤ 0.00 mm</text>")
    );
    assert!(!overlap.contains("drawn:"));
    let scale = if overlap.contains("<b>2:1</b>") { 2.0 } else { 1.0 };
    let dots = circles(overlap, "solid");
    let long = (dots[0][0] - dots[1][0]).hypot(dots[0][1] - dots[1][1]);
    assert!((long - 533.4 * scale).abs() < 2.0, "{long}");
    let pipe = of("C");
    assert!(
        pipe.contains(">2.970 ± 0.090 mm</text>") || pipe.contains(">2.97 ± 0.09 mm</text>"),
        "{pipe}"
    );
    assert!(pipe.contains(">drawn: 4.20 mm</text>") && pipe.contains(">limit ≥ 3.00 mm</text>"));
    // A hole is in the pattern; what was not seen has no second place.
    assert!(of("B").is_empty() && of("D").is_empty());
    // The scan's line and the part's, hatched.
    for class in ["scan", "part", "thin"] {
        assert!(pipe.contains(&format!("<path class=\"{class}\"")), "{class}");
    }
    Ok(())
}
