//! Plain text tables with aligned columns.

/// Rows of cells under a heading.
#[derive(Debug)]
pub(crate) struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table with its column names.
    pub(crate) fn new(head: impl IntoIterator<Item = impl Into<String>>) -> Self {
        Table { rows: vec![head.into_iter().map(Into::into).collect()] }
    }

    /// Adds a row.
    pub(crate) fn row(&mut self, cells: impl IntoIterator<Item = impl Into<String>>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// Prints it under a title.
    pub(crate) fn print(&self, title: &str) {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width = |c: usize| {
            self.rows.iter().filter_map(|r| r.get(c)).map(|s| s.chars().count()).max().unwrap_or(0)
        };
        let widths: Vec<_> = (0..columns).map(width).collect();
        println!("\n  {title}");
        for row in &self.rows {
            let cells: Vec<_> =
                row.iter().zip(&widths).map(|(cell, &width)| format!("{cell:>width$}")).collect();
            println!("    {}", cells.join("  "));
        }
    }
}
