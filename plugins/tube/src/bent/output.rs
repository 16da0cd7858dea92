//! What is said of a bent tube.

use std::f64::consts::TAU;

use fitwright_plugin::{Extent, Piece, SolidShape, Unit};
use nalgebra::DMatrix;

use super::chain::Chain;
use super::part::Part;
use crate::V3;
use crate::bends::wrapped;
use crate::report::{Report, Value};
use crate::round::across;

/// Parameters of a chain; `head` first, then each bend's.
pub(super) fn report(chain: &Chain, centre: &V3) -> Report {
    let parts = chain.parts();
    let mut r = Report::default();
    let place = |p: V3| Value::Point((centre + p).into());
    r.add("start", place(chain.start));
    if let Some(Part::Straight { from, along, length }) = parts.last() {
        r.add("end", place(from + along * *length));
    }
    r.length("diameter", 2.0 * chain.radius);
    r.length("developed_length", chain.table.developed_length());
    r.length("last_straight", chain.table.last);
    for (i, bend) in chain.table.bends.iter().enumerate() {
        let name = |what: &str| format!("bend_{}_{what}", i + 1);
        r.length(name("feed"), bend.feed);
        r.angle(name("rotation"), wrapped(bend.rotation));
        r.angle(name("angle"), bend.angle);
        r.length(name("radius"), bend.radius);
        if let (Part::Straight { from: exit, .. }, Part::Arc { from: entry, along, .. }) =
            (parts[2 * i + 2], parts[2 * i + 1])
        {
            r.add(name("entry"), place(entry));
            r.add(name("exit"), place(exit));
            if bend.angle < NO_CORNER {
                r.add(
                    name("corner"),
                    place(entry + along * bend.radius * (0.5 * bend.angle).tan()),
                );
            }
        }
    }
    r
}

/// The report as it is shown: no more bends singly than the host takes, then the tables, their
/// uncertainties from the covariance.
pub(super) fn shown(
    full: Report,
    covariance: DMatrix<f64>,
    chain: &Chain,
) -> (Report, DMatrix<f64>) {
    let bends = bend_table(&full, &covariance, chain);
    let line = centre_line(&full, &covariance);
    let mut shown = full;
    let beyond = format!("bend_{}_feed", SINGLY + 1);
    let rows = shown.row(&beyond).unwrap_or(covariance.nrows());
    if let Some(place) = shown.items.iter().position(|i| i.0 == beyond) {
        shown.items.truncate(place);
    }
    shown.add("bends", bends);
    shown.add("centre_line", line);
    (shown, covariance.view((0, 0), (rows, rows)).into_owned())
}

fn bend_table(full: &Report, covariance: &DMatrix<f64>, chain: &Chain) -> Value {
    let columns = vec![
        ("number", Unit::None),
        ("feed", Unit::Mm),
        ("rotation", Unit::Rad),
        ("angle", Unit::Rad),
        ("radius", Unit::Mm),
        ("u_feed", Unit::Mm),
        ("u_rotation", Unit::Rad),
        ("u_angle", Unit::Rad),
        ("u_radius", Unit::Mm),
    ];
    let mut values = Vec::new();
    for (i, bend) in chain.table.bends.iter().enumerate() {
        let row = full.row(&format!("bend_{}_feed", i + 1)).unwrap_or(0);
        let number = (i + 1) as f64;
        values.extend([number, bend.feed, wrapped(bend.rotation), bend.angle, bend.radius]);
        values.extend((row..row + 4).map(|k| covariance[(k, k)].sqrt()));
    }
    Value::Table(columns, values)
}

/// Places in order along the tube: sort 0 start, 1 entry, 2 corner, 3 exit of a bend, 4 end.
fn centre_line(full: &Report, covariance: &DMatrix<f64>) -> Value {
    let columns = vec![
        ("sort", Unit::None),
        ("x", Unit::Place),
        ("y", Unit::Place),
        ("z", Unit::Place),
        ("u", Unit::Mm),
    ];
    let mut rows: Vec<[f64; 5]> = Vec::new();
    let mut add = |name: &str, sort: f64| {
        if let (Some(Value::Point(p)), Some(k)) = (full.get(name), full.row(name)) {
            let block = covariance.fixed_view::<3, 3>(k, k).into_owned();
            let u = block.symmetric_eigenvalues().max().max(0.0).sqrt();
            rows.push([sort, p[0], p[1], p[2], u]);
        }
    };
    add("start", 0.0);
    let bends = full.items.iter().filter(|i| i.0.ends_with("_feed")).count();
    for i in 1..=bends {
        add(&format!("bend_{i}_entry"), 1.0);
        add(&format!("bend_{i}_corner"), 2.0);
        add(&format!("bend_{i}_exit"), 3.0);
    }
    add("end", 4.0);
    Value::Table(columns, rows.concat())
}

/// Cylinders, tori, and the centre line in segments and arcs.
pub(super) fn pieces(chain: &Chain, centre: &V3) -> Vec<Piece> {
    let (mut surfaces, mut lines) = (Vec::new(), Vec::new());
    for part in chain.parts() {
        match part {
            Part::Straight { length, .. } if length < SHORT => {}
            Part::Straight { from, along, length } => {
                let (point, direction) = ((centre + from).into(), along.into());
                surfaces.push(Piece {
                    shape: SolidShape::Cylinder { point, axis: direction, radius: chain.radius },
                    extent: Extent::Patch {
                        zero: across(&along).0.into(),
                        u: (0.0, TAU),
                        v: (0.0, length),
                    },
                });
                lines.push(Piece {
                    shape: SolidShape::Line { point, direction },
                    extent: Extent::Segment(0.0, length),
                });
            }
            Part::Arc { from, normal, centre: middle, radius, angle, .. } => {
                let place = (centre + middle).into();
                let zero = ((from - middle) / radius).into();
                surfaces.push(Piece {
                    shape: SolidShape::Torus {
                        centre: place,
                        axis: normal.into(),
                        major_radius: radius,
                        minor_radius: chain.radius,
                    },
                    extent: Extent::Patch { zero, u: (0.0, angle), v: (0.0, TAU) },
                });
                lines.push(Piece {
                    shape: SolidShape::Circle { centre: place, normal: normal.into(), radius },
                    extent: Extent::Arc { zero, from: 0.0, to: angle },
                });
            }
        }
    }
    surfaces.extend(lines);
    surfaces
}

/// Bends reported one by one; more stand in the tables only.
pub(super) const SINGLY: usize = 8;
/// Angle from which on straights meet too far away, rad.
const NO_CORNER: f64 = 2.97;
/// Shorter straights are no piece, mm.
const SHORT: f64 = 1e-3;
