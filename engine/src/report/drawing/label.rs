//! Where words go: beside what they name, clear of each other and of lines as far as that can be had.

use super::paper::Spot;
use super::thin::clipped;

/// What lies on a sheet that words should keep clear of.
pub(super) struct Room {
    size: Spot,
    boxes: Vec<[f64; 4]>,
    lines: Vec<[Spot; 2]>,
}

impl Room {
    pub(super) fn new(size: Spot) -> Self {
        Room { size, boxes: Vec::new(), lines: Vec::new() }
    }

    /// Left, top, right, bottom.
    pub(super) fn block(&mut self, taken: [f64; 4]) {
        self.boxes.push(taken);
    }

    pub(super) fn cross(&mut self, line: &[Spot]) {
        self.lines.extend(line.windows(2).map(|w| [w[0], w[1]]));
    }

    /// How bad a box is: other words are worst, the border next, then each line through it.
    pub(super) fn cost(&self, b: [f64; 4]) -> f64 {
        let over = |t: &&[f64; 4]| b[0] < t[2] && t[0] < b[2] && b[1] < t[3] && t[1] < b[3];
        let outside = b[0] < 0.0 || b[1] < 0.0 || b[2] > self.size[0] || b[3] > self.size[1];
        let through = |l: &&[Spot; 2]| clipped(**l, [b[0], b[1]], [b[2], b[3]]).is_some();
        let lines = self.lines.iter().filter(through).count() as f64;
        100.0 * self.boxes.iter().filter(over).count() as f64
            + if outside { 1000.0 } else { 0.0 }
            + lines.min(20.0)
    }

    /// The best of some places for the middle of a box, earlier ones rather than later; it is taken from then on.
    pub(super) fn place(&mut self, half: Spot, middles: impl Iterator<Item = Spot>) -> usize {
        let around = |[x, y]: Spot| [x - half[0], y - half[1], x + half[0], y + half[1]];
        let rated =
            middles.enumerate().map(|(i, m)| (self.cost(around(m)) + 0.15 * i as f64, i, m));
        let Some((_, best, middle)) = rated.min_by(|a, b| a.0.total_cmp(&b.0)) else { return 0 };
        self.block(around(middle));
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_go_where_nothing_is() {
        let mut room = Room::new([100.0, 100.0]);
        room.block([0.0, 0.0, 60.0, 60.0]);
        room.cross(&[[80.0, 0.0], [80.0, 100.0]]);
        let spots = [[30.0, 30.0], [99.0, 50.0], [80.0, 50.0], [70.0, 80.0]];
        assert_eq!(room.place([5.0, 3.0], spots.into_iter()), 3);
        // That place is taken now.
        assert_eq!(room.place([5.0, 3.0], spots.into_iter()), 2);
    }
}
