//! Dimensions: a length between arrows, places counted from a zero line, lengths to measure the paper by.

use super::paper::{Anchor, Sheet, Spot, TEXT};
use crate::units::LengthUnit;

/// A dimension line from one point to another with an arrow at each end; outside and with tails, where they have no
/// room between.
pub(super) fn arrows(sheet: &mut Sheet, a: Spot, b: Spot, tail: f64) {
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    let Some(d) = along(a, b) else { return };
    let inside = length > 3.0 * ARROW;
    let out = if inside { 0.0 } else { tail };
    sheet.line("thin", &[go(a, d, -out), go(b, d, out)]);
    let d = if inside { d } else { [-d[0], -d[1]] };
    arrow(sheet, a, d);
    arrow(sheet, b, [-d[0], -d[1]]);
}

/// An arrowhead whose tip is at a point; `into` leads from the tip to its back.
pub(super) fn arrow(sheet: &mut Sheet, tip: Spot, into: Spot) {
    let back = go(tip, into, ARROW);
    let side = [-into[1], into[0]];
    sheet.filled("solid", &[tip, go(back, side, ARROW / 6.0), go(back, side, -ARROW / 6.0)]);
}

/// Unit vector from one point to another.
pub(super) fn along(a: Spot, b: Spot) -> Option<Spot> {
    let [x, y] = [b[0] - a[0], b[1] - a[1]];
    let length = x.hypot(y);
    (length > 1e-9).then(|| [x / length, y / length])
}

pub(super) fn go([x, y]: Spot, [dx, dy]: Spot, by: f64) -> Spot {
    [x + by * dx, y + by * dy]
}

/// Where the words of a row stand: in order, `gap` from each other at least, as near to their places as that allows.
///
/// `places` ascend. Words that push each other lie about the middle of their places (least squares, by pooling
/// neighbours that are out of order).
pub(super) fn spread(places: &[f64], gap: f64) -> Vec<f64> {
    // Without the gaps, words need only be in order.
    let mut blocks: Vec<(f64, usize)> = Vec::new();
    for (i, p) in places.iter().enumerate() {
        let mut block = (p - i as f64 * gap, 1);
        while let Some((sum, count)) = blocks.last().copied()
            && sum / count as f64 > block.0 / block.1 as f64
        {
            block = (block.0 + sum, block.1 + count);
            blocks.pop();
        }
        blocks.push(block);
    }
    let at = blocks.iter().flat_map(|(sum, count)| vec![sum / *count as f64; *count]);
    at.enumerate().map(|(i, p)| p + i as f64 * gap).collect()
}

/// A line as long on paper as it says, for whoever prints it.
pub(super) fn check_line(sheet: &mut Sheet, [x, y]: Spot, room: f64, unit: LengthUnit) {
    let (unit, name, lengths) = match unit {
        LengthUnit::Inch => (25.4, "in", [4.0, 2.0, 1.0]),
        LengthUnit::Millimetre | LengthUnit::Centimetre | LengthUnit::Metre => {
            (1.0, "mm", [100.0, 50.0, 20.0])
        }
    };
    let length = lengths.into_iter().find(|l| l * unit <= room).unwrap_or(lengths[2]);
    bar(sheet, [x, y], length * unit);
    let words = format!("{length:.0} {name} on paper when printed at full size");
    sheet.words("", [x + 1.5, y - TEXT], Anchor::Start, &words);
}

/// A bar with ticks at its ends.
pub(super) fn bar(sheet: &mut Sheet, [x, y]: Spot, length: f64) {
    let end = x + length;
    sheet.line("bold", &[[x, y - 1.5], [x, y], [end, y], [end, y - 1.5]]);
}

/// Length of an arrowhead, mm.
const ARROW: f64 = 2.5;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_keep_their_distance_and_stay_near() {
        assert_eq!(spread(&[0.0, 10.0, 20.0], 4.0), vec![0.0, 10.0, 20.0]);
        // Two at one place part evenly; the third is far enough off.
        assert_eq!(spread(&[5.0, 5.0, 30.0], 4.0), vec![3.0, 7.0, 30.0]);
        let crowded = spread(&[0.0, 1.0, 2.0, 3.0, 9.0], 4.0);
        assert!(crowded.windows(2).all(|w| w[1] - w[0] > 4.0 - 1e-9), "{crowded:?}");
        // Their mean is that of their places: nothing is pushed to one side.
        assert!((crowded.iter().sum::<f64>() - 15.0).abs() < 1e-9, "{crowded:?}");
    }

    #[test]
    fn the_check_line_is_as_long_as_it_says() {
        for (unit, room, long, words) in [
            (LengthUnit::Millimetre, 120.0, 10_000, "100 mm"),
            (LengthUnit::Metre, 60.0, 5_000, "50 mm"),
            // Four inches by the definition of the inch.
            (LengthUnit::Inch, 120.0, 10_160, "4 in"),
        ] {
            let mut sheet = Sheet::new([150.0, 30.0]);
            check_line(&mut sheet, [10.0, 20.0], room, unit);
            let svg = sheet.svg("", "");
            assert!(svg.contains(&format!("d=\"M1000 1850l0 150 {long} 0 0-150\"")), "{svg}");
            assert!(svg.contains(&format!(">{words} on paper")), "{svg}");
        }
    }
}
