//! Features with their parameters and uncertainties, and how they lie to each other.

use crate::associate::{ConstraintCost, Criterion};
use crate::feature::Feature;
use crate::job::{HoldSpec, Outcome};
use crate::primitive::{Column, Composite, Parameter, Primitive, Table as Values, Value};
use crate::units::Quantity;

use super::number::{Stated, Units, fixed};
use super::table::{Table, name, plus_minus};
use super::text;

/// Expanded uncertainties (k = 2) of a feature; `None` where it has no such freedom or none is known.
pub(super) struct Expanded {
    /// Of its place in the worst direction, mm.
    pub position: Option<f64>,
    /// Of its direction, rad.
    pub direction: Option<f64>,
    /// Of its sizes in the order of the covariance, mm or rad.
    pub sizes: [Option<f64>; 2],
}

impl Expanded {
    pub(super) fn of(feature: &Feature) -> Self {
        let c = &feature.covariance;
        let known = |deviation: f64| Some(2.0 * deviation).filter(|u| u.is_finite() && *u > 0.0);
        Expanded {
            position: known(c.deviation_at(&feature.shape.point())),
            direction: feature.shape.direction().and_then(|d| known(c.tilt(&d))),
            sizes: [known(c.size(0)), known(c.size(1))],
        }
    }
}

/// What of a feature is a size: its name and value, diameters for round things.
pub(super) fn sizes(feature: &Feature, units: &Units) -> Vec<(&'static str, Stated)> {
    let u = Expanded::of(feature).sizes;
    let diameter = |r: f64| ("diameter", units.length(2.0 * r, u[0].map(|u| 2.0 * u)));
    match &feature.shape {
        Primitive::Circle(s) => vec![diameter(s.radius)],
        Primitive::Sphere(s) if s.radius > 0.0 => vec![diameter(s.radius)],
        Primitive::Cylinder(s) => vec![diameter(s.radius)],
        Primitive::Cone(s) => vec![("half angle", units.angle(s.half_angle, u[1]))],
        Primitive::Torus(s) => vec![
            ("ring diameter", units.length(2.0 * s.major_radius, u[0].map(|u| 2.0 * u))),
            ("tube diameter", units.length(2.0 * s.minor_radius, u[1].map(|u| 2.0 * u))),
        ],
        Primitive::Plane(_)
        | Primitive::Line(_)
        | Primitive::Sphere(_)
        | Primitive::Composite(_) => Vec::new(),
    }
}

/// The features as a table.
pub(super) fn table(outcome: &Outcome, units: &Units) -> String {
    let (length, angle) = (units.length.symbol(), units.angle.symbol());
    let caption = format!(
        "Features in machine coordinates; lengths in {length}, angles in {angle}, ± expanded (k = 2)"
    );
    let heads = [
        "#No.",
        "Name",
        "Kind",
        "Parameters",
        "#Points",
        "#Left out",
        "#rms",
        "#Largest",
        "#Arc",
        "Notes",
    ];
    let mut table = Table::new("features", &caption, &heads);
    for (i, f) in outcome.features.iter().enumerate() {
        let feature = &f.feature;
        let from = f.scan.and_then(|s| outcome.scans.get(s)).map(|s| s.name.as_str());
        let mut notes: Vec<String> = feature.notes.iter().map(|n| text::html(n)).collect();
        if feature.quality.as_ref().is_some_and(|q| !q.converged) {
            notes.insert(0, "<strong>Fit did not converge.</strong>".into());
        }
        if let Some(clear) = f.keep_clear {
            notes.push(format!("Keep {} {length} clear.", units.plain(clear)));
        }
        if let (Some(held), Some(cost)) = (&f.held, &f.cost) {
            notes.push(format!("Held to {}: {}", text::html(&known(held)), price(cost, units)));
        }
        let shares = |g: &&crate::job::GroupOutcome| g.features.contains(&feature.name);
        if let Some(group) = outcome.groups.iter().find(shares) {
            notes.push(format!(
                "{} with the others of {}: {}",
                group.relation.name(),
                text::html(&group.name),
                price(&group.cost, units)
            ));
        }
        let source = match from {
            Some(scan) => format!(", from {}", text::html(scan)),
            None => String::new(),
        };
        let q = feature.quality.as_ref();
        let by = q.map(|q| q.criterion).filter(|c| *c != Criterion::LeastSquares);
        let by = by.map_or_else(String::new, |c| format!(", {}", c.name().replace('-', " ")));
        let of = |s: Option<String>| s.unwrap_or_else(|| "–".into());
        table.row(&[
            (i + 1).to_string(),
            name(&feature.name),
            format!(
                "{}<br><span class=\"by\">{}{by}{source}</span>",
                text::html(kind_name(feature)),
                text::html(&feature.fitter)
            ),
            parameters(feature, units),
            of(q.map(|q| q.points.to_string())),
            of(q.map(|q| q.rejected.to_string())),
            of(q.map(|q| units.small(q.rms))),
            of(q.map(|q| units.small(q.largest))),
            of(q.filter(|_| is_round(feature)).map(|q| units.arc(q.arc))),
            notes.join("<br>"),
        ]);
    }
    table.html()
}

