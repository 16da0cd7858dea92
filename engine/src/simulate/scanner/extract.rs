//! The exact surface of a solid as a welded triangle mesh.
//!
//! One corner for every sheet of surface in a grid cell, at the middle of its edges' crossings,
//! then stepped along the gradient onto the surface; one quad for every crossed grid edge.
//! Method: Gibson (1998), "Constrained elastic surface nets".

use rayon::prelude::*;

use super::super::solid::Solid;
use super::Focus;
use super::octree::{BLOCK, Block, Grid, blocks};
use super::sheets::{Sheets, edge};
use crate::error::Result;
use crate::primitive::{Point3, Pose, Vec3, unit};

/// Mesh of a solid in machine coordinates, mm.
pub(super) struct Mesh {
    pub(super) points: Vec<Point3>,
    /// Exact outward normals; empty until they are found.
    pub(super) normals: Vec<Vec3>,
    /// Faces of the net; none after [`Mesh::split`].
    pub(super) quads: Vec<[u32; 4]>,
    /// None before [`Mesh::split`].
    pub(super) triangles: Vec<[u32; 3]>,
    /// The block each point came from: index into `blocks`.
    pub(super) block_of: Vec<u32>,
    /// What of the solid matters in each block.
    pub(super) blocks: Vec<Block>,
}

impl Mesh {
    /// The part of the solid that matters near a point and the width of the cells there, mm.
    pub(super) fn near(&self, i: usize) -> (&Solid, f64) {
        let block = &self.blocks[self.block_of[i] as usize];
        (&block.solid, block.spacing)
    }

    /// Makes two triangles of every quad, along the diagonal that follows the surface better.
    pub(super) fn split(&mut self) {
        let quads = std::mem::take(&mut self.quads);
        self.triangles = quads.par_iter().flat_map_iter(|q| self.halves(*q)).collect();
    }

    /// Of the two ways, the one whose worse triangle lies nearer to square with its normals; on a
    /// flat face, where both do, the shorter diagonal.
    fn halves(&self, [a, b, c, d]: [u32; 4]) -> [[u32; 3]; 2] {
        let ways = [[[a, b, c], [a, c, d]], [[a, b, d], [b, c, d]]];
        let [p, q] = ways.map(|[s, t]| self.agreement(s).min(self.agreement(t)));
        if (p - q).abs() > FLAT {
            return if p > q { ways[0] } else { ways[1] };
        }
        let length =
            |i: u32, j: u32| (self.points[i as usize] - self.points[j as usize]).norm_squared();
        if length(a, c) <= length(b, d) { ways[0] } else { ways[1] }
    }

    /// Cosine of the angle between a triangle and its corners' mean normal; -1 for no area.
    fn agreement(&self, t: [u32; 3]) -> f64 {
        let [a, b, c] = t.map(|i| self.points[i as usize]);
        let out: Vec3 = t.iter().map(|&i| self.normals[i as usize]).sum();
        match unit((b - a).cross(&(c - a))) {
            Some(normal) => normal.dot(&out) / out.norm().max(f64::MIN_POSITIVE),
            None => -1.0,
        }
    }

    /// Exact outward normal at a point; zero where there is none.
    pub(super) fn normal_at(&self, i: usize) -> Vec3 {
        let gradient = self.near(i).0.gradient(&self.points[i]);
        gradient.map_or_else(Vec3::zeros, |(direction, _)| direction.into_inner())
    }
}

/// Meshes a solid with a grid of `spacing` mm along the axes of the given frame, coarser away from
/// the focus.
pub(super) fn extract(
    solid: &Solid,
    machine_from_grid: &Pose,
    spacing: f64,
    focus: Option<Focus>,
) -> Result<Mesh> {
    let grid = Grid::new(solid, machine_from_grid, spacing, focus)?;
    let blocks = blocks(&grid, solid)?;
    let nets: Vec<Net> = blocks.par_iter().map(|b| Net::new(&grid, b)).collect();
    let mut first = Vec::with_capacity(nets.len());
    let mut count = 0;
    for net in &nets {
        first.push(count);
        count += net.points.len() as u32;
    }
    let whole = Whole { blocks: &blocks, nets: &nets, first: &first };
    let quads: Vec<[u32; 4]> =
        (0..nets.len()).into_par_iter().flat_map_iter(|b| whole.quads(b)).collect();
    let block_of = (0..).zip(&nets).flat_map(|(b, n)| n.points.iter().map(move |_| b)).collect();
    let points: Vec<Point3> = nets.into_iter().flat_map(|n| n.points).collect();
    Ok(Mesh { points, normals: Vec::new(), quads, triangles: Vec::new(), block_of, blocks })
}

/// Steps along the gradient until the point lies on the surface.
pub(super) fn onto_surface(solid: &Solid, mut p: Point3) -> Point3 {
    for _ in 0..STEPS {
        let distance = solid.distance(&p);
        if distance.abs() < ON_SURFACE {
            break;
        }
        let Some((direction, slope)) = solid.gradient(&p) else { break };
        // Where surfaces meet the slope of the differences is too small to divide by.
        p -= direction.into_inner() * (distance / slope.max(0.5));
    }
    p
}

/// The corners of one block.
struct Net {
    points: Vec<Point3>,
    /// Number of each cell's first corner within the block, [`NONE`] without.
    first: Vec<u16>,
    /// Cells with several sheets of surface, ascending, with the sheet of each edge.
    several: Vec<(u16, Sheets)>,
    /// Crossed edges: cell, axis, whether the material lies at the upper end.
    crossings: Vec<(u16, u8, bool)>,
}

