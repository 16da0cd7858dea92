//! The scene of a survey, scan coordinates.

use crate::error::Result;
use crate::primitive::{Direction, Pose};
use crate::survey::{Survey, Surveyed};

use super::bodies::{Scanned, scanned};
use super::outcome::{feature_facts, piece_lines};
use super::pack::{Block, Grid};
use super::thin::bounds;
use super::{Lines, Packed, Scene, Thing, axes, direction, scanner};
use crate::report::number::Units;
use crate::report::text;

/// What the page shows of a survey; each primitive in the colour that its place in the list has.
pub(in crate::report) fn of_survey(
    survey: &Survey,
    units: &Units,
    colour: impl Fn(usize) -> [u8; 3],
    general: &Direction,
) -> Result<Packed> {
    let points = survey.scan.points();
    let (low, high) = bounds(points.iter());
    let grid = Grid::between(&low, &high);
    let mut block = Block::default();
    let mut labels = vec![0; points.len()];
    for (k, p) in survey.primitives.iter().enumerate() {
        p.region.ids().iter().for_each(|&i| labels[i as usize] = k as i32 + 1);
    }
    let scan = Scanned {
        scan: &survey.scan,
        name: "scan",
        frame_from_scan: Pose::identity(),
        labels,
        tint: 1.0,
        target: TRIANGLES,
        index: 0,
    };
    let mut things = scanned(&scan, &[], (&mut block, &grid));
    let one = |(k, p): (usize, &Surveyed)| {
        let outline: Vec<_> = p.feature.pieces.iter().flat_map(piece_lines).collect();
        let mut facts = feature_facts(&p.feature, units);
        facts.push(["Area".into(), format!("{:.0} mm²", p.area)]);
        facts.push(["A point of it".into(), at_line(p)]);
        Thing {
            group: "Primitives",
            name: text::plain(&p.id),
            facts,
            class: "face",
            colour: colour(k),
            shown: true,
            at: Some(p.at.into()),
            more: Some("found".into()),
            label: Some(k + 1),
            rank: p.area,
            lines: Some(Lines { on_call: true, ..Lines::of(&mut block, &grid, &outline, 2.2) }),
            ..Thing::default()
        }
    };
    let found: Vec<Thing> = survey.primitives.iter().enumerate().map(one).collect();
    things.extend(found);
    things.extend(axes(&mut block, &grid, "Scan axes", 0.12 * (high - low).norm()));
    let scene = Scene {
        unit: "mm".into(),
        mm: 1.0,
        decimals: units.decimals(),
        frame: "scan",
        middle: grid.middle.into(),
        step: grid.step,
        lift: 4.0 * survey.scan.noise(),
        from: direction(general),
        scanners: vec![scanner("scan".into(), &Pose::identity())],
        bands: Vec::new(),
        things,
        arrays: Vec::new(),
    };
    scene.packed(block)
}

/// The primitive's own point, well inside it, as a line of a job file.
fn at_line(p: &Surveyed) -> String {
    format!("at = [{:.2}, {:.2}, {:.2}]", p.at.x, p.at.y, p.at.z)
}

/// Triangles that are shown.
const TRIANGLES: usize = 200_000;
