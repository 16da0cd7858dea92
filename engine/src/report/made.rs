//! The made part: its deviations on the model, from two sides, with their scale.

use crate::error::Result;
use crate::job::{MadeOutcome, Outcome};
use crate::primitive::{Direction, Point3, Pose};

use super::figure::{self, Words};
use super::number::Units;
use super::picture::{Bands, Mesh, Paint, Scene, UNSEEN};
use super::table::name;
use super::{compose, view};

/// Nothing without a scan of the made part.
pub(super) fn section(
    outcome: &Outcome,
    pictures: Option<&Direction>,
    units: &Units,
    size: [usize; 2],
) -> Result<String> {
    let Some(made) = &outcome.made else { return Ok(String::new()) };
    let mut out = format!(
        "<p>{}, {} points, laid on the model: how far each piece of the model's surface is off. The scan itself can be shown in the 3D view. What holds are the checks \
         \"made part\" and those \"as made\" above.</p>\n",
        name(&made.file),
        made.scan.points().len()
    );
    let (Some(general), false) = (pictures, made.map.triangles.is_empty()) else { return Ok(out) };
    let (seen, bands) = (seen(made), bands(made));
    let corners = made.map.triangles.as_flattened();
    let points: Vec<Point3> = corners.iter().map(|&i| made.map.points[i as usize]).collect();
    let triangles: Vec<[u32; 3]> =
        (0..made.map.triangles.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
    let values: Vec<f64> = made.map.deviation.iter().flat_map(|d| [*d; 3]).collect();
    let mesh = Mesh {
        points: &points,
        triangles: &triangles,
        normals: None,
        machine_from_mesh: Pose::identity(),
        paint: Paint::Clearance(&values, &bands),
        point_radius: 0.0,
    };
    let edges = outcome.part.as_ref().map(|p| compose::edges(&p.points, &p.triangles));
    let scene = Scene { meshes: vec![mesh], strokes: edges.into_iter().collect() };
    out += "<div class=\"pair\">\n";
    for from in [*general, -*general] {
        let camera = view::general(&scene, &from, size);
        let side = view::direction_name(&camera.back);
        let alt = format!("Deviations of the made part from its model, seen from {side}");
        let caption = format!("Seen from {side}.");
        let words = Words { alt: &alt, caption: &caption, reach: 1.0 };
        out += &figure::figure(&scene, &camera, units, &[], &words)?;
    }
    out += "</div>\n";
    out += &legend(made, &bands, &seen, units);
    Ok(out)
}

/// Deviations of the pieces that were seen, mm.
fn seen(made: &MadeOutcome) -> Vec<f64> {
    made.map.deviation.iter().copied().filter(|d| d.is_finite()).collect()
}

/// Colours of the deviations, in pictures and in the 3D view.
pub(super) fn bands(made: &MadeOutcome) -> Bands {
    Bands::of_deviations(made.tolerance, &seen(made))
}

/// The scale of the colours, from too little to too much.
fn legend(made: &MadeOutcome, bands: &Bands, seen: &[f64], units: &Units) -> String {
    let at = bands.limits.map(|l| units.small(l.abs()));
    let words = [
        format!("missing, over {}", at[0]),
        format!("missing {} to {}", at[1], at[0]),
        format!("missing {} to {}", at[2], at[1]),
        format!("within ±{}", at[2]),
        format!("too much, {} to {}", at[3], at[4]),
        format!("too much, {} to {}", at[4], at[5]),
        format!("too much, over {}", at[5]),
        "not seen".into(),
    ];
    let mut items = String::new();
    for (i, (word, [r, g, b])) in
        words.iter().zip(bands.colours.iter().chain([&UNSEEN])).enumerate()
    {
        let hatch = if i < 3 { " class=\"hatch\"" } else { "" };
        if bands.required && (i == 2 || i == 5) {
            let sign = if i == 2 { "-" } else { "+" };
            items += &format!("<li class=\"limit\">tolerance {sign}{}</li>", at[1]);
        }
        items += &format!(
            "<li><span{hatch} style=\"background-color:rgb({r},{g},{b})\"></span>{word}</li>"
        );
    }
    let largest = seen.iter().fold(0.0f64, |a, d| a.max(*d));
    let least = seen.iter().fold(0.0f64, |a, d| a.min(*d));
    let share = seen.len() as f64 / made.map.deviation.len().max(1) as f64;
    let unit = units.length.symbol();
    format!(
        "<div class=\"legend\"><h3>Colour of the model: deviation of the made part, {unit}</h3>\n<ol>{items}</ol>\n\
         <p>Hatched: material is missing. Each piece has the median of the scan's points over it; from -{} to +{} {unit} in \
         all. {:.0} % of the pieces were seen.</p></div>\n",
        units.small(least.abs()),
        units.small(largest),
        100.0 * share
    )
}
