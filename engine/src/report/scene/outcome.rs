//! The scene of a job's outcome, machine coordinates.

use crate::error::Result;
use crate::exchange::Part;
use crate::fitcheck::{Finding, Verdict};
use crate::job::{FeatureOutcome, Outcome};
use crate::primitive::{Bounded, Direction, Point3, Pose};
use crate::solid::Solid;

use super::bodies::{Scanned, overlap, part, scanned};
use super::pack::{Block, Grid};
use super::thin::bounds;
use super::{Lines, Look, Packed, Scale, Scene, Thing, axes, direction, scanner};
use crate::report::compose::{self, INK, Looks};
use crate::report::figure::letter;
use crate::report::number::Units;
use crate::report::picture::{self, anchor};
use crate::report::{features, findings, made, text, view};

/// What the page shows of an outcome; `general` is the direction to the viewer at first.
pub(in crate::report) fn of_outcome(
    outcome: &Outcome,
    looks: &Looks,
    pictured: &picture::Scene<'_>,
    general: &Direction,
) -> Result<Packed> {
    let units = Units::of(outcome);
    let grid = grid(outcome);
    let mut block = Block::default();
    let mut things = findings_shown(outcome, pictured, general, &units, (&mut block, &grid));
    let scans = scans(outcome);
    let witnesses: Vec<Point3> =
        outcome.findings.iter().flat_map(|f| f.at.into_iter().chain(f.to)).collect();
    let solid = outcome.part.as_ref().and_then(|p| Solid::new(&p.points, &p.triangles).ok());
    for s in &scans {
        things.extend(overlap(&outcome.findings, solid.as_ref(), s, (&mut block, &grid)));
        things.extend(scanned(s, &witnesses, (&mut block, &grid)));
    }
    if let Some(p) = &outcome.part {
        let shown = part(p, "part", Some((&outcome.part_clearance, 0)), (&mut block, &grid));
        things.push(Thing {
            group: "Part",
            name: file_name(p),
            more: Some("designed".into()),
            ..shown
        });
    }
    let mut bands = vec![Scale::of(&looks.bands, ["overlap", "gap"])];
    if let Some(made) = &outcome.made {
        things.push(super::made::made(made, bands.len(), (&mut block, &grid)));
        bands.push(Scale::of(&made::bands(made), ["missing", "too much"]));
    }
    for (i, o) in outcome.other_parts.iter().enumerate() {
        things.push(Thing {
            group: "Other parts",
            code: format!("P{}", i + 1),
            name: text::plain(&o.name),
            class: "other",
            at: o.part.bounding_box().map(|(l, h)| nalgebra::center(&l, &h).into()),
            ..part(&o.part, "other", None, (&mut block, &grid))
        });
    }
    for (i, f) in outcome.features.iter().enumerate() {
        things.push(feature(f, i, &units, (&mut block, &grid)));
    }
    things.extend(way(outcome, (&mut block, &grid)));
    let (low, high) = extent(outcome);
    things.extend(axes(&mut block, &grid, "Machine axes", 0.12 * (high - low).norm()));
    let scanners = outcome.scans.iter().map(|s| {
        let scanner_from_machine = (outcome.machine_from_scan * s.first_from_this).inverse();
        scanner(text::plain(&s.name), &scanner_from_machine)
    });
    let noise = outcome.scans.iter().map(|s| s.scan.noise()).fold(0.0, f64::max);
    let scene = Scene {
        unit: units.length.symbol().into(),
        mm: units.length.to_mm(),
        decimals: units.decimals(),
        frame: "machine",
        middle: grid.middle.into(),
        step: grid.step,
        lift: 4.0 * noise,
        from: direction(general),
        scanners: scanners.collect(),
        bands,
        things,
        arrays: Vec::new(),
    };
    scene.packed(block)
}

