//! Disjoint sets of ids (R. Tarjan 1975, Efficiency of a good but not linear set union algorithm).

/// Sets over 0..n; a set's root is its smallest id, so results do not depend on the order of joins.
#[derive(Debug)]
pub(crate) struct Sets(Vec<u32>);

impl Sets {
    /// Every id alone.
    pub(crate) fn new(n: usize) -> Self {
        Sets((0..n as u32).collect())
    }

    /// Smallest id of the set of `i`.
    pub(crate) fn root(&mut self, mut i: u32) -> u32 {
        while self.0[i as usize] != i {
            let up = self.0[self.0[i as usize] as usize];
            self.0[i as usize] = up;
            i = up;
        }
        i
    }

    /// Makes two sets one.
    pub(crate) fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b) as usize] = a.min(b);
    }
}
