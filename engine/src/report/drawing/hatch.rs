//! Hatching of what outlines enclose, as lines: a pattern prints coarsely, lines do not.

use super::paper::Spot;
use super::thin::clipped;

/// Lines at 45 degrees, `spacing` apart, inside of the closed outlines that the pieces make up, within the paper.
///
/// Inside is where a line has crossed the outlines an odd number of times; a line that crosses them an odd number of
/// times in all has met a gap and is left out.
pub(super) fn hatch(
    pieces: &[[Spot; 2]],
    size: Spot,
    spacing: f64,
    rising: bool,
) -> Vec<[Spot; 2]> {
    let turn =
        |p: &Spot| if rising { [p[0] - p[1], p[0] + p[1]] } else { [p[0] + p[1], p[0] - p[1]] };
    let back = |[u, v]: Spot| {
        let [x, y] = [(u + v) / 2.0, (u - v) / 2.0];
        if rising { [x, -y] } else { [x, y] }
    };
    // Turned coordinates are longer by the root of two.
    let step = spacing * std::f64::consts::SQRT_2;
    let corners = [[0.0, 0.0], [size[0], 0.0], [0.0, size[1]], size].map(|c| turn(&c)[1]);
    let low = corners.iter().fold(f64::INFINITY, |a, b| a.min(*b));
    let high = corners.iter().fold(f64::NEG_INFINITY, |a, b| a.max(*b));
    let first = (low / step).ceil() as i64;
    let count = ((high / step).floor() as i64 - first + 1).max(0) as usize;
    let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); count];
    for [a, b] in pieces.iter().map(|p| [turn(&p[0]), turn(&p[1])]) {
        let (low, high) = if a[1] < b[1] { (a, b) } else { (b, a) };
        // Half open: a corner counts for one of the two pieces that meet in it.
        let from = ((low[1] / step).floor() as i64 + 1).max(first);
        let to = ((high[1] / step).floor() as i64).min(first + count as i64 - 1);
        for k in from..=to {
            let t = (k as f64 * step - low[1]) / (high[1] - low[1]);
            crossings[(k - first) as usize].push(low[0] + (high[0] - low[0]) * t);
        }
    }
    let mut lines = Vec::new();
    for (k, row) in crossings.iter_mut().enumerate() {
        row.sort_by(f64::total_cmp);
        let v = (first + k as i64) as f64 * step;
        if row.len().is_multiple_of(2) {
            let pairs = row.chunks_exact(2).map(|p| [back([p[0], v]), back([p[1], v])]);
            lines.extend(pairs.filter_map(|l| clipped(l, [0.0, 0.0], size)));
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The length of all lines times their spacing is the area: a square of 40 with a square hole of 10.
    #[test]
    fn lines_cover_the_area_and_no_more() {
        let square = |at: f64, side: f64| {
            let c = [[at, at], [at + side, at], [at + side, at + side], [at, at + side]];
            [[c[0], c[1]], [c[1], c[2]], [c[2], c[3]], [c[3], c[0]]]
        };
        let pieces = [square(10.0, 40.0), square(25.0, 10.0)].concat();
        for rising in [true, false] {
            let lines = hatch(&pieces, [100.0, 60.0], 0.1, rising);
            let length = |l: &[Spot; 2]| (l[1][0] - l[0][0]).hypot(l[1][1] - l[0][1]);
            let area = lines.iter().map(length).sum::<f64>() * 0.1;
            assert!((area - 1500.0).abs() < 2.0, "{area}");
            let inside = |p: &Spot, low: f64, high: f64| p.iter().all(|v| (low..=high).contains(v));
            for [a, b] in &lines {
                let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
                assert!(inside(&middle, 10.0, 50.0) && !inside(&middle, 25.1, 34.9), "{middle:?}");
                assert_eq!((b[0] - a[0]) * (b[1] - a[1]) < 0.0, rising);
            }
        }
        // Only what lies on the paper.
        let few = hatch(&pieces, [30.0, 30.0], 1.0, true);
        assert!(few.iter().flatten().all(|p| p.iter().all(|v| *v <= 30.0 + 1e-9)));
        // An open outline encloses nothing.
        assert!(hatch(&pieces[..1], [100.0, 60.0], 1.0, true).is_empty());
    }
}
