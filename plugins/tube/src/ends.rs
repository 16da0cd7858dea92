//! Where a surface ends along its axis.

/// Ends of a run of points along an axis.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ends {
    pub(crate) from: f64,
    pub(crate) to: f64,
    /// Standard uncertainty of each end.
    pub(crate) u: f64,
}

/// Ends of the dense part of the places along an axis: strays beyond it do not count, gaps inside it do
/// not matter. `spacing` is the usual distance from point to point: an end is known to half of it.
pub(crate) fn ends(places: &[f64], spacing: f64) -> Option<Ends> {
    let low = places.iter().copied().fold(f64::INFINITY, f64::min);
    let high = places.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !(high - low).is_finite() {
        return None;
    }
    let width = (ROWS * spacing).max((high - low) / MOST_BINS).max(f64::MIN_POSITIVE);
    let bin = |s: f64| ((s - low) / width) as usize;
    let mut counts = vec![0usize; bin(high) + 1];
    places.iter().for_each(|s| counts[bin(*s)] += 1);
    let mut filled: Vec<f64> = counts.iter().filter(|c| **c > 0).map(|c| *c as f64).collect();
    let dense = DENSE * crate::cloud::median(&mut filled);
    let full = |i: &usize| counts[*i] as f64 >= dense;
    let (first, last) = ((0..counts.len()).find(full)?, (0..counts.len()).rfind(full)?);
    let inside = || places.iter().copied().filter(|s| (first..=last).contains(&bin(*s)));
    let from = inside().fold(f64::INFINITY, f64::min);
    let to = inside().fold(f64::NEG_INFINITY, f64::max);
    (to > from).then_some(Ends { from, to, u: 0.5 * spacing })
}

/// Width of a bin in spacings.
const ROWS: f64 = 2.0;
/// Most bins.
const MOST_BINS: f64 = 20_000.0;
/// Share of the usual count that makes a bin part of the surface.
const DENSE: f64 = 0.25;
