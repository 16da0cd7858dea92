//! Outlines made fit for a face: on the plane, no edge of no length, no crossing, holes inside, turned the right way round.
//!
//! Readers accept a crossing outline or a hole outside it without a word and give a wrong face,
//! so it is tested here: crossings by a sweep over the segments in order of x. An outline that
//! crosses itself becomes its convex hull (A. M. Andrew, 1979, "Another efficient algorithm for
//! convex hulls in two dimensions"), a bad hole is left out; both are noted.

use std::collections::VecDeque;

use crate::primitive::{Plane, Point3, frame_from_axis};

/// Loops fit for a face, the outline first.
pub(in crate::exchange) struct Outline {
    pub(in crate::exchange) loops: Vec<Vec<Point3>>,
    pub(super) notes: Vec<String>,
}

/// Makes loops fit for a face; what is closer than `precision` (mm) counts as touching.
///
/// `Err` says why there is no area to write.
pub(in crate::exchange) fn cleaned(
    plane: &Plane,
    loops: &[Vec<Point3>],
    precision: f64,
) -> Result<Outline, String> {
    let frame = frame_from_axis(&plane.normal);
    let flatten = |points: &Vec<Point3>| {
        let corners = points.iter().map(|p| {
            let point = plane.project(p);
            let local = frame.inverse_transform_vector(&(point - plane.point));
            Corner { point, x: local.x, y: local.y }
        });
        tidied(corners, precision)
    };
    let mut loops = loops.iter().map(flatten);
    let mut notes = Vec::new();
    let outer = outer_loop(loops.next().unwrap_or_default(), precision, &mut notes)?;
    let mut kept = vec![outer];
    for (i, hole) in loops.enumerate() {
        match hole_problem(&hole, &kept, precision) {
            None => kept.push(turned(hole, false)),
            Some(why) => notes.push(format!("opening {} left out: {why}", i + 1)),
        }
    }
    let loops = kept.iter().map(|l| l.iter().map(|c| c.point).collect()).collect();
    Ok(Outline { loops, notes })
}

/// A corner in space and in the plane's own axes.
#[derive(Debug, Clone, Copy)]
struct Corner {
    point: Point3,
    x: f64,
    y: f64,
}

impl Corner {
    fn near(&self, other: &Corner, precision: f64) -> bool {
        (self.x - other.x).hypot(self.y - other.y) <= precision
    }
}

fn outer_loop(
    corners: Vec<Corner>,
    precision: f64,
    notes: &mut Vec<String>,
) -> Result<Vec<Corner>, String> {
    let mut outer = corners;
    if outer.len() >= 3 && touches_itself(&outer, precision) {
        outer = tidied(hull(outer).into_iter(), precision);
        notes.push("outline crosses or touches itself: its convex hull is written".into());
    }
    if outer.len() < 3 || is_thin(&outer, precision) {
        return Err(format!("an outline of {} separate corners without area", outer.len()));
    }
    Ok(turned(outer, true))
}

fn hole_problem(hole: &[Corner], kept: &[Vec<Corner>], precision: f64) -> Option<&'static str> {
    let first = hole.first()?;
    if hole.len() < 3 || is_thin(hole, precision) {
        return Some("no area");
    }
    if touches_itself(hole, precision) {
        return Some("it crosses or touches itself");
    }
    if kept.iter().any(|l| loops_touch(hole, l, precision)) {
        return Some("it crosses or touches another loop");
    }
    let (outer, others) = kept.split_first()?;
    if !contains(outer, first) {
        return Some("it lies outside the outline");
    }
    let nested =
        |o: &Vec<Corner>| contains(o, first) || o.first().is_some_and(|c| contains(hole, c));
    others.iter().any(nested).then_some("it lies in another opening or around it")
}

/// Drops repeated corners and spikes (there and back on the same edge).
fn tidied(corners: impl Iterator<Item = Corner>, precision: f64) -> Vec<Corner> {
    let mut kept: VecDeque<Corner> = VecDeque::new();
    for c in corners {
        while kept.len() >= 2 && kept[kept.len() - 2].near(&c, precision) {
            kept.pop_back();
        }
        if !kept.back().is_some_and(|last| last.near(&c, precision)) {
            kept.push_back(c);
        }
    }
    while kept.len() >= 2 {
        let n = kept.len();
        if kept[0].near(&kept[n - 1], precision) || (n > 2 && kept[0].near(&kept[n - 2], precision))
        {
            kept.pop_back();
        } else if n > 2 && kept[1].near(&kept[n - 1], precision) {
            kept.pop_front();
        } else {
            break;
        }
    }
    kept.into()
}

fn turned(mut corners: Vec<Corner>, counter_clockwise: bool) -> Vec<Corner> {
    if (signed_area(&corners) > 0.0) != counter_clockwise {
        corners.reverse();
    }
    corners
}

fn is_thin(corners: &[Corner], precision: f64) -> bool {
    let length: f64 = segments(corners).map(|(a, b)| (a.x - b.x).hypot(a.y - b.y)).sum();
    signed_area(corners).abs() <= length * precision
}

