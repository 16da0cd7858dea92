//! At most 256 colours that stand for those of a picture, by median cut (Heckbert, 1982, "Color image quantization for
//! frame buffer display"): a page's pictures take a quarter of the bytes, and shading and bands still look the same.

use super::Image;

/// Colours, and which of them each pixel has.
pub(super) struct Indexed {
    pub colours: Vec<[u8; 4]>,
    pub pixels: Vec<u8>,
}

/// Colours that fall in one cell of a coarse grid.
#[derive(Clone, Copy, Default)]
struct Cell {
    key: usize,
    count: u64,
    sums: [u64; 4],
}

impl Indexed {
    pub(super) fn of(image: &Image) -> Self {
        let mut cells: Vec<Cell> = vec![Cell::default(); CELLS];
        for p in image.rgba.chunks_exact(4) {
            let cell = &mut cells[key(p)];
            cell.count += 1;
            cell.sums.iter_mut().zip(p).for_each(|(s, v)| *s += u64::from(*v));
        }
        cells.iter_mut().enumerate().for_each(|(key, c)| c.key = key);
        cells.retain(|c| c.count > 0);
        let mut boxes = vec![cells];
        while boxes.len() < MOST {
            let widest = boxes.iter().enumerate().map(|(i, b)| (i, spread(b)));
            let widest = widest.reduce(|a, b| if b.1.1 > a.1.1 { b } else { a });
            let Some((i, (axis, size))) = widest else { break };
            if size == 0.0 {
                break;
            }
            let half = halve(&mut boxes[i], axis);
            boxes.push(half);
        }
        let mut of = vec![0; CELLS];
        for (i, b) in boxes.iter().enumerate() {
            b.iter().for_each(|c| of[c.key] = i as u8);
        }
        let pixels = image.rgba.chunks_exact(4).map(|p| of[key(p)]).collect();
        Indexed { colours: boxes.iter().map(|b| mean(b)).collect(), pixels }
    }
}

/// Six bits of each colour and four of the opacity; what is transparent has no colour.
fn key(p: &[u8]) -> usize {
    let [r, g, b, a] = [p[0] >> 2, p[1] >> 2, p[2] >> 2, p[3] >> 4].map(usize::from);
    if a == 0 { 0 } else { r << 16 | g << 10 | b << 4 | a }
}

impl Cell {
    fn at(&self, axis: usize) -> f64 {
        self.sums[axis] as f64 / self.count as f64
    }
}

/// The axis along which a box is widest, and how much it weighs to halve it there.
fn spread(cells: &[Cell]) -> (usize, f64) {
    let count: u64 = cells.iter().map(|c| c.count).sum();
    let range = |axis: usize| {
        let ends = cells.iter().map(|c| c.at(axis));
        let (low, high) = ends.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        if cells.len() < 2 { 0.0 } else { (high - low) * (count as f64).sqrt() }
    };
    let axes = [0, 1, 2, 3].map(|axis| (axis, range(axis)));
    axes.into_iter().reduce(|a, b| if b.1 > a.1 { b } else { a }).unwrap_or((0, 0.0))
}

/// Leaves the lower half of the pixels along an axis and returns the upper; both have cells.
fn halve(cells: &mut Vec<Cell>, axis: usize) -> Vec<Cell> {
    cells.sort_by(|a, b| a.at(axis).total_cmp(&b.at(axis)).then(a.key.cmp(&b.key)));
    let all: u64 = cells.iter().map(|c| c.count).sum();
    let mut below = 0;
    let before = |c: &&Cell| {
        below += c.count;
        2 * below <= all
    };
    let at = cells.iter().take_while(before).count().clamp(1, cells.len() - 1);
    cells.split_off(at)
}

fn mean(cells: &[Cell]) -> [u8; 4] {
    let count: u64 = cells.iter().map(|c| c.count).sum();
    let sum = |axis: usize| cells.iter().map(|c| c.sums[axis]).sum::<u64>();
    [0, 1, 2, 3].map(|axis| ((sum(axis) + count / 2) / count.max(1)) as u8)
}

const MOST: usize = 256;
const CELLS: usize = 1 << 22;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_colours_stay_as_they_are() {
        let colours = [[0, 0, 0, 0], [200, 10, 40, 255], [20, 60, 90, 128]];
        let rgba: Vec<u8> = (0..30).flat_map(|i| colours[i % 3]).collect();
        let found = Indexed::of(&Image { width: 30, height: 1, rgba: rgba.clone() });
        let back: Vec<u8> = found.pixels.iter().flat_map(|i| found.colours[*i as usize]).collect();
        assert_eq!(back, rgba);
    }

    #[test]
    fn many_colours_come_out_near() {
        let rgba: Vec<u8> =
            (0..64u8).flat_map(|r| (0..64u8).flat_map(move |g| [4 * r, 4 * g, 128, 255])).collect();
        let found = Indexed::of(&Image { width: 64, height: 64, rgba: rgba.clone() });
        assert_eq!(found.colours.len(), MOST);
        let back = found.pixels.iter().flat_map(|i| found.colours[*i as usize]);
        let off = back.zip(&rgba).map(|(a, b)| a.abs_diff(*b)).max();
        // 4096 colours in 256 boxes: four by four steps of 4 each.
        assert!(off.is_some_and(|off| off <= 8), "{off:?}");
    }
}
