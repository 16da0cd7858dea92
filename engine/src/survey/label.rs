//! Which shape each point belongs to, and how far from where that shape ends.

use rayon::prelude::*;

use super::CLEAN;
use super::grow::{Grower, NONE};
use crate::primitive::Primitive;
use crate::scan::Scan;

/// Primitive of each point: of those about its patch that are near enough and face alike the nearest one. Where
/// the noise hides which that is, its own distance does not decide: that would give each shape the points
/// whose noise suits it, and bend it where surfaces run into one another smoothly.
pub(super) fn labels(grower: &Grower<'_>, shapes: &[Primitive], is_ideal: &[bool]) -> Vec<u32> {
    let (scan, patches) = (grower.scan, grower.patches);
    let (points, normals) = (scan.points(), scan.normals());
    let reach = 4.0 * scan.noise() + 0.06 * scan.resolution();
    let room = if scan.noise() > CLEAN * scan.resolution() { ROOM * scan.noise() } else { 0.0 };
    let label = |i: u32| {
        let (p, n) = (&points[i as usize], &normals[i as usize]);
        let k = patches.of_point[i as usize];
        let mut able = [(0.0, NONE); 8];
        let mut ables = 0;
        let mut seen = [NONE; 8];
        let mut count = 0;
        for &j in std::iter::once(&k).chain(patches.near(k)) {
            let owner = grower.owner[j as usize];
            if owner == NONE
                || !is_ideal[owner as usize]
                || count == seen.len()
                || seen[..count].contains(&owner)
            {
                continue;
            }
            seen[count] = owner;
            count += 1;
            let shape = &shapes[owner as usize];
            let distance = shape.distance(p).abs();
            let faces =
                || shape.normal_at(p).is_some_and(|m| m.dot(n).abs() >= grower.limits.facing);
            if distance < reach && faces() {
                able[ables] = (distance, owner);
                ables += 1;
            }
        }
        let able = &mut able[..ables];
        able.sort_by(|a, b| a.0.total_cmp(&b.0));
        match able {
            [] => Seen { label: NONE, also: [NONE; OTHERS] },
            [first, rest @ ..] => {
                let mut also = [NONE; OTHERS];
                let near = rest.iter().filter(|a| a.0 - first.0 < room).map(|a| a.1);
                also.iter_mut().zip(near).for_each(|(a, owner)| *a = owner);
                Seen { label: first.1, also }
            }
        }
    };
    let seen: Vec<Seen> =
        (0..points.len() as u32).into_par_iter().with_min_len(4096).map(label).collect();
    decided(scan, &seen)
}

/// The shape that a point lies nearest to, and those it may as well lie on.
struct Seen {
    label: u32,
    also: [u32; OTHERS],
}

/// Takes what may lie on several shapes to the one nearest along the surface that it may lie on.
fn decided(scan: &Scan, seen: &[Seen]) -> Vec<u32> {
    let is_open = |i: &u32| seen[*i as usize].also[0] != NONE;
    let mut open: Vec<u32> = (0..seen.len() as u32).filter(is_open).collect();
    let mut labels: Vec<u32> =
        seen.iter().map(|s| if s.also[0] == NONE { s.label } else { OPEN }).collect();
    for _ in 0..ROUNDS {
        let of = |i: &u32| {
            let s = &seen[*i as usize];
            let near = scan.neighbours(*i);
            let votes = |l: u32| near.iter().filter(|&&j| labels[j as usize] == l).count();
            let may = std::iter::once(s.label).chain(s.also).filter(|l| *l != NONE);
            may.map(|l| (votes(l), std::cmp::Reverse(l))).max().filter(|v| v.0 > 0).map(|v| v.1.0)
        };
        let next: Vec<Option<u32>> = open.par_iter().with_min_len(4096).map(of).collect();
        for (&i, label) in open.iter().zip(&next) {
            labels[i as usize] = label.unwrap_or(OPEN);
        }
        let before = open.len();
        open.retain(|&i| labels[i as usize] == OPEN);
        if open.len() == before {
            break;
        }
    }
    open.iter().for_each(|&i| labels[i as usize] = seen[i as usize].label);
    labels
}