/// Distances and angles between features as a table.
pub(super) fn relations(outcome: &Outcome, units: &Units) -> String {
    let (length, angle) = (units.length.symbol(), units.angle.symbol());
    let caption =
        format!("Distances ({length}) and angles ({angle}) between features, U expanded (k = 2)");
    let heads = ["From", "To", "#Distance", "#U", "What the distance is", "#Angle", "#U"];
    let mut table = Table::new("relations", &caption, &heads);
    for r in &outcome.relations {
        let distance = units.length(r.distance, Some(r.distance_uncertainty));
        let angle = r.angle.map(|a| units.angle(a, r.angle_uncertainty));
        let of = |s: Option<String>| s.map_or_else(|| "–".into(), |s| text::html(&s));
        table.row(&[
            name(&r.a),
            name(&r.b),
            distance.value,
            of(distance.uncertainty),
            text::html(r.measure),
            of(angle.as_ref().map(|a| a.value.clone())),
            of(angle.and_then(|a| a.uncertainty)),
        ]);
    }
    table.html()
}

/// Kind in a word; for what a plug-in returned, the plug-in's own (foreign text).
pub(super) fn kind_name(feature: &Feature) -> &str {
    match &feature.shape {
        Primitive::Composite(c) => &c.kind,
        _ => feature.kind.name(),
    }
}

/// Whether the arc that the points cover says something.
pub(super) fn is_round(feature: &Feature) -> bool {
    !matches!(feature.shape, Primitive::Plane(_) | Primitive::Line(_))
}

/// What a shape is held to, in a few words.
fn known(held: &HoldSpec) -> String {
    let sizes = [
        ("radius", held.radius),
        ("major radius", held.major_radius),
        ("minor radius", held.minor_radius),
        ("half-angle", held.half_angle),
    ];
    let sizes = sizes.iter().filter_map(|(what, size)| Some(format!("{what} {}", (*size)?)));
    let fixed = [
        held.direction.map(|_| "a direction".to_string()),
        held.through.map(|_| "a point".to_string()),
        held.parallel.as_ref().map(|n| format!("parallel to {n}")),
        held.perpendicular.as_ref().map(|n| format!("square to {n}")),
    ];
    sizes.chain(fixed.into_iter().flatten()).collect::<Vec<_>>().join(", ")
}

/// What that cost: scatter with and without it, and whether chance explains the difference.
fn price(cost: &ConstraintCost, units: &Units) -> String {
    match (cost.free_sigma, cost.probability) {
        (Some(free), Some(probability)) => format!(
            "scatter {} instead of {} (chance {})",
            units.small(cost.sigma),
            units.small(free),
            if probability < 0.001 { "below 0.001".into() } else { fixed(probability, 3) }
        ),
        _ => format!("scatter {}; no fit without it", units.small(cost.sigma)),
    }
}

