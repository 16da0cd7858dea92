//! How the points of each feature lie about its fit: a histogram, and a map of the surface rolled out flat.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use super::number::Units;
use super::picture::{Bands, Image};
use super::{page, table};
use crate::error::Result;
use crate::job::{FeatureOutcome, Outcome};
use crate::primitive::{Direction, Point3, Primitive, Vec3, any_perpendicular, unit};

/// A figure for each fitted feature; nothing where none was fitted to a scan.
pub(super) fn section(outcome: &Outcome, units: &Units) -> Result<String> {
    let mut figures = String::new();
    for (i, f) in outcome.features.iter().enumerate() {
        figures += &figure(outcome, i, f, units)?;
    }
    if figures.is_empty() {
        return Ok(figures);
    }
    let scale = Bands::of_deviations(Some(1.0), &[]);
    let words =
        ["below -2", "-2 to -1", "-1 to -0.5", "within ±0.5", "0.5 to 1", "1 to 2", "over 2"];
    let swatch = |(word, [r, g, b]): (&&str, &[u8; 3])| {
        format!("<li><span style=\"background-color:rgb({r},{g},{b})\"></span>{word}</li>")
    };
    let legend: String = words.iter().zip(&scale.colours).map(swatch).collect();
    Ok(format!(
        "<p>Distances of the points of each feature's surface from its fit, positive along its normal or away from its \
         axis. Edges and what the fit left out are among them, so they reach farther than the table's rms says. Maps are \
         rolled out flat, seen from outside; patterns wider than a few points are form, not noise.</p>\n\
         <div class=\"legend\"><h3>Colour of the maps, in rms of each fit</h3>\n<ol>{legend}</ol></div>\n\
         <div class=\"fits\">{figures}</div>\n"
    ))
}

fn figure(outcome: &Outcome, index: usize, f: &FeatureOutcome, units: &Units) -> Result<String> {
    let shape = &f.feature.shape;
    let from = f.scan.and_then(|s| outcome.scans.get(s));
    let (Some(s), Some(q)) = (from, &f.feature.quality) else { return Ok(String::new()) };
    let pose = outcome.machine_from_scan * s.first_from_this;
    let points: Vec<Point3> =
        f.surface.iter().map(|&i| pose * s.scan.points()[i as usize]).collect();
    let distances: Vec<f64> = points.iter().map(|p| shape.distance(p)).collect();
    let rms = q.rms.max(1e-6);
    let beyond = distances.iter().filter(|d| d.abs() > HALF_WIDTH * rms).count();
    let reach = format!("{} {}", units.small(HALF_WIDTH * rms), units.length.symbol());
    let name = &f.feature.name;
    let said = format!("{}, {beyond} beyond ±{reach}", page::count(points.len(), "point"));
    let map = map(shape, &points, &distances, rms).map_or_else(
        || Ok(String::new()),
        |image| {
            let data = STANDARD.encode(image.to_small_png()?);
            let (w, h) = (image.width, image.height);
            Ok::<_, crate::Error>(format!(
                "<img width=\"{w}\" height=\"{h}\" alt=\"Map of these distances over the surface\" \
                 src=\"data:image/png;base64,{data}\">"
            ))
        },
    )?;
    Ok(format!(
        "<figure class=\"fit\"><div>{}{map}</div><figcaption>{} {}: {said}</figcaption></figure>\n",
        histogram(&distances, rms, &format!("Histogram: {said}")),
        index + 1,
        table::name(name)
    ))
}

/// Bars from -5 to 5 rms with a line at zero; ends are labelled by the caption.
fn histogram(distances: &[f64], rms: f64, label: &str) -> String {
    let mut bars = [0usize; BARS];
    for d in distances {
        let at = ((d / rms / HALF_WIDTH + 1.0) / 2.0 * BARS as f64).floor();
        if at >= 0.0 && at < BARS as f64 {
            bars[at as usize] += 1;
        }
    }
    let most = bars.iter().copied().max().unwrap_or(0).max(1) as f64;
    let height = |n: &usize| 78.0 * *n as f64 / most;
    let bar = |(k, n): (usize, &usize)| format!("M{} 80v-{:.1}h3v{1:.1}z", 4 * k, height(n));
    let path: String = bars.iter().enumerate().filter(|(_, n)| **n > 0).map(bar).collect();
    format!(
        "<svg viewBox=\"0 0 160 82\" role=\"img\" aria-label=\"{}\"><path class=\"bars\" d=\"{path}\"/>\
         <path class=\"zero\" d=\"M80 0v82M0 80h160\"/></svg>",
        super::text::html(label)
    )
}

