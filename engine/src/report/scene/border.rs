//! Where a surface ends: edges with a triangle on one side only, as lines.

use std::collections::BTreeMap;

/// Chains of corners along the borders, in an order that the triangles alone decide.
pub(super) fn borders(triangles: &[[u32; 3]]) -> Vec<Vec<u32>> {
    let mut edges: Vec<(u32, u32, u32)> = triangles
        .iter()
        .flat_map(|[a, b, c]| [(a, b), (b, c), (c, a)])
        .map(|(a, b)| (*a.min(b), *a.max(b), *a))
        .collect();
    edges.sort_unstable();
    let alone = edges.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)).filter(|same| same.len() == 1);
    let mut next: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for same in alone {
        let (low, high, from) = same[0];
        next.entry(from).or_default().push(low + high - from);
    }
    let mut chains = Vec::new();
    while let Some((&start, _)) = next.first_key_value() {
        let mut chain = vec![start];
        let mut at = start;
        while let Some(ways) = next.get_mut(&at) {
            let Some(to) = ways.pop() else { break };
            if ways.is_empty() {
                next.remove(&at);
            }
            chain.push(to);
            at = to;
        }
        chains.push(chain);
    }
    chains
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_triangles_have_one_border_and_a_closed_body_none() {
        assert_eq!(borders(&[[0, 1, 2], [0, 2, 3]]), [[0, 1, 2, 3, 0]]);
        assert!(borders(&[[0, 1, 2], [0, 3, 1], [1, 3, 2], [0, 2, 3]]).is_empty());
    }
}
