//! Paper: scales of ISO 5455, and a sheet that lines and words are put on.
//!
//! Places are millimetres on paper, to the right and down from the upper left corner. They are written as whole
//! hundredths: a quarter of a dot of a printer with 600 dots to the inch.

use crate::report::text;

/// Place on paper, mm.
pub(super) type Spot = [f64; 2];

/// A drawing under way.
pub(super) struct Sheet {
    pub size: Spot,
    body: String,
}

/// Which point of a text stands at its place.
#[derive(Clone, Copy)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl Sheet {
    pub(super) fn new(size: Spot) -> Self {
        Sheet { size: size.map(f64::ceil), body: String::new() }
    }

    /// Open lines of one kind as one element; nothing without lines.
    pub(super) fn lines<'a>(&mut self, class: &str, lines: impl IntoIterator<Item = &'a [Spot]>) {
        let path: String = lines.into_iter().map(path).collect();
        if !path.is_empty() {
            self.body += &format!("<path class=\"{class}\" d=\"{path}\"/>");
        }
    }

    /// One open line.
    pub(super) fn line(&mut self, class: &str, line: &[Spot]) {
        self.lines(class, [line]);
    }

    /// A filled outline.
    pub(super) fn filled(&mut self, class: &str, outline: &[Spot]) {
        self.body += &format!("<path class=\"{class}\" d=\"{}z\"/>", path(outline));
    }

    /// Blank paper over what lies there: left, top, width, height.
    pub(super) fn plate(&mut self, area: [f64; 4]) {
        let [x, y, w, h] = area.map(whole);
        self.body +=
            &format!("<rect class=\"plate\" x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\"/>");
    }

    pub(super) fn circle(&mut self, class: &str, [x, y]: Spot, radius: f64) {
        let (x, y, r) = (whole(x), whole(y), whole(radius));
        self.body += &format!("<circle class=\"{class}\" cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>");
    }

    /// Words with their middle height at a place; foreign words may be among them.
    pub(super) fn words(&mut self, class: &str, [x, y]: Spot, anchor: Anchor, words: &str) {
        let place = format!("x=\"{}\" y=\"{}\"", whole(x), whole(y + MIDDLE * TEXT));
        self.put_words(class, &place, anchor, words);
    }

    /// Words that run upwards, the middle of their height at a place.
    pub(super) fn upright(&mut self, class: &str, [x, y]: Spot, anchor: Anchor, words: &str) {
        let place = format!(
            "transform=\"translate({} {})rotate(-90)\"",
            whole(x + MIDDLE * TEXT),
            whole(y)
        );
        self.put_words(class, &place, anchor, words);
    }

    fn put_words(&mut self, class: &str, place: &str, anchor: Anchor, words: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        self.body += &format!("<text{class} {place}{anchor}>{}</text>", text::html(words));
    }

    /// The element; printed it has its true size. Title and description are for those who do not see it.
    pub(super) fn svg(&self, title: &str, description: &str) -> String {
        let [w, h] = self.size;
        format!(
            "<svg width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {} {}\" role=\"img\"><title>{}</title><desc>{}</desc>{}</svg>",
            whole(w),
            whole(h),
            text::html(title),
            text::html(description),
            self.body
        )
    }
}

/// The largest scale (paper over real) of ISO 5455 at which something fits, no larger than `most`.
pub(super) fn scale(real: Spot, room: Spot, most: f64) -> f64 {
    let fit =
        (room[0] / real[0].max(1e-6)).min(room[1] / real[1].max(1e-6)).min(most) * (1.0 + 1e-9);
    let power = 10f64.powf(fit.log10().floor());
    [5.0, 2.0, 1.0].into_iter().find(|s| s * power <= fit).unwrap_or(1.0) * power
}

/// A scale as it is said: `2:1`, `1:5`.
pub(super) fn scale_name(scale: f64) -> String {
    if scale >= 1.0 { format!("{scale:.0}:1") } else { format!("1:{:.0}", 1.0 / scale) }
}

/// Width of a text in the size of dimensions, mm; rather too much.
pub(super) fn width(words: &str) -> f64 {
    0.62 * TEXT * text::columns(words) as f64
}

fn path(line: &[Spot]) -> String {
    let mut out = String::new();
    let mut last: Option<[i64; 2]> = None;
    for p in line {
        let at = p.map(whole);
        match last {
            None => out += &format!("M{} {}l", at[0], at[1]),
            Some(before) if before == at => continue,
            Some(before) => {
                let [dx, dy] = [at[0] - before[0], at[1] - before[1]];
                let gap = if out.ends_with('l') || dx < 0 { "" } else { " " };
                let between = if dy < 0 { "" } else { " " };
                out += &format!("{gap}{dx}{between}{dy}");
            }
        }
        last = Some(at);
    }
    if out.ends_with('l') {
        // A dot: round ends show it.
        out += "0 0";
    }
    out
}

fn whole(mm: f64) -> i64 {
    (100.0 * mm).round() as i64
}

/// Height of dimension text, mm: the style's.
pub(super) const TEXT: f64 = 3.0;
/// From the base of a text to the middle of its figures, as a share of its size.
const MIDDLE: f64 = 0.35;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_are_those_of_iso_5455() {
        let of = |real: f64| scale_name(scale([real, 1.0], [100.0, 100.0], 50.0));
        assert_eq!(
            [1.0, 40.0, 50.0, 99.0, 101.0, 201.0, 501.0, 1000.0, 1001.0].map(of),
            ["50:1", "2:1", "2:1", "1:1", "1:2", "1:5", "1:10", "1:10", "1:20"]
        );
        assert_eq!(scale_name(scale([1.0, 1.0], [100.0, 100.0], 1.0)), "1:1");
    }

    #[test]
    fn paths_are_whole_hundredths() {
        assert_eq!(
            path(&[[1.0, 2.0], [1.5, 1.25], [1.5, 1.2501], [1.0, 3.0]]),
            "M100 200l50-75-50 175"
        );
        assert_eq!(path(&[[0.004, 0.0]]), "M0 0l0 0");
    }

    #[test]
    fn words_stay_words() {
        let mut sheet = Sheet::new([10.0, 10.0]);
        sheet.words("", [1.0, 1.0], Anchor::Start, "</text><script>x()</script>");
        let svg = sheet.svg("</title><img>", "\"&");
        assert!(!svg.contains("<script") && !svg.contains("<img") && svg.contains("&quot;&amp;"));
    }
}