impl Net {
    fn new(grid: &Grid, block: &Block) -> Self {
        let low = block.place.map(|p| p * BLOCK);
        let values = Values::new(grid, &block.solid, low);
        let first = vec![NONE; CELLS];
        let (points, several, crossings) = (Vec::new(), Vec::new(), Vec::new());
        let mut net = Net { points, first, several, crossings };
        for cell in 0..CELLS {
            let at = unpack(cell);
            let corners = values.corners(at);
            let inside = corners.map(|v| v < 0.0);
            if inside.iter().all(|i| *i == inside[0]) {
                continue;
            }
            net.first[cell] = net.points.len() as u16;
            let sheets = Sheets::new(&inside);
            for middle in sheets.middles(&corners) {
                let place = Vec3::from([0, 1, 2].map(|a| (low[a] + at[a]) as f64)) + middle;
                net.points.push(onto_surface(&block.solid, grid.at(place)));
            }
            if sheets.count > 1 {
                net.several.push((cell as u16, sheets));
            }
            for axis in (0..3).filter(|axis| inside[1 << axis] != inside[0]) {
                net.crossings.push((cell as u16, axis as u8, !inside[0]));
            }
        }
        net
    }

    /// Number within the block of the corner that stands for an edge of a cell.
    fn corner(&self, cell: usize, edge: usize) -> Option<u16> {
        let first = self.first[cell];
        let several = self.several.binary_search_by_key(&(cell as u16), |s| s.0);
        let sheet = several.map_or(0, |i| u16::from(self.several[i].1.of_edge[edge]));
        (first != NONE).then_some(first + sheet)
    }
}

/// Distances at the corners of a block's cells.
struct Values(Vec<f64>);

impl Values {
    fn new(grid: &Grid, solid: &Solid, low: [i64; 3]) -> Self {
        let mut values = Vec::with_capacity((CORNERS * CORNERS * CORNERS) as usize);
        for z in 0..CORNERS {
            for y in 0..CORNERS {
                for x in 0..CORNERS {
                    let p =
                        grid.at(Vec3::from([low[0] + x, low[1] + y, low[2] + z].map(|c| c as f64)));
                    values.push(solid.distance(&p));
                }
            }
        }
        Values(values)
    }

    fn at(&self, [x, y, z]: [i64; 3]) -> f64 {
        self.0[((z * CORNERS + y) * CORNERS + x) as usize]
    }

    /// Distances at a cell's corners; bit a of the index is the step along axis a.
    fn corners(&self, cell: [i64; 3]) -> [f64; 8] {
        std::array::from_fn(|i| self.at([0, 1, 2].map(|a| cell[a] + (i >> a & 1) as i64)))
    }
}

/// All blocks with the number of each one's first corner.
struct Whole<'a> {
    blocks: &'a [Block],
    nets: &'a [Net],
    first: &'a [u32],
}

impl Whole<'_> {
    /// The quads about the crossed edges of one block, counter-clockwise seen from outside.
    fn quads(&self, b: usize) -> Vec<[u32; 4]> {
        let neighbour = self.neighbours(b);
        let corner = |cell: [i64; 3], edge: usize| {
            let index: usize = (0..3).map(|a| if cell[a] < 0 { 1 << a } else { 0 }).sum();
            let block = neighbour[index]?;
            let number = self.nets[block].corner(pack(cell.map(|c| c.rem_euclid(BLOCK))), edge)?;
            Some(self.first[block] + u32::from(number))
        };
        let quad = |&(cell, axis, flip): &(u16, u8, bool)| {
            let axis = usize::from(axis);
            let at = unpack(usize::from(cell));
            // The cells round the edge, each with the steps from its own lowest corner to the edge.
            let mut quad = [None; 4];
            for (corner_of_quad, [b, c]) in quad.iter_mut().zip([[0, 0], [1, 0], [1, 1], [0, 1]]) {
                let mut cell = at;
                cell[(axis + 1) % 3] -= b as i64;
                cell[(axis + 2) % 3] -= c as i64;
                *corner_of_quad = corner(cell, edge(axis, b, c));
            }
            if flip {
                quad.reverse();
            }
            let [p, q, r, s] = quad;
            Some([p?, q?, r?, s?])
        };
        self.nets[b].crossings.iter().filter_map(quad).collect()
    }

    /// The block itself and those below it: bit a of the index steps down along axis a.
    fn neighbours(&self, b: usize) -> [Option<usize>; 8] {
        let place = self.blocks[b].place;
        std::array::from_fn(|i| {
            let wanted = [0, 1, 2].map(|a| place[a] - (i >> a & 1) as i64);
            self.blocks.binary_search_by_key(&wanted, |b| b.place).ok()
        })
    }
}

fn pack([x, y, z]: [i64; 3]) -> usize {
    ((z * BLOCK + y) * BLOCK + x) as usize
}

fn unpack(cell: usize) -> [i64; 3] {
    let cell = cell as i64;
    [cell % BLOCK, cell / BLOCK % BLOCK, cell / (BLOCK * BLOCK)]
}

const CELLS: usize = (BLOCK * BLOCK * BLOCK) as usize;
const CORNERS: i64 = BLOCK + 1;
const NONE: u16 = u16::MAX;
/// Distance from the surface at which a step more would change nothing that matters, mm.
const ON_SURFACE: f64 = 1e-10;
/// Difference of the two ways' agreement below which a quad counts as flat.
const FLAT: f64 = 0.02;
/// Newton steps at most; on a smooth surface three suffice.
const STEPS: usize = 8;
