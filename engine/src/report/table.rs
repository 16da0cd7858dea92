//! A table with caption and scopes, in a frame that scrolls sideways where the paper is narrow.

use super::text;

/// Table under way; cells hold HTML that is safe already.
pub(super) struct Table {
    caption: String,
    /// Heading and whether the column is of numbers.
    columns: Vec<(String, bool)>,
    body: String,
    id: String,
}

impl Table {
    /// Table with headings (plain text); a heading that begins with `#` is of a column of numbers.
    pub(super) fn new(id: &str, caption: &str, columns: &[&str]) -> Self {
        let column = |c: &&str| match c.strip_prefix('#') {
            Some(c) => (text::html(c), true),
            None => (text::html(c), false),
        };
        let columns = columns.iter().map(column).collect();
        Table { caption: text::html(caption), columns, body: String::new(), id: id.to_owned() }
    }

    /// A row; its first cell is its heading.
    pub(super) fn row(&mut self, cells: &[String]) {
        self.row_with("", cells);
    }

    /// A row with attributes (leading blank, safe already).
    pub(super) fn row_with(&mut self, attributes: &str, cells: &[String]) {
        self.body += &format!("<tr{attributes}>");
        for (i, (cell, (_, number))) in cells.iter().zip(&self.columns).enumerate() {
            let class = if *number { " class=\"n\"" } else { "" };
            self.body += &if i == 0 {
                format!("<th scope=\"row\"{class}>{cell}</th>")
            } else {
                format!("<td{class}>{cell}</td>")
            };
        }
        self.body += "</tr>\n";
    }

    /// The finished table; nothing without rows.
    pub(super) fn html(self) -> String {
        if self.body.is_empty() {
            return String::new();
        }
        let Table { caption, columns, body, id } = self;
        let head: String = columns
            .iter()
            .map(|(name, number)| {
                let class = if *number { " class=\"n\"" } else { "" };
                format!("<th scope=\"col\"{class}>{name}</th>")
            })
            .collect();
        format!(
            "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{caption}\">\n\
             <table id=\"{id}\"><caption>{caption}</caption>\n\
             <thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody></table></div>\n"
        )
    }
}

/// A value with its uncertainty in one cell; the sign is read out as a word.
pub(super) fn plus_minus(s: &super::number::Stated) -> String {
    match &s.uncertainty {
        Some(u) => format!("{} <span class=\"u\">± {}</span>", s.value, text::html(u)),
        None => s.value.clone(),
    }
}

/// A name, kept apart from the writing direction around it.
pub(super) fn name(text: &str) -> String {
    format!("<bdi>{}</bdi>", text::html(text))
}