/// Mean distance in each cell of a grid over the surface rolled out flat; `None` for what has no such surface.
fn map(shape: &Primitive, points: &[Point3], distances: &[f64], rms: f64) -> Option<Image> {
    let middle = points.iter().map(|p| p.coords).sum::<Vec3>() / points.len().max(1) as f64;
    let flat: Vec<[f64; 2]> =
        points.iter().map(|p| rolled_out(shape, p, &middle.into())).collect::<Option<_>>()?;
    let first = *flat.first()?;
    let (low, high) = flat.iter().fold((first, first), |(l, h), p| {
        ([l[0].min(p[0]), l[1].min(p[1])], [h[0].max(p[0]), h[1].max(p[1])])
    });
    let size = [high[0] - low[0], high[1] - low[1]].map(|s| s.max(1e-6));
    let cell = (size[0] * size[1] * POINTS_A_CELL / points.len() as f64)
        .sqrt()
        .max(size[0].max(size[1]) / MOST_CELLS);
    let [width, height] = size.map(|s| (s / cell) as usize + 1);
    let mut cells = vec![(0.0, 0u32); width * height];
    for (p, d) in flat.iter().zip(distances) {
        let [x, y] = [0, 1].map(|k| ((p[k] - low[k]) / cell) as usize);
        let (sum, count) = &mut cells[(height - 1 - y.min(height - 1)) * width + x.min(width - 1)];
        (*sum, *count) = (*sum + d, *count + 1);
    }
    let scale = Bands::of_deviations(Some(rms), &[]);
    let colour = |(sum, count): &(f64, u32)| {
        if *count == 0 {
            return [0; 4];
        }
        let mean = sum / f64::from(*count);
        let [r, g, b] = scale.colours[scale.limits.iter().filter(|l| mean >= **l).count()];
        [r, g, b, 255]
    };
    Some(Image { width, height, rgba: cells.iter().flat_map(colour).collect() })
}

/// Place on the surface rolled out flat, mm; round shapes are cut open opposite the middle of their points.
fn rolled_out(shape: &Primitive, p: &Point3, middle: &Point3) -> Option<[f64; 2]> {
    let turned = |centre: &Point3, axis: &Direction, radius: f64| {
        let across = |p: &Point3| {
            let v = p - centre;
            v - axis.into_inner() * axis.dot(&v)
        };
        let zero = unit(across(middle)).filter(|_| across(middle).norm() > 0.05 * radius);
        let zero = zero.unwrap_or_else(|| any_perpendicular(axis)).into_inner();
        let v = across(p);
        v.dot(&axis.cross(&zero)).atan2(v.dot(&zero))
    };
    let along = |point: &Point3, axis: &Direction| axis.dot(&(p - point));
    Some(match shape {
        Primitive::Plane(s) => {
            let u = any_perpendicular(&s.normal).into_inner();
            [u.dot(&(p - s.point)), s.normal.cross(&u).dot(&(p - s.point))]
        }
        Primitive::Cylinder(s) => {
            [turned(&s.point, &s.axis, s.radius) * s.radius, along(&s.point, &s.axis)]
        }
        Primitive::Cone(s) => {
            let at = along(&s.point, &s.axis);
            [turned(&s.point, &s.axis, s.radius_at(at)) * s.radius_at(at).abs(), at]
        }
        Primitive::Sphere(s) if s.radius > 0.0 => {
            let axis = Vec3::z_axis();
            let height = (along(&s.centre, &axis) / s.radius).clamp(-1.0, 1.0).asin();
            [turned(&s.centre, &axis, s.radius) * s.radius, height * s.radius]
        }
        Primitive::Torus(s) => {
            let v = p - s.centre;
            let out = (v - s.axis.into_inner() * s.axis.dot(&v)).norm() - s.major_radius;
            let round = s.axis.dot(&v).atan2(out) * s.minor_radius;
            [turned(&s.centre, &s.axis, s.major_radius) * s.major_radius, round]
        }
        Primitive::Sphere(_)
        | Primitive::Line(_)
        | Primitive::Circle(_)
        | Primitive::Composite(_) => return None,
    })
}

const BARS: usize = 40;
/// Half the width of a histogram, in rms.
const HALF_WIDTH: f64 = 5.0;
/// Cells along the longer side of a map at most.
const MOST_CELLS: f64 = 64.0;
const POINTS_A_CELL: f64 = 4.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::primitive::{Cylinder, Plane};

    #[test]
    fn a_cylinder_is_rolled_out_by_its_arc() {
        let shape = Primitive::Cylinder(Cylinder {
            point: Point3::new(1.0, 2.0, 3.0),
            axis: Vec3::z_axis(),
            radius: 10.0,
        });
        let middle = Point3::new(9.0, 2.0, 5.0);
        let quarter = rolled_out(&shape, &Point3::new(1.0, 12.0, 8.0), &middle);
        // A quarter turn of radius 10 is 15.708 long.
        let off = |a: Option<[f64; 2]>, b: [f64; 2]| {
            a.is_some_and(|a| (a[0] - b[0]).hypot(a[1] - b[1]) < 1e-3)
        };
        assert!(off(quarter, [15.708, 5.0]), "{quarter:?}");
    }

    #[test]
    fn a_dent_shows_where_it_is() {
        let shape = Primitive::Plane(Plane { point: Point3::origin(), normal: Vec3::z_axis() });
        let points: Vec<Point3> = (0..6400)
            .map(|i| (f64::from(i % 80), f64::from(i / 80)))
            .map(|(x, y)| Point3::new(x, y, if x < 20.0 && y < 20.0 { -3.0 } else { 0.0 }))
            .collect();
        let distances: Vec<f64> = points.iter().map(|p| shape.distance(p)).collect();
        let image = map(&shape, &points, &distances, 1.0).expect("a map");
        let [r, g, b] = Bands::of_deviations(Some(1.0), &[]).colours[0];
        let dented = image.rgba.chunks(4).filter(|p| *p == [r, g, b, 255]).count();
        let share = dented as f64 / (image.width * image.height) as f64;
        assert!((share - 1.0 / 16.0).abs() < 0.01, "{share}");
        let text = histogram(&distances, 1.0, "x");
        // Two bars: the dent at -3 and the rest at zero.
        assert_eq!(text.split_once("\"/>").map(|t| t.0.matches('M').count()), Some(2));
    }
}
