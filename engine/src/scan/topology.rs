//! Edges of a mesh: neighbours of its points and where it ends. Edges with more than two triangles
//! are counted and otherwise taken as inner edges.

use super::graph::Graph;

/// How many edges have other than two triangles.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct EdgeCensus {
    /// Edges of one triangle: the mesh ends there.
    pub open: usize,
    /// Edges of more than two triangles.
    pub crowded: usize,
    /// Edges of two triangles that run along it in the same direction.
    pub twisted: usize,
}

impl EdgeCensus {
    /// Whether every edge has two triangles of agreeing orientation.
    #[must_use]
    pub fn is_watertight(&self) -> bool {
        *self == EdgeCensus::default()
    }
}

/// What follows from the triangles alone.
pub(super) struct Topology {
    pub(super) neighbours: Graph,
    pub(super) border: Vec<bool>,
    /// Open edges in the direction of their triangle, ascending.
    pub(super) open: Vec<[u32; 2]>,
    pub(super) census: EdgeCensus,
}

impl Topology {
    pub(super) fn new(count: usize, triangles: &[[u32; 3]]) -> Self {
        let around = Graph::corners_around(count, triangles);
        let (neighbours, edges) =
            Graph::build(count, |id, ids| point_edges(id, &around, triangles, ids));
        let mut open = Vec::new();
        let mut border = vec![false; count];
        let mut census = EdgeCensus::default();
        for (id, edges) in (0..).zip(edges) {
            let Some(edges) = edges else { continue };
            census.crowded += edges.crowded;
            census.twisted += edges.twisted;
            border[id as usize] = edges.on_border;
            open.extend(edges.out.iter().map(|&to| [id, to]));
        }
        census.open = open.len();
        Topology { neighbours, border, open, census }
    }

    /// Closed loops of open edges, each beginning at its lowest point, the surface on the left.
    pub(super) fn loops(&self) -> Vec<Vec<u32>> {
        let mut used = vec![false; self.open.len()];
        let mut loops = Vec::new();
        for first in 0..self.open.len() {
            if !used[first] {
                self.walk(first, &mut used, &mut loops);
            }
        }
        for l in &mut loops {
            let lowest = l.iter().enumerate().min_by_key(|(_, id)| **id).map_or(0, |(at, _)| at);
            l.rotate_left(lowest);
        }
        loops.sort_unstable();
        loops
    }

    /// Follows open edges from one on; where the path meets itself, a loop is cut out of it. What ends
    /// without closing (triangles of opposed orientation) is no loop.
    fn walk(&self, first: usize, used: &mut [bool], loops: &mut Vec<Vec<u32>>) {
        let mut path = vec![self.open[first][0]];
        let mut edge = Some(first);
        let mut place = std::collections::HashMap::from([(path[0], 0)]);
        while let Some(at) = edge {
            used[at] = true;
            let to = self.open[at][1];
            if let Some(&start) = place.get(&to) {
                let cut = path.split_off(start);
                cut.iter().for_each(|id| {
                    place.remove(id);
                });
                loops.push(cut);
            }
            place.insert(to, path.len());
            path.push(to);
            edge = self.next(to, used);
        }
    }

    fn next(&self, from: u32, used: &[bool]) -> Option<usize> {
        let start = self.open.partition_point(|e| e[0] < from);
        (start..self.open.len()).take_while(|&i| self.open[i][0] == from).find(|&i| !used[i])
    }
}

/// What is special about a point's edges.
struct Edges {
    on_border: bool,
    /// Other ends of the open edges that leave the point.
    out: Vec<u32>,
    /// Edges to higher ids, so that each counts once.
    crowded: usize,
    twisted: usize,
}

