//! The page and pictures people look at, and the summary for a terminal.
//!
//! [`html()`] writes one file that opens without a network and runs no script but its own: a 3D view (`viewer/`, over
//! the scene that `scene/` packs) and sortable tables. Without script or WebGL2 its pictures and tables say the same.
//! [`general_picture`] gives its first picture alone; [`summary()`] what a terminal shows. Names and notes come from
//! foreign files and are escaped wherever they appear. The same outcome gives the same bytes.

mod budgets;
mod compose;
mod drawing;
mod facts;
mod features;
mod figure;
mod findings;
mod made;
mod number;
mod page;
mod picture;
mod profile;
mod residuals;
mod scene;
mod summary;
mod survey;
mod table;
mod text;
mod view;
mod viewer;
mod way;

use crate::error::{Error, Result};
use crate::job::Outcome;

pub use summary::summary;
pub use survey::{survey_html, survey_summary};

/// What goes into the page.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct ReportOptions {
    /// Whether pictures are drawn; default yes.
    pub pictures: bool,
    /// Width of the general picture in pixels, 200 to 4000; default 1050. Its height is two
    /// thirds of that, close views have two thirds of its width.
    pub picture_width: usize,
    /// Close views of failed and undecided findings at most; default 6.
    pub close_views: usize,
    /// A line for the head, such as date and author; default none, so that the same job gives the
    /// same file.
    pub prepared: Option<String>,
}

impl Default for ReportOptions {
    fn default() -> Self {
        ReportOptions { pictures: true, picture_width: 1050, close_views: 6, prepared: None }
    }
}

/// The report of a job as one self-contained HTML file.
///
/// # Errors
/// [`Error::Argument`] for a width out of range.
pub fn html(outcome: &Outcome, options: &ReportOptions) -> Result<String> {
    check_size("picture_width", options.picture_width)?;
    page::page(outcome, options)
}

/// Scan, features and part as a PNG file with a transparent background.
///
/// # Errors
/// [`Error::Argument`] for a side under 200 or over 4000 pixels.
pub fn general_picture(outcome: &Outcome, width: usize, height: usize) -> Result<Vec<u8>> {
    check_size("width", width)?;
    check_size("height", height)?;
    let looks = compose::Looks::of(outcome);
    let scene = compose::scene(outcome, &looks);
    let camera = view::general(&scene, &view::general_direction(&scene), [width, height]);
    picture::draw(&compose::with_witnesses(&scene, outcome), &camera).to_png()
}

impl ReportOptions {
    fn picture_size(&self) -> [usize; 2] {
        [self.picture_width, self.picture_width * 2 / 3]
    }
}

fn check_size(name: &str, pixels: usize) -> Result<()> {
    if (200..=4000).contains(&pixels) {
        return Ok(());
    }
    Err(Error::argument(name, pixels, "200 to 4000 pixels"))
}

#[cfg(test)]
mod sample;
#[cfg(test)]
mod tests;
