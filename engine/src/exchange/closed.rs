//! Whether a triangle mesh is a closed solid: each edge between exactly two triangles, opposite ways.

use super::part::Part;
use crate::error::{Error, Result};

impl Part {
    /// Checks that the part has an inside: each edge belongs to exactly two triangles that run
    /// along it in opposite directions, and the enclosed volume is positive.
    ///
    /// # Errors
    /// [`Error::OpenPart`] with the number of edges that break this and the place of the first.
    pub fn closed(&self) -> Result<()> {
        let mut open = 0;
        let mut first = None;
        for run in edges(self).chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
            let forward = run.iter().filter(|e| e.2).count();
            if run.len() != 2 || forward != 1 {
                open += 1;
                first = first.or(Some((run[0].0, run[0].1)));
            }
        }
        if let Some((a, b)) = first {
            let middle = nalgebra::center(&self.points[a as usize], &self.points[b as usize]);
            return Err(Error::OpenPart {
                path: self.file.clone(),
                open_edges: open,
                at: middle.into(),
            });
        }
        if self.volume() > 0.0 {
            return Ok(());
        }
        let at = self.points.first().copied().unwrap_or_default().into();
        Err(Error::OpenPart { path: self.file.clone(), open_edges: 0, at })
    }
}

/// Number of connected shells all of whose edges are closed.
pub(super) fn count_shells(part: &Part) -> usize {
    let mut parent: Vec<u32> = (0..part.points.len() as u32).collect();
    for [a, b, c] in &part.triangles {
        join(&mut parent, *a, *b);
        join(&mut parent, *a, *c);
    }
    let mut closed = vec![false; parent.len()];
    for triangle in &part.triangles {
        closed[top(&mut parent, triangle[0]) as usize] = true;
    }
    for run in edges(part).chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
        if run.len() != 2 || run[0].2 == run[1].2 {
            closed[top(&mut parent, run[0].0) as usize] = false;
        }
    }
    closed.iter().filter(|c| **c).count()
}

/// Each triangle's sides as smaller corner, larger corner, whether it runs that way; sorted.
fn edges(part: &Part) -> Vec<(u32, u32, bool)> {
    let mut edges: Vec<(u32, u32, bool)> = part
        .triangles
        .iter()
        .flat_map(|[a, b, c]| [(*a, *b), (*b, *c), (*c, *a)])
        .map(|(a, b)| (a.min(b), a.max(b), a < b))
        .collect();
    edges.sort_unstable();
    edges
}

fn join(parent: &mut [u32], a: u32, b: u32) {
    let (a, b) = (top(parent, a), top(parent, b));
    parent[a.max(b) as usize] = a.min(b);
}

fn top(parent: &mut [u32], mut at: u32) -> u32 {
    while parent[at as usize] != at {
        let next = parent[parent[at as usize] as usize];
        parent[at as usize] = next;
        at = next;
    }
    at
}