/// Area, mm², positive when the loop runs counter-clockwise about the normal.
fn signed_area(corners: &[Corner]) -> f64 {
    let Some(o) = corners.first() else { return 0.0 };
    let cross = |(a, b): (&Corner, &Corner)| (a.x - o.x) * (b.y - o.y) - (b.x - o.x) * (a.y - o.y);
    segments(corners).map(cross).sum::<f64>() / 2.0
}

fn segments(corners: &[Corner]) -> impl Iterator<Item = (&Corner, &Corner)> {
    corners.iter().zip(corners.iter().cycle().skip(1))
}

/// Whether two edges of one loop cross or come closer than `precision`, apart from neighbours at their common corner.
fn touches_itself(corners: &[Corner], precision: f64) -> bool {
    let n = corners.len();
    let mut edges: Vec<(usize, Edge)> = segments(corners).map(Edge::new).enumerate().collect();
    edges.sort_by(|a, b| a.1.bounds.low[0].total_cmp(&b.1.bounds.low[0]).then(a.0.cmp(&b.0)));
    edges.iter().enumerate().any(|(k, (i, e))| {
        edges[k + 1..]
            .iter()
            .take_while(|(_, f)| f.bounds.low[0] <= e.bounds.high[0] + precision)
            .any(|(j, f)| match (i + 1) % n == *j {
                true => e.folds_into(f, precision),
                false if (j + 1) % n == *i => f.folds_into(e, precision),
                false => e.touches(f, precision),
            })
    })
}

fn loops_touch(a: &[Corner], b: &[Corner], precision: f64) -> bool {
    let of_a: Vec<Edge> = segments(a).map(Edge::new).collect();
    let Some(around) = of_a.iter().map(|e| e.bounds).reduce(Bounds::joined) else { return false };
    // A small opening in a long outline meets few of its edges.
    let near: Vec<Edge> =
        segments(b).map(Edge::new).filter(|f| f.bounds.meets(&around, precision)).collect();
    of_a.iter().any(|e| near.iter().any(|f| e.touches(f, precision)))
}

/// Even-odd rule; `c` must not lie on the loop.
fn contains(corners: &[Corner], c: &Corner) -> bool {
    let crossed = |(a, b): &(&Corner, &Corner)| {
        (a.y > c.y) != (b.y > c.y) && c.x < (b.x - a.x) * (c.y - a.y) / (b.y - a.y) + a.x
    };
    segments(corners).filter(crossed).count() % 2 == 1
}

