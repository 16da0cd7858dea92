//! The bounded pieces of a section: sides, corners, centre line. They have no twist: that of the middle.

use std::f64::consts::FRAC_PI_2;

use fitwright_plugin::{Extent, Piece, SolidShape};

use super::model::Section;
use crate::V3;
use crate::ends::Ends;

/// Pieces of a section about `centre`, its ends measured from its origin.
pub(super) fn pieces(section: &Section, centre: &V3, ends: &Ends) -> Vec<Piece> {
    let (axis, side, other) = (section.axis, section.side, section.other());
    let origin = centre + section.origin;
    let (w, h, r) = (0.5 * section.width, 0.5 * section.height, section.corner);
    let place = |x: f64, y: f64, z: f64| origin + side * x + other * y + axis * z;
    let sides =
        [(side, other, w, h), (other, -side, h, w), (-side, -other, w, h), (-other, side, h, w)];
    let mut out = Vec::new();
    for (normal, across, distance, half) in sides {
        let flat = half - r;
        let at = |t: f64, z: f64| (origin + normal * distance + across * t + axis * z).into();
        // With the normal, across and axis are right-handed: counter-clockwise.
        let outline =
            vec![at(-flat, ends.from), at(flat, ends.from), at(flat, ends.to), at(-flat, ends.to)];
        out.push(Piece {
            shape: SolidShape::Plane {
                point: (origin + normal * distance).into(),
                normal: normal.into(),
            },
            extent: Extent::Outline(vec![outline]),
        });
    }
    let corners = [(1.0, 1.0, side), (-1.0, 1.0, other), (-1.0, -1.0, -side), (1.0, -1.0, -other)];
    for (sx, sy, zero) in corners.into_iter().filter(|_| r > LEAST_CORNER) {
        out.push(Piece {
            shape: SolidShape::Cylinder {
                point: place(sx * (w - r), sy * (h - r), 0.0).into(),
                axis: axis.into(),
                radius: r,
            },
            extent: Extent::Patch {
                zero: zero.into(),
                u: (0.0, FRAC_PI_2),
                v: (ends.from, ends.to),
            },
        });
    }
    out.push(Piece {
        shape: SolidShape::Line { point: origin.into(), direction: axis.into() },
        extent: Extent::Segment(ends.from, ends.to),
    });
    out
}

/// Smaller corners are sharp, mm.
const LEAST_CORNER: f64 = 0.02;
