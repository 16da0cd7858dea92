//! Lines with fewer points: short pieces joined end to end, points left out that make no difference.

use std::collections::BTreeMap;

use super::paper::Spot;

/// Pieces joined where their ends meet, each piece once; a line ends where more than two meet.
pub(super) fn chained(pieces: &[[Spot; 2]]) -> Vec<Vec<Spot>> {
    let key = |p: &Spot| p.map(|v| (v / SAME).round() as i64);
    let mut ends: Vec<[[i64; 2]; 2]> = pieces.iter().map(|p| [key(&p[0]), key(&p[1])]).collect();
    let mut order: Vec<usize> = (0..pieces.len()).filter(|i| ends[*i][0] != ends[*i][1]).collect();
    let sorted = |e: &[[i64; 2]; 2]| if e[0] < e[1] { *e } else { [e[1], e[0]] };
    order.sort_by_key(|i| (sorted(&ends[*i]), *i));
    order.dedup_by_key(|i| sorted(&ends[*i]));
    order.sort_unstable();
    let mut at: BTreeMap<[i64; 2], Vec<usize>> = BTreeMap::new();
    for &i in &order {
        for end in ends[i] {
            at.entry(end).or_default().push(i);
        }
    }
    let mut used = vec![false; pieces.len()];
    let open = |i: &usize| ends[*i].iter().any(|e| at[e].len() != 2);
    // Loops have no end to begin at: they come last.
    let mut starts: Vec<usize> = order.iter().copied().filter(open).collect();
    starts.extend(&order);
    let mut lines = Vec::new();
    for start in starts {
        if used[start] {
            continue;
        }
        used[start] = true;
        let forward = usize::from(at[&ends[start][0]].len() == 2 && at[&ends[start][1]].len() != 2);
        let (mut line, mut end) = (
            vec![pieces[start][forward], pieces[start][1 - forward]],
            std::mem::take(&mut ends[start])[1 - forward],
        );
        while let [a, b] = at[&end][..] {
            let Some(next) = [a, b].into_iter().find(|i| !used[*i]) else { break };
            used[next] = true;
            let far = usize::from(ends[next][0] == end);
            line.push(pieces[next][far]);
            end = ends[next][far];
        }
        lines.push(line);
    }
    lines
}

/// The line with fewer points, none of those left out farther from it than `tolerance`.
///
/// D. Douglas, T. Peucker, 1973, "Algorithms for the reduction of the number of points required to represent a
/// digitized line or its caricature".
pub(super) fn thinned(line: &[Spot], tolerance: f64) -> Vec<Spot> {
    let mut keep = vec![false; line.len()];
    let mut open = vec![(0, line.len().saturating_sub(1))];
    while let Some((a, b)) = open.pop() {
        for end in [a, b] {
            if let Some(k) = keep.get_mut(end) {
                *k = true;
            }
        }
        let far = (a + 1..b).map(|i| (off(&line[i], &line[a], &line[b]), i));
        if let Some((most, i)) = far.max_by(|x, y| x.0.total_cmp(&y.0))
            && most > tolerance
        {
            open.extend([(a, i), (i, b)]);
        }
    }
    line.iter().zip(keep).filter(|(_, k)| *k).map(|(p, _)| *p).collect()
}

/// The longest lines, as many as have `most` points between them: a mesh without neighbours has edges everywhere.
pub(super) fn longest(mut lines: Vec<Vec<Spot>>, most: usize) -> Vec<Vec<Spot>> {
    if lines.iter().map(Vec::len).sum::<usize>() <= most {
        return lines;
    }
    let piece = |w: &[Spot]| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]);
    let length = |l: &Vec<Spot>| l.windows(2).map(piece).sum::<f64>();
    lines.sort_by(|a, b| length(b).total_cmp(&length(a)));
    let mut points = 0;
    lines.retain(|l| {
        points += l.len();
        points <= most
    });
    lines
}

