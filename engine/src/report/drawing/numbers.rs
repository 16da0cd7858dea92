//! What the drawing of a hole pattern says, as a table.

use crate::job::Outcome;
use crate::primitive::Vec3;
use crate::report::number::Units;
use crate::report::{features, table, text, view};

use super::holes::Pattern;
use super::ordinates::ordinate;

pub(super) fn numbers(
    outcome: &Outcome,
    pattern: &Pattern,
    number: usize,
    units: &Units,
) -> String {
    let unit = units.length.symbol();
    let from = view::direction_name(&pattern.back);
    let with_part = pattern.holes.iter().any(|h| h.of_part.is_some());
    let caption = format!("Holes that open towards {from}; lengths in {unit}, U expanded (k = 2)");
    let names =
        [0, 1].map(|k| pattern.across[k].axis.unwrap_or(if k == 0 { "across" } else { "up" }));
    let [a, b] = names;
    let heads = [
        "#No.".to_owned(),
        "Hole".into(),
        format!("#{a}"),
        "#U".into(),
        format!("#{b}"),
        "#U".into(),
        "Mouth x, y, z".into(),
        "#Diameter".into(),
        "#U".into(),
        "#Part's hole".into(),
        format!("#Part's, off by {a}"),
        format!("#off by {b}"),
    ];
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let columns = if with_part { heads.len() } else { heads.len() - 3 };
    let mut rows = table::Table::new(&format!("pattern-{number}"), &caption, &heads[..columns]);
    for hole in &pattern.holes {
        let feature = &outcome.features[hole.rank].feature;
        let of = |s: Option<String>| s.unwrap_or_else(|| "–".into());
        let mut cells = vec![(hole.rank + 1).to_string(), table::name(&feature.name)];
        for k in 0..2 {
            let (value, u) = ordinate(outcome, pattern, hole, k, units);
            cells.extend([value, of(u.map(|u| text::html(&u)))]);
        }
        let place = format!("<span class=\"place\">{}</span>", units.point(&hole.mouth));
        let size = features::sizes(feature, units).into_iter().next().map(|s| s.1);
        let u = size.as_ref().and_then(|s| s.uncertainty.clone());
        cells.extend([place, of(size.map(|s| s.value)), of(u.map(|u| text::html(&u)))]);
        let part = hole.of_part.as_ref();
        let off: Option<Vec3> = part.map(|p| {
            // Where its axis passes the mouth.
            let along = p.axis.into_inner() * p.axis.dot(&(hole.mouth - p.point));
            p.point + along - hole.mouth
        });
        cells.push(of(part.map(|p| units.plain(2.0 * p.radius))));
        for k in 0..2 {
            cells.push(of(off.map(|o| units.plain(pattern.across[k].counted.dot(&o)))));
        }
        rows.row(&cells[..columns]);
    }
    rows.html()
}
