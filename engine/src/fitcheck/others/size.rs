//! How large an overlap is: area of the other part's surface inside the part, and the volume that both share.
//!
//! The volume is that of even lines along x, each with its exact ranges inside both solids, so that faces that lie
//! in one another do not matter. The lines are some hundred on the longer side of the place.

use rayon::prelude::*;

use super::Other;
use super::patches::{Patch, Pieces, neighbours};
use crate::fitcheck::view::View;
use crate::primitive::Point3;

/// Size of an overlap.
pub(super) struct Size {
    /// mm².
    pub(super) area: f64,
    /// mm³.
    pub(super) volume: f64,
    /// Longest side of the box round it, mm.
    pub(super) extent: f64,
}

/// Of one place.
pub(super) fn of(view: &View<'_>, other: &Other<'_>, pieces: &Pieces<'_>, patch: &Patch) -> Size {
    let area = pieces.area_inside(patch);
    let Some((low, high)) = shared_box(view, other, pieces, patch) else {
        return Size { area, volume: 0.0, extent: 0.0 };
    };
    let cells = pieces.cells(patch);
    let mine = |p: &Point3| neighbours(pieces.cell(p)).any(|c| cells.contains(&c));
    let side = high - low;
    let count = |k: usize| {
        let longer = side.y.max(side.z).max(f64::MIN_POSITIVE);
        ((LINES * side[k] / longer).ceil() as usize).clamp(FEWEST, LINES as usize)
    };
    let (rows, columns) = (count(2), count(1));
    let (dy, dz) = (side.y / columns as f64, side.z / rows as f64);
    let row = |j: usize| {
        let mut sum = (0.0, None::<(Point3, Point3)>);
        for i in 0..columns {
            let (y, z) = (low.y + (i as f64 + 0.5) * dy, low.z + (j as f64 + 0.5) * dz);
            for [from, to] in common(&view.solid.along_x(y, z), &other.solid.along_x(y, z)) {
                let ends = [from, to].map(|x| Point3::new(x, y, z));
                if ends.iter().any(mine) {
                    sum.0 += to - from;
                    let grown = sum
                        .1
                        .map_or((ends[0], ends[1]), |(l, h)| (l.inf(&ends[0]), h.sup(&ends[1])));
                    sum.1 = Some(grown);
                }
            }
        }
        sum
    };
    let all: Vec<_> = (0..rows).into_par_iter().map(row).collect();
    let volume = all.iter().map(|r| r.0).sum::<f64>() * dy * dz;
    let boxes = all.iter().filter_map(|r| r.1);
    let extent = boxes.reduce(|a, b| (a.0.inf(&b.0), a.1.sup(&b.1)));
    let extent = extent.map_or(0.0, |(l, h)| (h - l).x.max((h - l).y + dy).max((h - l).z + dz));
    Size { area, volume, extent }
}

/// Ranges that are in both lists, both ascending.
fn common(a: &[[f64; 2]], b: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let both = a.iter().flat_map(|a| b.iter().map(move |b| [a[0].max(b[0]), a[1].min(b[1])]));
    both.filter(|r| r[0] < r[1]).collect()
}

/// Box that holds all that both share at a place: that of its pieces, cut to both parts'.
fn shared_box(
    view: &View<'_>,
    other: &Other<'_>,
    pieces: &Pieces<'_>,
    patch: &Patch,
) -> Option<(Point3, Point3)> {
    let (low, high) = pieces.bounds(patch)?;
    let (l1, h1) = view.part.bounding_box()?;
    let (l2, h2) = other.given.part.bounding_box()?;
    let (low, high) = (low.sup(&l1).sup(&l2), high.inf(&h1).inf(&h2));
    (0..3).all(|k| low[k] < high[k]).then_some((low, high))
}

/// Lines on the longer side.
const LINES: f64 = 256.0;
/// Fewest lines on the shorter one.
const FEWEST: usize = 16;

#[cfg(test)]
mod tests {
    use super::common;

    #[test]
    fn ranges_in_both() {
        let (a, b) = ([[0.0, 2.0], [3.0, 6.0]], [[1.0, 4.0], [5.0, 9.0]]);
        assert_eq!(common(&a, &b), [[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]);
        assert!(common(&a, &[[2.0, 3.0]]).is_empty());
    }
}
