//! The blocks of a grid that the surface may pass through, found by descent with the distance's bound.
//!
//! The grid may be stretched away from a focus, so that the mesh is fine where the work is and
//! coarse elsewhere, as a careful person scans, and yet one piece.

use rayon::prelude::*;

use super::super::solid::{STEEPEST, Solid};
use super::Focus;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose, Vec3};

/// Cells along the edge of a block.
pub(super) const BLOCK: i64 = 8;

/// Grid along the scanner's axes.
pub(super) struct Grid {
    machine_from_grid: Pose,
    spacing: f64,
    focus: Option<Focus>,
    /// Middle of the stretching and of the whole, grid coordinates, mm.
    centre: Vec3,
}

/// A block of cells and what of the solid matters there.
pub(super) struct Block {
    /// Its place in units of blocks.
    pub(super) place: [i64; 3],
    /// The solid near it.
    pub(super) solid: Solid,
    /// Width of its cells at most, mm.
    pub(super) spacing: f64,
}

impl Grid {
    /// Grid of cells `spacing` mm wide at the focus; without a focus, everywhere.
    ///
    /// # Errors
    /// [`Error::Argument`] if the solid has no body.
    pub(super) fn new(
        solid: &Solid,
        machine_from_grid: &Pose,
        spacing: f64,
        focus: Option<Focus>,
    ) -> Result<Self> {
        let (low, high) =
            solid.bounds().ok_or_else(|| Error::argument("machine", "no body", "at least one"))?;
        let middle = focus.map_or_else(|| nalgebra::center(&low, &high), |f| f.centre);
        let centre = machine_from_grid.inverse_transform_point(&middle).coords;
        Ok(Grid { machine_from_grid: *machine_from_grid, spacing, focus, centre })
    }

    /// Point at a place in units of cells, machine coordinates, mm.
    pub(super) fn at(&self, place: Vec3) -> Point3 {
        let from_centre = place * self.spacing;
        let stretched = match &self.focus {
            Some(focus) => from_centre * focus.stretch(from_centre.norm()),
            None => from_centre,
        };
        self.machine_from_grid * Point3::from(self.centre + stretched)
    }

    /// Largest width of cells up to `distance` cells from the centre, mm.
    fn widest(&self, distance: f64) -> f64 {
        self.spacing * self.focus.map_or(1.0, |f| f.slope(distance * self.spacing))
    }
}

impl Focus {
    /// Factor of a distance from the centre in the unstretched grid.
    fn stretch(&self, r: f64) -> f64 {
        let over = (r - self.radius).max(0.0);
        let growth = over.min(self.radius);
        let extra = growth * growth / (2.0 * self.radius) + (over - growth);
        1.0 + (self.coarse - 1.0) * extra / r.max(f64::MIN_POSITIVE)
    }

    /// Largest ratio of lengths after and before stretching up to a distance.
    fn slope(&self, r: f64) -> f64 {
        1.0 + (self.coarse - 1.0) * ((r - self.radius) / self.radius).clamp(0.0, 1.0)
    }
}

/// Blocks near the surface, ordered by place.
pub(super) fn blocks(grid: &Grid, solid: &Solid) -> Result<Vec<Block>> {
    let mut edge = root(grid, solid)?;
    let root = Block { place: [-edge / 2; 3], solid: solid.clone(), spacing: grid.spacing };
    let mut level = vec![root];
    while edge > 1 {
        edge /= 2;
        level = level.par_iter().flat_map_iter(|b| children(grid, b, edge)).collect();
    }
    level.par_sort_unstable_by_key(|b| b.place);
    Ok(level)
}

fn children(grid: &Grid, parent: &Block, edge: i64) -> Vec<Block> {
    let half_diagonal = (edge * BLOCK) as f64 * 0.75f64.sqrt();
    let child = |i: usize| {
        let place = [0, 1, 2].map(|a| parent.place[a] + if i >> a & 1 == 1 { edge } else { 0 });
        let middle = Vec3::from(place.map(|c| (c as f64 + edge as f64 / 2.0) * BLOCK as f64));
        let spacing = grid.widest(middle.norm() + half_diagonal);
        // Two cells more for points that are moved along the surface later.
        let radius = (half_diagonal + 2.0) * spacing;
        let (distance, solid) = parent.solid.near(&grid.at(middle), radius);
        (distance.abs() <= radius * STEEPEST).then_some(Block { place, solid, spacing })
    };
    (0..8).filter_map(child).collect()
}

/// Edge (a power of two, in blocks) of a cube about the grid's centre that holds the solid.
fn root(grid: &Grid, solid: &Solid) -> Result<i64> {
    let (low, high) = solid.bounds().unwrap_or((Point3::origin(), Point3::origin()));
    let centre = grid.machine_from_grid * Point3::from(grid.centre);
    // Stretching only widens, so the unstretched cube is large enough.
    let reach = (low - centre).abs().sup(&(high - centre).abs()).norm();
    let blocks = 2.0 * (reach / (grid.spacing * BLOCK as f64)).ceil() + 2.0;
    if blocks.is_nan() || blocks > LARGEST as f64 {
        return Err(Error::Limit {
            what: "blocks along the scan's grid".into(),
            found: blocks as u64,
            limit: LARGEST,
        });
    }
    Ok((blocks as u64).next_power_of_two().cast_signed())
}

/// Blocks along the grid's edge at most: keeps the descent within a few gigabytes.
const LARGEST: u64 = 4096;
