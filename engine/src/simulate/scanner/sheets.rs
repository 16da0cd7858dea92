//! The separate sheets of surface within one grid cell.
//!
//! Where the signs at a face's corners alternate, two sheets pass through the cell; one corner of
//! the mesh for both would join what is apart. Crossed edges are joined across the cell's faces, on
//! an alternating face so that the material is cut apart, the same from both sides.
//! Method: Nielson (2004), "Dual marching cubes".

use crate::primitive::Vec3;

/// Which sheet each of a cell's twelve edges is crossed by.
pub(super) struct Sheets {
    /// Sheet of each edge, see [`edge`]; meaningless where the edge is not crossed.
    pub(super) of_edge: [u8; 12],
    /// Number of sheets.
    pub(super) count: usize,
    crossed: [bool; 12],
}

/// Number of the edge along `axis` that starts `b` and `c` steps (0 or 1) along the next two axes.
pub(super) fn edge(axis: usize, b: usize, c: usize) -> usize {
    axis * 4 + b + 2 * c
}

impl Sheets {
    /// Sheets of a cell from which of its corners lie inside; bit a of an index is the step along axis a.
    pub(super) fn new(inside: &[bool; 8]) -> Self {
        let crossed = std::array::from_fn(|e| {
            let (from, to) = ends(e);
            inside[from] != inside[to]
        });
        let mut root: [u8; 12] = std::array::from_fn(|e| e as u8);
        for (axis, side) in (0..3).flat_map(|axis| [(axis, 0), (axis, 1)]) {
            join_across(&mut root, &crossed, inside, axis, side);
        }
        let mut of_edge = [0; 12];
        let mut count = 0;
        for e in (0..12).filter(|&e| crossed[e]) {
            if usize::from(root[e]) == e {
                of_edge[e] = count;
                count += 1;
            } else {
                // The root is the least edge of its sheet, so it has its number already.
                of_edge[e] = of_edge[usize::from(root[e])];
            }
        }
        Sheets { of_edge, count: usize::from(count), crossed }
    }

    /// Middle of each sheet's crossings within the unit cell, from the distances at its corners.
    pub(super) fn middles(&self, corners: &[f64; 8]) -> impl Iterator<Item = Vec3> {
        (0..self.count).map(|sheet| {
            let mut sum = Vec3::zeros();
            let mut count = 0.0;
            for e in (0..12).filter(|&e| self.crossed[e] && usize::from(self.of_edge[e]) == sheet) {
                let (from, to) = ends(e);
                let (a, b) = (corners[from], corners[to]);
                sum += Vec3::from([0, 1, 2].map(|axis| (from >> axis & 1) as f64));
                sum[e / 4] += a / (a - b);
                count += 1.0;
            }
            sum / count
        })
    }
}

/// Corners at the ends of an edge.
fn ends(e: usize) -> (usize, usize) {
    let (axis, b, c) = (e / 4, e & 1, e >> 1 & 1);
    let from = b << ((axis + 1) % 3) | c << ((axis + 2) % 3);
    (from, from | 1 << axis)
}

/// Joins the crossed edges of one face.
fn join_across(
    root: &mut [u8; 12],
    crossed: &[bool; 12],
    inside: &[bool; 8],
    axis: usize,
    side: usize,
) {
    let (b, c) = ((axis + 1) % 3, (axis + 2) % 3);
    // Round the face from its lowest corner: along b, along c, back along b, back along c. The
    // edges along b step along c and `axis`, those along c along `axis` and b.
    let round = [edge(b, 0, side), edge(c, side, 1), edge(b, 1, side), edge(c, side, 0)];
    let hit: Vec<usize> = round.into_iter().filter(|&e| crossed[e]).collect();
    match hit[..] {
        [p, q] => join(root, p, q),
        [p, q, r, s] if inside[side << axis] => {
            join(root, s, p);
            join(root, q, r);
        }
        [p, q, r, s] => {
            join(root, p, q);
            join(root, r, s);
        }
        _ => {}
    }
}

fn join(root: &mut [u8; 12], p: usize, q: usize) {
    let (keep, give) = (root[p].min(root[q]), root[p].max(root[q]));
    root.iter_mut().filter(|r| **r == give).for_each(|r| *r = keep);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(inside: &[usize]) -> Sheets {
        Sheets::new(&std::array::from_fn(|i| inside.contains(&i)))
    }

    #[test]
    fn sheets_are_counted_as_the_material_lies() {
        assert_eq!(cell(&[0]).count, 1);
        assert_eq!(cell(&[0, 1]).count, 1);
        // Two corners apart: across a face, across the cell.
        assert_eq!(cell(&[0, 3]).count, 2);
        assert_eq!(cell(&[0, 7]).count, 2);
        // Every second corner.
        assert_eq!(cell(&[0, 3, 5, 6]).count, 4);
        // A layer.
        assert_eq!(cell(&[0, 1, 2, 3]).count, 1);
    }

    #[test]
    fn a_corner_is_cut_off_by_its_three_edges() {
        let sheets = cell(&[0, 7]);
        let of_corner = |i: usize| -> Vec<u8> {
            let touches = |e: &usize| ends(*e).0 == i || ends(*e).1 == i;
            (0..12).filter(touches).map(|e| sheets.of_edge[e]).collect()
        };
        assert_eq!(of_corner(0), [0, 0, 0]);
        assert_eq!(of_corner(7), [1, 1, 1]);
    }

    #[test]
    fn crossings_are_where_the_distance_changes_sign() {
        // Plane x = 0.25.
        let corners = std::array::from_fn(|i| if i & 1 == 0 { -0.25 } else { 0.75 });
        let sheets = Sheets::new(&corners.map(|v| v < 0.0));
        let middles: Vec<Vec3> = sheets.middles(&corners).collect();
        assert_eq!(middles, [Vec3::new(0.25, 0.5, 0.5)]);
    }
}
