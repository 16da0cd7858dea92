//! The closed shells of a mesh, and which cavity belongs to which outer shell.
//!
//! Corners are joined by equal coordinates; triangles joined by corners form a shell. A shell of
//! negative volume is the cavity of the smallest shell that holds it, or, if none does, a shell
//! whose triangles all face inward.

use super::{Mesh, OpenEdges, sign};
use crate::primitive::Point3;

/// Triangle ids of each body and whether they face inward.
pub(super) fn of(
    points: &[Point3],
    triangles: &[[u32; 3]],
) -> Result<Vec<(Vec<u32>, bool)>, OpenEdges> {
    let welded = weld(points);
    closed(points, triangles, &welded)?;
    let groups = groups(triangles, &welded);
    if groups.len() <= 1 {
        let inverted = groups.iter().any(|g| volume(points, triangles, g) < 0.0);
        return Ok(groups.into_iter().map(|g| (g, inverted)).collect());
    }
    let volumes: Vec<f64> = groups.iter().map(|g| volume(points, triangles, g)).collect();
    let mesh =
        |g: &[u32]| Mesh::new(points.to_vec(), g.iter().map(|&t| triangles[t as usize]).collect());
    let meshes: Vec<Mesh> = groups.iter().map(|g| mesh(g)).collect();
    let mut bodies: Vec<(usize, Vec<u32>)> =
        (0..groups.len()).filter(|&i| volumes[i] >= 0.0).map(|i| (i, groups[i].clone())).collect();
    let mut result = Vec::new();
    for i in (0..groups.len()).filter(|&i| volumes[i] < 0.0) {
        let p = points[triangles[groups[i][0] as usize][0] as usize];
        let holder = bodies
            .iter_mut()
            .filter(|(o, _)| volumes[*o] > -volumes[i] && sign::winding(&meshes[*o], &p) > 0)
            .min_by(|a, b| volumes[a.0].total_cmp(&volumes[b.0]));
        match holder {
            Some((_, ids)) => ids.extend(&groups[i]),
            None => result.push((groups[i].clone(), true)),
        }
    }
    result.extend(bodies.into_iter().map(|(_, ids)| (ids, false)));
    Ok(result)
}

/// For each point the first point with the same coordinates.
fn weld(points: &[Point3]) -> Vec<u32> {
    // Adding zero makes the two zeros the same.
    let key = |i: u32| points[i as usize].coords.map(|x| (x + 0.0).to_bits());
    let mut order: Vec<u32> = (0..points.len() as u32).collect();
    order.sort_unstable_by_key(|&i| {
        let k = key(i);
        (k.x, k.y, k.z, i)
    });
    let mut first = vec![0u32; points.len()];
    for w in 0..order.len() {
        let same = w > 0 && key(order[w]) == key(order[w - 1]);
        first[order[w] as usize] = if same { first[order[w - 1] as usize] } else { order[w] };
    }
    first
}

/// Every edge must be run through as often in one direction as in the other.
fn closed(points: &[Point3], triangles: &[[u32; 3]], welded: &[u32]) -> Result<(), OpenEdges> {
    let mut edges: Vec<(u32, u32, i8)> = Vec::with_capacity(3 * triangles.len());
    for t in triangles {
        let t = t.map(|i| welded[i as usize]);
        for k in 0..3 {
            let (a, b) = (t[k], t[(k + 1) % 3]);
            if a != b {
                edges.push((a.min(b), a.max(b), if a < b { 1 } else { -1 }));
            }
        }
    }
    edges.sort_unstable();
    let open = edges
        .chunk_by(|a, b| (a.0, a.1) == (b.0, b.1))
        .filter(|c| c.iter().map(|e| i32::from(e.2)).sum::<i32>() != 0);
    let (mut count, mut first) = (0, None);
    for c in open {
        count += 1;
        first = first.or(Some(c[0]));
    }
    match first {
        None => Ok(()),
        Some((a, b, _)) => {
            let at = nalgebra::center(&points[a as usize], &points[b as usize]);
            Err(OpenEdges { count, at })
        }
    }
}

/// Triangles joined by corners, ascending, in the order of their first triangle.
fn groups(triangles: &[[u32; 3]], welded: &[u32]) -> Vec<Vec<u32>> {
    let mut sets = super::Sets::new(welded.len());
    for t in triangles {
        let t = t.map(|i| welded[i as usize]);
        sets.join(t[0], t[1]);
        sets.join(t[0], t[2]);
    }
    let mut place = vec![u32::MAX; welded.len()];
    let mut groups: Vec<Vec<u32>> = Vec::new();
    for (id, t) in triangles.iter().enumerate() {
        let root = sets.root(welded[t[0] as usize]) as usize;
        if place[root] == u32::MAX {
            place[root] = groups.len() as u32;
            groups.push(Vec::new());
        }
        groups[place[root] as usize].push(id as u32);
    }
    groups
}

fn volume(points: &[Point3], triangles: &[[u32; 3]], ids: &[u32]) -> f64 {
    let Some(&first) = ids.first() else { return 0.0 };
    let o = points[triangles[first as usize][0] as usize];
    let cell = |&t: &u32| {
        let [a, b, c] = triangles[t as usize].map(|i| points[i as usize] - o);
        a.dot(&b.cross(&c))
    };
    ids.iter().map(cell).sum::<f64>() / 6.0
}
