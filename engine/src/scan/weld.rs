//! Welds corners of exactly equal position into points numbered by first appearance.
//!
//! Files keep neighbours together, so each chunk of corners is welded alone first, in a table that fits the
//! cache. What is left of the chunks is split by hash into partitions that are welded independently. A
//! last pass in corner order gives the numbers: neither chunks, partitions nor threads show in the result.

use rayon::prelude::*;

use crate::primitive::Point3;

/// Position of a corner by its bits; -0 was folded to +0.
pub(super) trait Corner: Copy + Eq + Default + Send + Sync {
    fn hash(&self) -> u64;
    fn point(&self) -> Point3;
}

/// Bits of single precision coordinates.
pub(super) type Single = [u32; 3];
/// Bits of double precision coordinates.
pub(super) type Double = [u64; 3];

/// Corner of a double precision point.
pub(super) fn double(p: &Point3) -> Double {
    [p.x, p.y, p.z].map(|v| (v + 0.0).to_bits())
}

/// Welds triangles of corners: the points (file unit) and the triangles' ids. At most `u32::MAX`
/// corners.
pub(super) fn weld<K: Corner>(triangles: &[[K; 3]]) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let corners = triangles.as_flattened();
    let mut ids = vec![[0; 3]; triangles.len()];
    let count = first_equal(corners, ids.as_flattened_mut());
    let mut points = Vec::with_capacity(count);
    number(ids.as_flattened_mut(), |corner| points.push(corners[corner].point()));
    (points, ids)
}

/// Number of each corner's position, by first appearance, and the corner that had it first.
pub(super) fn positions<K: Corner>(corners: &[K]) -> (Vec<u32>, Vec<u32>) {
    let mut ids = vec![0; corners.len()];
    let mut firsts = Vec::with_capacity(first_equal(corners, &mut ids));
    number(&mut ids, |corner| firsts.push(corner as u32));
    (ids, firsts)
}

impl Corner for Single {
    fn hash(&self) -> u64 {
        mix(mix(u64::from(self[0]) | u64::from(self[1]) << 32) ^ u64::from(self[2]))
    }

    fn point(&self) -> Point3 {
        Point3::from(self.map(|b| f64::from(f32::from_bits(b))))
    }
}

impl Corner for Double {
    fn hash(&self) -> u64 {
        mix(mix(mix(self[0]) ^ self[1]) ^ self[2])
    }

    fn point(&self) -> Point3 {
        Point3::from(self.map(f64::from_bits))
    }
}

/// Replaces an equal corner at or before each corner by their position's number, in place; `new` is shown
/// the first corner of each.
fn number(ids: &mut [u32], mut new: impl FnMut(usize)) {
    let mut next = 0;
    for corner in 0..ids.len() {
        let first = ids[corner] as usize;
        if first == corner {
            ids[corner] = next;
            next += 1;
            new(corner);
        } else {
            ids[corner] = ids[first];
        }
    }
}

/// Sets each corner's id to a corner of equal position at or before it, by a chain of which the first such
/// corner is reached; returns how many there are that have none before them.
fn first_equal<K: Corner>(corners: &[K], ids: &mut [u32]) -> usize {
    let kept: Vec<Part> = corners
        .par_chunks(CHUNK)
        .zip(ids.par_chunks_mut(CHUNK))
        .enumerate()
        .map_init(Table::default, |table, (i, (corners, ids))| {
            weld_chunk(table, corners, ids, (i * CHUNK) as u32)
        })
        .collect();
    let repeated: Vec<Vec<[u32; 2]>> = (0..PARTITIONS)
        .into_par_iter()
        .map_init(Table::default, |table, partition| {
            table.clear();
            let mut repeated = Vec::new();
            for (i, part) in kept.iter().enumerate() {
                for &local in part.of(partition) {
                    let corner = (i * CHUNK + local as usize) as u32;
                    let first = table.first(corners[corner as usize], corner);
                    repeated.extend((first != corner).then_some([corner, first]));
                }
            }
            repeated
        })
        .collect();
    let count: usize = kept.iter().map(|part| part.order.len()).sum();
    repeated.iter().flatten().for_each(|&[corner, first]| ids[corner as usize] = first);
    count - repeated.iter().map(Vec::len).sum::<usize>()
}

/// First corners of one chunk ordered by partition, then by corner.
struct Part {
    order: Vec<u16>,
    starts: Vec<u32>,
}

impl Part {
    fn of(&self, partition: usize) -> &[u16] {
        &self.order[self.starts[partition] as usize..self.starts[partition + 1] as usize]
    }
}

fn weld_chunk<K: Corner>(table: &mut Table<K>, corners: &[K], ids: &mut [u32], base: u32) -> Part {
    table.clear();
    let mut kept = Vec::with_capacity(corners.len() / 4);
    let mut starts = vec![0u32; PARTITIONS + 1];
    for (local, (&key, id)) in (0u32..).zip(corners.iter().zip(ids)) {
        let first = table.first(key, local);
        *id = base + first;
        if first == local {
            let partition = (key.hash() >> 56) as u8;
            kept.push((local as u16, partition));
            starts[partition as usize + 1] += 1;
        }
    }
    for p in 0..PARTITIONS {
        starts[p + 1] += starts[p];
    }
    let mut next = starts.clone();
    let mut order = vec![0u16; kept.len()];
    for (local, partition) in kept {
        let next = &mut next[partition as usize];
        order[*next as usize] = local;
        *next += 1;
    }
    Part { order, starts }
}

/// Open addressing table from position to the first corner that had it.
struct Table<K> {
    slots: Vec<(K, u32)>,
    used: usize,
}

impl<K: Corner> Default for Table<K> {
    fn default() -> Self {
        Table { slots: vec![(K::default(), FREE); SMALLEST], used: 0 }
    }
}

impl<K: Corner> Table<K> {
    fn clear(&mut self) {
        self.slots.fill((K::default(), FREE));
        self.used = 0;
    }

    /// The corner first seen with this position: `corner` itself if there was none.
    fn first(&mut self, key: K, corner: u32) -> u32 {
        if self.used * 4 >= self.slots.len() * 3 {
            self.grow();
        }
        let slot = self.find(key);
        if slot.1 == FREE {
            *slot = (key, corner);
            self.used += 1;
            return corner;
        }
        slot.1
    }

    fn find(&mut self, key: K) -> &mut (K, u32) {
        let mask = self.slots.len() - 1;
        let mut at = key.hash() as usize & mask;
        while self.slots[at].1 != FREE && self.slots[at].0 != key {
            at = (at + 1) & mask;
        }
        &mut self.slots[at]
    }

    fn grow(&mut self) {
        let larger = vec![(K::default(), FREE); self.slots.len() * 2];
        for (key, corner) in std::mem::replace(&mut self.slots, larger) {
            if corner != FREE {
                *self.find(key) = (key, corner);
            }
        }
    }
}

/// Finaliser of the splitmix64 generator (Steele, Lea, Flood 2014, Fast splittable pseudorandom
/// number generators).
fn mix(mut x: u64) -> u64 {
    x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// Corners whose places in the chunk fit 16 bits.
const CHUNK: usize = 1 << 16;
const PARTITIONS: usize = 256;
const SMALLEST: usize = 1 << 10;
const FREE: u32 = u32::MAX;