/// Distance of a point from a piece of line.
pub(super) fn off(p: &Spot, a: &Spot, b: &Spot) -> f64 {
    let [d, v] = [[b[0] - a[0], b[1] - a[1]], [p[0] - a[0], p[1] - a[1]]];
    let square = d[0] * d[0] + d[1] * d[1];
    let t = ((v[0] * d[0] + v[1] * d[1]) / square.max(1e-300)).clamp(0.0, 1.0);
    (v[0] - t * d[0]).hypot(v[1] - t * d[1])
}

/// The piece of a line that lies on the paper from one corner to another.
pub(super) fn clipped([a, b]: [Spot; 2], low: Spot, high: Spot) -> Option<[Spot; 2]> {
    let (mut from, mut to) = (0.0f64, 1.0f64);
    for k in 0..2 {
        let d = b[k] - a[k];
        for (side, sign) in [(low[k], -1.0), (high[k], 1.0)] {
            let (ahead, room) = (sign * d, sign * (side - a[k]));
            if ahead > 0.0 {
                to = to.min(room / ahead);
            } else if ahead < 0.0 {
                from = from.max(room / ahead);
            } else if room < 0.0 {
                return None;
            }
        }
    }
    let at = |t: f64| [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];
    (from < to).then(|| [at(from), at(to)])
}

/// Ends nearer than this meet, mm on paper.
const SAME: f64 = 1e-5;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_in_any_order_become_one_line() {
        let corner = |i: u32| [f64::from(i % 2) * 3.0, f64::from(i) / 2.0];
        let pieces = [[1, 2], [4, 3], [0, 1], [2, 3], [3, 2]].map(|[a, b]| [corner(a), corner(b)]);
        assert_eq!(chained(&pieces), vec![(0..5).rev().map(corner).collect::<Vec<_>>()]);
        // A closed square comes back to where it began.
        let c = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
        let square = chained(&[[c[0], c[1]], [c[2], c[1]], [c[2], c[3]], [c[0], c[3]]]);
        assert_eq!(square.len(), 1);
        assert_eq!((square[0].len(), square[0][0]), (5, square[0][4]));
    }

    /// The arc of radius 10 in pieces of a hundredth of a radian; its own points are the truth.
    #[test]
    fn what_is_left_out_is_no_farther_than_said() {
        let arc: Vec<Spot> = (0..400)
            .map(|i| f64::from(i) / 100.0)
            .map(|a| [10.0 * a.cos(), 10.0 * a.sin()])
            .collect();
        let few = thinned(&arc, 0.01);
        let from = |p: &Spot| few.windows(2).map(|w| off(p, &w[0], &w[1])).fold(f64::MAX, f64::min);
        let worst = arc.iter().map(from).fold(0.0, f64::max);
        assert!(worst <= 0.01, "{worst}");
        // Chords with a sagitta of 0.01 span 2 acos(1 - 0.001) = 0.0894 rad: at least 45 for 3.99 rad.
        assert!((45..90).contains(&few.len()), "{}", few.len());
        assert_eq!(thinned(&[[1.0, 1.0]], 0.1), vec![[1.0, 1.0]]);
        assert!(thinned(&[], 0.1).is_empty());
    }

    #[test]
    fn the_longest_lines_are_kept() {
        let line = |long: f64| vec![[0.0, 0.0], [long, 0.0]];
        let all = vec![line(1.0), line(3.0), line(2.0)];
        assert_eq!(longest(all.clone(), 6), all);
        assert_eq!(longest(all, 5), vec![line(3.0), line(2.0)]);
    }

    #[test]
    fn lines_end_at_the_border() {
        let cut = |a, b| clipped([a, b], [0.0, 0.0], [10.0, 10.0]);
        assert_eq!(cut([-5.0, 5.0], [15.0, 5.0]), Some([[0.0, 5.0], [10.0, 5.0]]));
        assert_eq!(cut([-5.0, 11.0], [15.0, 11.0]), None);
        assert_eq!(cut([2.0, 3.0], [4.0, 3.0]), Some([[2.0, 3.0], [4.0, 3.0]]));
    }
}