fn parameters(feature: &Feature, units: &Units) -> String {
    let u = Expanded::of(feature);
    let mut rows: Vec<(String, String)> = feature
        .shape
        .parameters()
        .iter()
        .enumerate()
        .map(|(k, p)| match &feature.shape {
            Primitive::Composite(shape) => parameter(p, &reported(shape, k), units),
            _ => parameter(p, &u, units),
        })
        .collect();
    for (what, stated) in sizes(feature, units) {
        if what.ends_with("diameter") {
            rows.push((what.into(), plus_minus(&stated)));
        }
    }
    let line =
        |(what, value): &(String, String)| format!("<div><dt>{what}</dt><dd>{value}</dd></div>");
    format!("<dl class=\"par\">{}</dl>", rows.iter().map(line).collect::<String>())
}

/// Uncertainty of a plug-in's parameter, whichever it is.
fn reported(shape: &Composite, index: usize) -> Expanded {
    let u = shape.deviation(index).map(|d| 2.0 * d).filter(|u| *u > 0.0);
    Expanded { position: u, direction: u, sizes: [u, u] }
}

fn parameter(p: &Parameter, u: &Expanded, units: &Units) -> (String, String) {
    let what = text::html(&p.name.replace('_', " "));
    let value = match &p.value {
        Value::Point(x) => {
            let stated = [x.x, x.y, x.z].map(|v| units.length(v, u.position));
            triple(&stated)
        }
        Value::Direction(d) => {
            let decimals =
                u.direction.map_or(5, |u| (1.0 - u.log10().floor()).clamp(2.0, 7.0) as usize);
            let words = d.iter().map(|c| fixed(*c, decimals)).collect::<Vec<_>>().join(", ");
            let stated = Stated {
                value: words,
                uncertainty: u.direction.and_then(|u| units.angle(0.0, Some(u)).uncertainty),
            };
            let symbol = if stated.uncertainty.is_some() { units.angle.symbol() } else { "" };
            format!("{} {symbol}", plus_minus(&stated))
        }
        Value::Scalar(x, quantity) => {
            let size = match p.name.as_str() {
                "radius" | "major_radius" => u.sizes[0],
                "minor_radius" | "half_angle" => u.sizes[1],
                // A plug-in's number: both sizes are its own.
                _ => u.sizes[0].filter(|_| u.sizes[0] == u.sizes[1]),
            };
            number(*x, *quantity, size, units)
        }
        Value::Table(table) => rows(table, units),
    };
    (what, value)
}

fn number(x: f64, quantity: Quantity, u: Option<f64>, units: &Units) -> String {
    match quantity {
        Quantity::Length => plus_minus(&units.length(x, u)),
        Quantity::Angle => plus_minus(&units.angle(x, u)),
        Quantity::Number if x.fract() == 0.0 => fixed(x, 0),
        Quantity::Number => fixed(x, 4),
    }
}

/// A table within a cell.
fn rows(table: &Values, units: &Units) -> String {
    let unit = |quantity| match quantity {
        Quantity::Length => format!(", {}", units.length.symbol()),
        Quantity::Angle => format!(", {}", units.angle.symbol()),
        Quantity::Number => String::new(),
    };
    let head = |c: &Column| {
        let name = text::html(&c.name.replace('_', " "));
        format!("<th scope=\"col\">{name}{}</th>", unit(c.quantity))
    };
    let heads: String = table.columns.iter().map(head).collect();
    let row = |row: &[f64]| {
        let cells = table.columns.iter().zip(row);
        let cells = cells.map(|(c, x)| format!("<td>{}</td>", number(*x, c.quantity, None, units)));
        format!("<tr>{}</tr>", cells.collect::<String>())
    };
    let rows: String = table.rows().map(row).collect();
    format!("<table class=\"inner\"><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>")
}

fn triple(stated: &[Stated; 3]) -> String {
    let value = stated.iter().map(|s| s.value.as_str()).collect::<Vec<_>>().join(", ");
    plus_minus(&Stated { value, uncertainty: stated[0].uncertainty.clone() })
}
