//! Foreign text made safe: names, file names and notes are hostile until they have been here.

/// Text for HTML content and quoted attributes: markup escaped, control and direction-changing
/// characters made visible as U+FFFD.
pub(super) fn html(text: &str) -> String {
    let mut safe = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            c => safe.push(visible(c)),
        }
    }
    safe
}

/// Text for a terminal: one line, nothing that moves the cursor or turns the writing direction.
pub(super) fn plain(text: &str) -> String {
    text.chars().map(visible).collect()
}

/// Columns that a text takes on a terminal: wide East Asian characters and pictograms two,
/// combining marks none.
pub(super) fn columns(text: &str) -> usize {
    text.chars().map(width).sum()
}

/// Text cut to a number of columns, its end marked when something is left out.
pub(super) fn cut(text: &str, most: usize) -> String {
    if columns(text) <= most {
        return text.to_owned();
    }
    let mut room = most.saturating_sub(1);
    let fits = |c: &char| {
        let takes = width(*c);
        let fits = takes <= room;
        room = room.saturating_sub(takes);
        fits
    };
    let kept: String = text.chars().take_while(fits).collect();
    kept + "…"
}

fn visible(c: char) -> char {
    match c {
        '\n' | '\t' | '\r' | '\u{2028}' | '\u{2029}' => ' ',
        '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {
            char::REPLACEMENT_CHARACTER
        }
        // Not characters, or invisible: byte order mark, tags, annotation marks.
        '\u{feff}'
        | '\u{fff9}'..='\u{fffb}'
        | '\u{fffe}'
        | '\u{ffff}'
        | '\u{e0000}'..='\u{e007f}' => char::REPLACEMENT_CHARACTER,
        c if c.is_control() => char::REPLACEMENT_CHARACTER,
        c => c,
    }
}

fn width(c: char) -> usize {
    match c {
        '\u{300}'..='\u{36f}' | '\u{200b}'..='\u{200d}' | '\u{fe00}'..='\u{fe0f}' => 0,
        '\u{1100}'..='\u{115f}'
        | '\u{2e80}'..='\u{a4cf}'
        | '\u{ac00}'..='\u{d7a3}'
        | '\u{f900}'..='\u{faff}'
        | '\u{fe30}'..='\u{fe6f}'
        | '\u{ff00}'..='\u{ff60}'
        | '\u{ffe0}'..='\u{ffe6}'
        | '\u{1f300}'..='\u{1faff}'
        | '\u{20000}'..='\u{3fffd}' => 2,
        _ => 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_and_quotes_are_escaped() {
        let name = "</td><script>alert(\"1\")</script><!--'&";
        let safe = html(name);
        assert_eq!(
            safe,
            "&lt;/td&gt;&lt;script&gt;alert(&quot;1&quot;)&lt;/script&gt;&lt;!--&#39;&amp;"
        );
    }

    #[test]
    fn control_and_direction_characters_show() {
        assert_eq!(
            html("a\u{0}b\u{1b}[31mc\u{202e}d\u{7f}"),
            "a\u{fffd}b\u{fffd}[31mc\u{fffd}d\u{fffd}"
        );
        assert_eq!(plain("a\nb\u{9b}c"), "a b\u{fffd}c");
        assert_eq!(html("Träger 歯車 عمود"), "Träger 歯車 عمود");
    }

    #[test]
    fn cutting_counts_columns() {
        assert_eq!(columns("歯車"), 4);
        assert_eq!(columns("e\u{301}"), 1);
        assert_eq!(cut("歯車軸受", 5), "歯車…");
        assert_eq!(cut("short", 5), "short");
        assert_eq!(cut("longer", 5), "long…");
    }
}
