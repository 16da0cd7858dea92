//! The scan of the made part, coloured by its deviations from the model.

use crate::job::MadeOutcome;

use super::bodies::{Shown, how_many, shown};
use super::pack::{Block, Grid};
use super::{Surface, Thing, text};

/// A thing of its own, hidden at first: it lies in the part. `scale` is its place among the scene's scales.
pub(super) fn made(made: &MadeOutcome, scale: usize, (block, grid): (&mut Block, &Grid)) -> Thing {
    let Shown { ids, places, triangles } = shown(&made.scan, &made.part_from_scan, TRIANGLES, &[]);
    let of = |i: &u32| made.deviation.get(*i as usize).copied().unwrap_or(f64::NAN);
    let deviations: Vec<f64> = ids.iter().map(of).collect();
    Thing {
        group: "Made part",
        name: text::plain(&made.file),
        facts: vec![how_many(&made.scan, triangles.len())],
        class: "thin",
        more: Some("made".into()),
        mesh: Some(Surface {
            kind: "made",
            places: block.places(grid, &places),
            triangles: block.triangles(&triangles),
            values: Some([block.lengths(&deviations), scale]),
            labels: None,
            tint: 0.0,
            scanner: None,
        }),
        ..Thing::default()
    }
}

/// Triangles that are shown at most.
const TRIANGLES: usize = 40_000;