/// Takes from each shape the points along its border with nothing whose surroundings lie off it to one side: the
/// surface bends away there, which the noise of one point hides.
pub(super) fn peel(scan: &Scan, shapes: &[Primitive], labels: &mut [u32]) {
    if scan.noise() <= CLEAN * scan.resolution() {
        return;
    }
    let limit = OFF_NOISE * scan.noise() + OFF_SPACING * scan.resolution();
    let points = scan.points();
    let at_border = |i: &u32, labels: &[u32]| {
        labels[*i as usize] != NONE
            && scan.neighbours(*i).iter().any(|&j| labels[j as usize] == NONE)
    };
    let mut rim: Vec<u32> = (0..points.len() as u32)
        .into_par_iter()
        .with_min_len(4096)
        .filter(|i| at_border(i, labels))
        .collect();
    for _ in 0..ROUNDS {
        let own = &*labels;
        let is_off = |i: &u32| {
            let label = own[*i as usize];
            let shape = &shapes[label as usize];
            let near = scan.neighbours(*i).iter().filter(|&&j| own[j as usize] == label);
            let (mut sum, mut count) = (0.0f64, 0.0);
            for &j in near.chain(std::iter::once(i)) {
                sum += shape.distance(&points[j as usize]);
                count += 1.0;
            }
            (sum / count).abs() > limit
        };
        let off: Vec<u32> =
            rim.par_iter().with_min_len(1024).filter(|i| is_off(i)).copied().collect();
        if off.is_empty() {
            break;
        }
        off.iter().for_each(|&i| labels[i as usize] = NONE);
        rim = off.iter().flat_map(|&i| scan.neighbours(i)).copied().collect();
        rim.sort_unstable();
        rim.dedup();
        rim.retain(|&i| labels[i as usize] != NONE);
    }
}

/// Rings between each point and where a shape that ends smoothly ends, up to [`RINGS`].
pub(super) fn depths(scan: &Scan, labels: &[u32], smooth: &[bool]) -> Vec<u8> {
    let mut depths = vec![RINGS; labels.len()];
    let is_end = |i: &u32| {
        let label = labels[*i as usize];
        label != NONE && smooth[label as usize] && {
            let near = scan.neighbours(*i);
            2 * near.iter().filter(|&&j| labels[j as usize] == NONE).count() >= near.len()
        }
    };
    let all = (0..labels.len() as u32).into_par_iter().with_min_len(4096);
    let mut front: Vec<u32> = all.filter(is_end).collect();
    for ring in 0..RINGS {
        front.iter().for_each(|&i| depths[i as usize] = ring);
        let own = |i: u32| move |j: &u32| labels[*j as usize] == labels[i as usize];
        let next = front.iter().flat_map(|&i| scan.neighbours(i).iter().copied().filter(own(i)));
        let mut next: Vec<u32> = next.filter(|&j| depths[j as usize] == RINGS).collect();
        next.sort_unstable();
        next.dedup();
        front = next;
    }
    depths
}

/// Rings that can be left out along where a shape ends smoothly: how far the other surface reaches in is hidden by
/// the noise.
pub(super) fn margin(ids: &[u32], depths: &[u8]) -> u8 {
    let mut counts = [0; RINGS as usize + 1];
    ids.iter().for_each(|&i| counts[depths[i as usize] as usize] += 1);
    let mut left = ids.len();
    let mut margin = 0;
    for count in &counts[..RINGS as usize] {
        left -= count;
        if (left as f64) < DEEP * ids.len() as f64 {
            break;
        }
        margin += 1;
    }
    margin
}

/// How far off the surroundings of a point may lie, in parts of the noise and of the spacing.
const OFF_NOISE: f64 = 1.0;
const OFF_SPACING: f64 = 0.01;
/// Rings looked at along smooth ends, and the share of the points that must lie deeper.
const RINGS: u8 = 6;
const DEEP: f64 = 0.7;
/// Not decided yet.
const OPEN: u32 = u32::MAX - 1;
/// Shapes that a point may lie on beside the nearest.
const OTHERS: usize = 3;
/// Difference of distances that tells, in units of the noise.
const ROOM: f64 = 4.0;
/// Rings of points that are decided or taken away one after another at most.
const ROUNDS: usize = 40;
