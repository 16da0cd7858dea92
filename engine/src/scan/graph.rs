//! Lists of point ids, one a point, stored end to end.

use rayon::prelude::*;

/// For each point a list of other points (compressed sparse rows).
pub(super) struct Graph {
    starts: Vec<u32>,
    ids: Vec<u32>,
}

impl Graph {
    pub(super) fn of(&self, id: u32) -> &[u32] {
        let id = id as usize;
        &self.ids[self.starts[id] as usize..self.starts[id + 1] as usize]
    }

    /// Number of points.
    pub(super) fn len(&self) -> usize {
        self.starts.len() - 1
    }

    /// Graph of per-point list lengths and the lists end to end.
    pub(super) fn new(lengths: impl Iterator<Item = u32>, ids: Vec<u32>) -> Self {
        let mut end = 0;
        let starts = std::iter::once(0)
            .chain(lengths.map(|n| {
                end += n;
                end
            }))
            .collect();
        Graph { starts, ids }
    }

    /// Corners of triangles around each of `count` points, as 3 × triangle + corner, ascending.
    pub(super) fn corners_around(count: usize, triangles: &[[u32; 3]]) -> Self {
        let corners = triangles.as_flattened();
        let mut starts = vec![0u32; count + 2];
        for &id in corners {
            starts[id as usize + 2] += 1;
        }
        for i in 2..starts.len() {
            starts[i] += starts[i - 1];
        }
        let mut ids = vec![0; corners.len()];
        for (corner, &id) in (0u32..).zip(corners) {
            // Shifted by one place, the counters end up as the starts.
            let next = &mut starts[id as usize + 1];
            ids[*next as usize] = corner;
            *next += 1;
        }
        starts.pop();
        Graph { starts, ids }
    }

    /// Builds in parallel: `list` appends one point's ids and returns what else it learnt.
    pub(super) fn build<T: Send>(
        count: usize,
        list: impl Fn(u32, &mut Vec<u32>) -> T + Sync,
    ) -> (Self, Vec<T>) {
        let chunks: Vec<_> = (0..count.div_ceil(CHUNK))
            .into_par_iter()
            .map(|chunk| {
                let range = chunk * CHUNK..count.min((chunk + 1) * CHUNK);
                let mut ids = Vec::with_capacity(range.len() * 7);
                let mut lengths = Vec::with_capacity(range.len());
                let mut learnt = Vec::with_capacity(range.len());
                for id in range {
                    let before = ids.len();
                    learnt.push(list(id as u32, &mut ids));
                    lengths.push((ids.len() - before) as u32);
                }
                (ids, lengths, learnt)
            })
            .collect();
        let mut ids = Vec::with_capacity(chunks.iter().map(|c| c.0.len()).sum());
        let mut learnt = Vec::with_capacity(count);
        let mut lengths = Vec::with_capacity(count);
        for (part, length, other) in chunks {
            ids.extend_from_slice(&part);
            lengths.extend_from_slice(&length);
            learnt.extend(other);
        }
        (Graph::new(lengths.into_iter(), ids), learnt)
    }

    /// Each list joined with the points whose lists name this point.
    pub(super) fn symmetric(&self) -> Graph {
        let count = self.len();
        let mut reverse = vec![Vec::new(); count];
        for id in 0..count as u32 {
            for &other in self.of(id) {
                reverse[other as usize].push(id);
            }
        }
        Graph::build(count, |id, ids| {
            let start = ids.len();
            ids.extend_from_slice(self.of(id));
            let new = reverse[id as usize].iter().filter(|r| !self.of(id).contains(r));
            ids.extend(new);
            ids[start..].sort_unstable();
        })
        .0
    }
}

const CHUNK: usize = 1 << 13;