/// Appends the neighbours of a point, ascending; `None` if all its edges have two agreeing triangles.
fn point_edges(
    id: u32,
    around: &Graph,
    triangles: &[[u32; 3]],
    ids: &mut Vec<u32>,
) -> Option<Edges> {
    // Other ends, doubled, plus one where the edge arrives: sorting brings an edge's uses together.
    let mut ends = [0u64; SMALL];
    let mut many = Vec::new();
    let corners = around.of(id);
    let ends = if 2 * corners.len() <= SMALL {
        &mut ends[..2 * corners.len()]
    } else {
        many.resize(2 * corners.len(), 0);
        &mut many[..]
    };
    for (pair, &corner) in ends.as_chunks_mut::<2>().0.iter_mut().zip(corners) {
        let t = &triangles[corner as usize / 3];
        let at = corner as usize % 3;
        *pair = [u64::from(t[(at + 1) % 3]) << 1, u64::from(t[(at + 2) % 3]) << 1 | 1];
    }
    ends.sort_unstable();
    let mut edges = Edges { on_border: false, out: Vec::new(), crowded: 0, twisted: 0 };
    for uses in ends.chunk_by(|a, b| a >> 1 == b >> 1) {
        let other = (uses[0] >> 1) as u32;
        ids.push(other);
        match uses {
            [one] => {
                edges.on_border = true;
                edges.out.extend((one & 1 == 0).then_some(other));
            }
            [a, b] => edges.twisted += usize::from(a == b && other > id),
            _ => edges.crowded += usize::from(other > id),
        }
    }
    let plain = !edges.on_border && edges.crowded == 0 && edges.twisted == 0;
    (!plain).then_some(edges)
}

/// Twice the triangles at a point that need no allocation.
const SMALL: usize = 32;

#[cfg(test)]
mod tests {
    use super::*;

    const TETRAHEDRON: [[u32; 3]; 4] = [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]];

    #[test]
    fn a_closed_mesh_has_no_border() {
        let t = Topology::new(4, &TETRAHEDRON);
        assert!(t.census.is_watertight());
        assert!(t.loops().is_empty());
        assert_eq!(t.neighbours.of(2), [0, 1, 3]);
        assert!(t.border.iter().all(|b| !b));
    }

    #[test]
    fn an_opened_mesh_has_one_loop_with_the_surface_on_its_left() {
        let t = Topology::new(4, &TETRAHEDRON[1..]);
        // The missing face was (0, 2, 1): its edges run the other way in the three that are left.
        assert_eq!(t.loops(), [[0, 1, 2]]);
        assert_eq!(t.census, EdgeCensus { open: 3, ..EdgeCensus::default() });
        assert_eq!(t.border, [true, true, true, false]);
    }

    #[test]
    fn loops_that_touch_in_a_point_are_two() {
        let t = Topology::new(5, &[[0, 1, 2], [2, 3, 4]]);
        assert_eq!(t.loops(), [[0, 1, 2], [2, 3, 4]]);
    }

    #[test]
    fn edges_of_three_triangles_are_counted() {
        let t = Topology::new(5, &[[0, 1, 2], [1, 0, 3], [0, 1, 4]]);
        assert_eq!((t.census.crowded, t.census.open), (1, 6));
    }

    #[test]
    fn opposed_triangles_are_twisted_and_no_closed_loop() {
        let t = Topology::new(4, &[[0, 1, 2], [0, 1, 3]]);
        assert_eq!(t.census.twisted, 1);
        assert!(t.border.iter().all(|b| *b));
    }

    #[test]
    fn a_point_without_triangle_has_no_neighbours() {
        let t = Topology::new(4, &[[0, 1, 3]]);
        assert!(t.neighbours.of(2).is_empty() && !t.border[2]);
    }

    #[test]
    fn a_fan_of_forty_triangles_is_sorted_like_a_small_one() {
        let fan: Vec<[u32; 3]> = (1..41).map(|i| [0, i, i % 40 + 1]).collect();
        let t = Topology::new(41, &fan);
        assert_eq!(t.neighbours.of(0), (1..41).collect::<Vec<_>>());
        assert!(!t.border[0] && t.border[1]);
        assert_eq!(t.loops(), [(1..41).collect::<Vec<_>>()]);
    }
}
