//! Borders of the scans that no other scan goes on from: surface may continue there unseen.

use rayon::prelude::*;

use super::view::View;

/// Scan and id of each such border point, ascending.
pub(super) fn open(view: &View<'_>) -> Vec<(usize, u32)> {
    let of = |s: usize| {
        let scan = view.scene.scans[s].scan;
        let ids = (0..scan.points().len() as u32).into_par_iter();
        let open = ids.filter(move |&i| scan.is_border(i) && !goes_on(view, s, i));
        open.map(move |i| (s, i)).collect::<Vec<_>>()
    };
    (0..view.scans.len()).flat_map(of).collect()
}

/// Whether another scan shows the surface at a border point, and not its own border there.
fn goes_on(view: &View<'_>, s: usize, id: u32) -> bool {
    let place = &view.scans[s].points[id as usize];
    view.scene.scans.iter().enumerate().filter(|(o, _)| *o != s).any(|(o, other)| {
        let inside = other.machine_from_scan.inverse_transform_point(place);
        let (nearest, distance) = other.scan.nearest(&inside);
        let band = 2.0 * view.scans[o].resolution + 4.0 * view.scans[o].noise;
        distance <= band && !other.scan.is_border(nearest)
    })
}