fn scans(outcome: &Outcome) -> Vec<Scanned<'_>> {
    let size = |s: &crate::scan::Scan| s.triangles().len().max(s.points().len());
    let all: usize = outcome.scans.iter().map(|s| size(&s.scan)).sum();
    let of = |(index, s): (usize, &'_ crate::job::ScanOutcome)| {
        let share = size(&s.scan) as f64 / all.max(1) as f64;
        (index, (share * TRIANGLES as f64) as usize)
    };
    let shares: Vec<(usize, usize)> = outcome.scans.iter().enumerate().map(of).collect();
    shares
        .into_iter()
        .zip(&outcome.scans)
        .map(|((index, target), s)| Scanned {
            scan: &s.scan,
            name: &s.name,
            frame_from_scan: outcome.machine_from_scan * s.first_from_this,
            labels: labels(outcome, index),
            tint: 0.45,
            target,
            index,
        })
        .collect()
}

/// Which feature each point of a scan belongs to, the smaller of two before the larger.
fn labels(outcome: &Outcome, scan: usize) -> Vec<i32> {
    let mut labels = vec![0; outcome.scans[scan].scan.points().len()];
    let mut own: Vec<(usize, &FeatureOutcome)> =
        outcome.features.iter().enumerate().filter(|(_, f)| f.scan == Some(scan)).collect();
    own.sort_by_key(|(_, f)| std::cmp::Reverse(f.surface.len()));
    for (i, f) in own {
        f.surface.iter().for_each(|&p| labels[p as usize] = i as i32 + 1);
    }
    labels
}

fn feature(
    f: &FeatureOutcome,
    index: usize,
    units: &Units,
    (block, grid): (&mut Block, &Grid),
) -> Thing {
    let feature = &f.feature;
    let (colour, class) = compose::feature_colour(feature.kind);
    let drawn: Vec<Vec<Point3>> = feature.pieces.iter().flat_map(piece_lines).collect();
    let drawn = if drawn.is_empty() { vec![vec![feature.shape.point()]] } else { drawn };
    let width = if drawn.iter().all(|l| l.len() == 1) { 9.0 } else { 2.6 };
    let at = anchor(&feature.pieces).unwrap_or_else(|| feature.shape.point());
    Thing {
        group: "Features",
        code: (index + 1).to_string(),
        name: text::plain(&feature.name),
        facts: feature_facts(feature, units),
        class,
        colour,
        shown: true,
        at: Some(at.into()),
        more: Some("measured".into()),
        label: f.scan.map(|_| index + 1),
        lines: Some(Lines::of(block, grid, &drawn, width)),
        ..Thing::default()
    }
}

/// What is said of a feature beside its name.
pub(super) fn feature_facts(feature: &crate::feature::Feature, units: &Units) -> Vec<[String; 2]> {
    let mut facts = vec![["Kind".to_owned(), text::plain(features::kind_name(feature))]];
    for (what, s) in features::sizes(feature, units) {
        let unit = if what == "half angle" { units.angle.symbol() } else { units.length.symbol() };
        let u = s.uncertainty.map_or_else(String::new, |u| format!(" ± {u}"));
        facts.push([findings::capital(what), format!("{}{u} {unit}", s.value)]);
    }
    if let Some(q) = &feature.quality {
        let rms = format!("{} {}", units.small(q.rms), units.length.symbol());
        facts.push(["Points, rms".into(), format!("{}, {rms}", q.points)]);
    }
    facts
}

pub(super) fn piece_lines(piece: &Bounded) -> Vec<Vec<Point3>> {
    picture::lines(piece).into_iter().chain(picture::axis_lines(piece)).collect()
}

