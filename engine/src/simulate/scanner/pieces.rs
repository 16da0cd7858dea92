//! Cuts what was seen out of a mesh and drops small pieces, as a scanner's software does.

use super::extract::Mesh;

impl Mesh {
    /// The triangles all of whose corners are to be kept, without connected pieces of fewer than
    /// `smallest` triangles, and their corners in the old order.
    pub(super) fn keep(&self, wanted: &[bool], smallest: usize) -> Mesh {
        let whole = |t: &&[u32; 3]| t.iter().all(|&i| wanted[i as usize]);
        let triangles: Vec<[u32; 3]> = self.triangles.iter().filter(whole).copied().collect();
        let mut pieces = Pieces::new(self.points.len());
        for t in &triangles {
            pieces.join(t[0], t[1]);
            pieces.join(t[1], t[2]);
        }
        let mut size = vec![0usize; self.points.len()];
        for t in &triangles {
            size[pieces.find(t[0]) as usize] += 1;
        }
        let large: Vec<[u32; 3]> = triangles
            .into_iter()
            .filter(|t| size[pieces.find(t[0]) as usize] >= smallest)
            .collect();
        self.renumbered(&large)
    }

    fn renumbered(&self, triangles: &[[u32; 3]]) -> Mesh {
        let mut used = vec![false; self.points.len()];
        for &i in triangles.iter().flatten() {
            used[i as usize] = true;
        }
        let old: Vec<usize> = (0..used.len()).filter(|&i| used[i]).collect();
        let mut number = vec![0; used.len()];
        for (new, &i) in (0..).zip(&old) {
            number[i] = new;
        }
        Mesh {
            points: old.iter().map(|&i| self.points[i]).collect(),
            normals: old.iter().map(|&i| self.normals[i]).collect(),
            quads: Vec::new(),
            triangles: triangles.iter().map(|t| t.map(|i| number[i as usize])).collect(),
            block_of: old.iter().map(|&i| self.block_of[i]).collect(),
            blocks: Vec::new(),
        }
    }
}

/// Connected pieces by merging.
struct Pieces(Vec<u32>);

impl Pieces {
    fn new(count: usize) -> Self {
        Pieces((0..count as u32).collect())
    }

    fn find(&mut self, mut i: u32) -> u32 {
        while self.0[i as usize] != i {
            self.0[i as usize] = self.0[self.0[i as usize] as usize];
            i = self.0[i as usize];
        }
        i
    }

    fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.find(a), self.find(b));
        self.0[a.max(b) as usize] = a.min(b);
    }
}