/// Convex hull, counter-clockwise.
fn hull(mut corners: Vec<Corner>) -> Vec<Corner> {
    corners.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    let half = |corners: &mut dyn Iterator<Item = &Corner>| {
        let mut chain: Vec<Corner> = Vec::new();
        for c in corners {
            while let [.., a, b] = chain[..] {
                if side(&a, &b, c) > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push(*c);
        }
        chain.pop();
        chain
    };
    let mut lower = half(&mut corners.iter());
    lower.append(&mut half(&mut corners.iter().rev()));
    lower
}

/// Twice the area of a triangle, positive when `c` is left of `a` → `b`.
fn side(a: &Corner, b: &Corner, c: &Corner) -> f64 {
    (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)
}

/// A segment with its box.
#[derive(Clone, Copy)]
struct Edge {
    from: Corner,
    to: Corner,
    bounds: Bounds,
}

/// Box along the plane's own axes.
#[derive(Clone, Copy)]
struct Bounds {
    low: [f64; 2],
    high: [f64; 2],
}

impl Bounds {
    fn joined(self, other: Bounds) -> Bounds {
        Bounds {
            low: [0, 1].map(|k| self.low[k].min(other.low[k])),
            high: [0, 1].map(|k| self.high[k].max(other.high[k])),
        }
    }

    fn meets(&self, other: &Bounds, precision: f64) -> bool {
        (0..2).all(|k| {
            self.low[k] <= other.high[k] + precision && other.low[k] <= self.high[k] + precision
        })
    }
}

impl Edge {
    fn new((from, to): (&Corner, &Corner)) -> Self {
        Edge {
            from: *from,
            to: *to,
            bounds: Bounds {
                low: [from.x.min(to.x), from.y.min(to.y)],
                high: [from.x.max(to.x), from.y.max(to.y)],
            },
        }
    }

    fn touches(&self, other: &Edge, precision: f64) -> bool {
        if !self.bounds.meets(&other.bounds, precision) {
            return false;
        }
        let across = |e: &Edge, f: &Edge| {
            (side(&e.from, &e.to, &f.from) > 0.0) != (side(&e.from, &e.to, &f.to) > 0.0)
        };
        (across(self, other) && across(other, self))
            || [&other.from, &other.to].iter().any(|c| self.distance(c) <= precision)
            || [&self.from, &self.to].iter().any(|c| other.distance(c) <= precision)
    }

    /// Whether the edge that follows this one runs back over it.
    fn folds_into(&self, next: &Edge, precision: f64) -> bool {
        self.distance(&next.to) <= precision || next.distance(&self.from) <= precision
    }

    fn distance(&self, c: &Corner) -> f64 {
        let (dx, dy) = (self.to.x - self.from.x, self.to.y - self.from.y);
        let (px, py) = (c.x - self.from.x, c.y - self.from.y);
        let t = ((px * dx + py * dy) / (dx * dx + dy * dy)).clamp(0.0, 1.0);
        (px - t * dx).hypot(py - t * dy)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::primitive::{Direction, Vec3};

    fn clean(loops: &[&[[f64; 2]]]) -> Result<Outline, String> {
        let plane = Plane { point: Point3::origin(), normal: Direction::new_unchecked(Vec3::z()) };
        let frame = frame_from_axis(&plane.normal);
        // Off the plane by 0.3 mm: the points have to be put on it.
        let lift = |l: &&[[f64; 2]]| {
            l.iter().map(|[x, y]| Point3::from(frame * Vec3::new(*x, *y, 0.3))).collect()
        };
        cleaned(&plane, &loops.iter().map(lift).collect::<Vec<_>>(), 1e-6)
    }

    fn areas(outline: &Outline) -> Vec<f64> {
        let frame = frame_from_axis(&Direction::new_unchecked(Vec3::z()));
        let flat = |l: &Vec<Point3>| {
            let corners: Vec<Corner> = l
                .iter()
                .map(|p| {
                    let q = frame.inverse_transform_vector(&p.coords);
                    assert_eq!(q.z, 0.0);
                    Corner { point: *p, x: q.x, y: q.y }
                })
                .collect();
            signed_area(&corners)
        };
        outline.loops.iter().map(flat).collect()
    }

    const SQUARE: &[[f64; 2]] = &[[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]];
    const SMALL: &[[f64; 2]] = &[[2.0, 2.0], [4.0, 2.0], [4.0, 4.0], [2.0, 4.0]];

    #[test]
    fn loops_are_turned() -> Result<(), String> {
        let back: Vec<[f64; 2]> = SQUARE.iter().rev().copied().collect();
        for outer in [SQUARE, &back] {
            let outline = clean(&[outer, SMALL])?;
            assert_eq!(areas(&outline), [100.0, -4.0]);
            assert!(outline.notes.is_empty());
        }
        Ok(())
    }

    #[test]
    fn repeats_and_spikes_go_collinear_corners_stay() -> Result<(), String> {
        let outline = clean(&[&[
            [0.0, 0.0],
            [5.0, 0.0],
            [10.0, 0.0],
            [10.0, 1e-9],
            [10.0, 10.0],
            [20.0, 10.0],
            [10.0, 10.0],
            [0.0, 10.0],
            [0.0, 0.0],
        ]])?;
        assert_eq!(outline.loops[0].len(), 5);
        assert_eq!(areas(&outline), [100.0]);
        let at_the_ends = clean(&[&[
            [-5.0, 0.0],
            [0.0, 0.0],
            [10.0, 0.0],
            [10.0, 10.0],
            [0.0, 10.0],
            [0.0, 0.0],
        ]])?;
        assert_eq!(at_the_ends.loops[0].len(), 4);
        assert_eq!(areas(&at_the_ends), [100.0]);
        Ok(())
    }

    #[test]
    fn crossing_outline_becomes_its_hull() -> Result<(), String> {
        let bow: &[[f64; 2]] = &[[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 10.0]];
        let pinched: &[[f64; 2]] =
            &[[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [5.0, 0.0], [0.0, 10.0]];
        for outer in [bow, pinched] {
            let outline = clean(&[outer])?;
            assert_eq!(areas(&outline), [100.0]);
            assert_eq!(outline.notes.len(), 1);
        }
        Ok(())
    }

    #[test]
    fn bad_holes_are_left_out_and_noted() -> Result<(), String> {
        let outside: &[[f64; 2]] = &[[20.0, 0.0], [22.0, 0.0], [22.0, 2.0]];
        let across: &[[f64; 2]] = &[[9.0, 5.0], [12.0, 5.0], [12.0, 7.0]];
        let inner: &[[f64; 2]] = &[[2.5, 2.5], [3.0, 2.5], [3.0, 3.0]];
        let flat: &[[f64; 2]] = &[[6.0, 6.0], [7.0, 7.0], [8.0, 8.0]];
        let bow: &[[f64; 2]] = &[[5.0, 5.0], [8.0, 8.0], [8.0, 5.0], [5.0, 8.0]];
        let around: &[[f64; 2]] = &[[-1.0, -1.0], [11.0, -1.0], [11.0, 11.0], [-1.0, 11.0]];
        let outline = clean(&[SQUARE, SMALL, outside, across, inner, flat, bow, around])?;
        assert_eq!(areas(&outline), [100.0, -4.0]);
        assert_eq!(outline.notes.len(), 6);
        Ok(())
    }

    #[test]
    fn no_area_is_refused() {
        let line: &[[f64; 2]] = &[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [3.0, 3.0]];
        let point: &[[f64; 2]] = &[[1.0, 1.0]; 4];
        for bad in [line, point, &[]] {
            assert!(clean(&[bad]).is_err());
        }
        assert!(clean(&[]).is_err());
    }
}