fn findings_shown(
    outcome: &Outcome,
    pictured: &picture::Scene<'_>,
    general: &Direction,
    units: &Units,
    (block, grid): (&mut Block, &Grid),
) -> Vec<Thing> {
    let one = |(i, f): (usize, &Finding)| {
        let ends: Vec<Point3> = f.at.into_iter().chain(f.to).collect();
        let mut lines: Vec<Vec<Point3>> = ends.iter().map(|p| vec![*p]).collect();
        lines.extend((ends.len() == 2).then(|| ends.clone()));
        let lines = (!ends.is_empty()).then(|| Lines::of(block, grid, &lines, 4.2));
        let camera = view::close(outcome, &pictured.meshes, f, general, [900, 600]);
        let look = camera.map(|c| Look {
            target: c.target.into(),
            half: c.height as f64 / 2.0 / c.scale,
            from: c.back.into(),
            cut: c.cut.map(|cut| {
                let n = cut.normal;
                [n.x, n.y, n.z, n.dot(&cut.point.coords)]
            }),
        });
        Thing {
            group: "Findings",
            code: letter(i),
            name: text::plain(&f.name),
            facts: finding_facts(f, units),
            class: f.verdict.name(),
            colour: INK,
            shown: f.verdict != Verdict::Pass,
            at: ends.first().map(|p| (*p).into()),
            look,
            more: Some(format!("finding-{}", letter(i))),
            lines,
            ..Thing::default()
        }
    };
    outcome.findings.iter().enumerate().map(one).collect()
}

fn finding_facts(f: &Finding, units: &Units) -> Vec<[String; 2]> {
    let symbol = units.symbol(f.measure);
    let value = findings::stated(f, units).map_or_else(
        || "not seen".into(),
        |s| {
            let u = s.uncertainty.map_or_else(String::new, |u| format!(" ± {u}"));
            format!("{}{u} {symbol}", s.value)
        },
    );
    let mut facts =
        vec![[findings::capital(f.kind), f.verdict.name().to_owned()], ["Value".to_owned(), value]];
    if let Some(limit) = findings::limit(f, units) {
        facts.push(["Limit".into(), format!("{limit} {symbol}")]);
    }
    facts.push(["What it is".into(), text::plain(&f.detail)]);
    facts
}

/// The way of the part's middle to its seat.
fn way(outcome: &Outcome, (block, grid): (&mut Block, &Grid)) -> Option<Thing> {
    let (low, high) = outcome.part.as_ref()?.bounding_box()?;
    let middle = nalgebra::center(&low, &high);
    let path = &outcome.findings.iter().find(|f| f.path.len() > 1)?.path;
    let line: Vec<Point3> = path.iter().map(|p| p.machine_from_part * middle).collect();
    Some(Thing {
        group: "Way in",
        name: "Way of the part's middle".into(),
        class: "round",
        colour: WAY,
        lines: Some(Lines::of(block, grid, &[line], 3.0)),
        more: Some("way-in".into()),
        ..Thing::default()
    })
}

/// The name of the part's file alone.
fn file_name(part: &Part) -> String {
    part.file.file_name().map_or_else(|| "part".into(), |f| text::plain(&f.to_string_lossy()))
}

fn grid(outcome: &Outcome) -> Grid {
    let (low, high) = extent(outcome);
    Grid::between(&low, &high)
}

/// Box round scans, part and the other parts.
fn extent(outcome: &Outcome) -> (Point3, Point3) {
    let of_scan = |s: &crate::job::ScanOutcome| {
        let pose: Pose = outcome.machine_from_scan * s.first_from_this;
        let moved: Vec<Point3> = s.scan.points().iter().map(|p| pose * p).collect();
        bounds(moved.iter())
    };
    let parts = outcome.part.iter().chain(outcome.other_parts.iter().map(|o| &o.part));
    let boxes: Vec<Point3> = outcome
        .scans
        .iter()
        .map(of_scan)
        .chain(parts.filter_map(Part::bounding_box))
        .flat_map(|(l, h)| [l, h])
        .collect();
    let all = boxes.iter().copied();
    let shapes = outcome.features.iter().filter_map(|f| anchor(&f.feature.pieces));
    let all: Vec<Point3> = all.chain(shapes).collect();
    bounds(all.iter())
}

/// Triangles of all scans that are shown.
const TRIANGLES: usize = 200_000;
const WAY: [u8; 3] = [116, 56, 178];
