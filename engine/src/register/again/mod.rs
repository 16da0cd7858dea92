//! A saved datum system found again in a later scan, and what moved since.
//!
//! The features of the first day are saved as surfaces in machine coordinates ([`SavedDatum`]). A later
//! scan's own primitives are matched with them by kind, size and the distances and angles between them, from any
//! pose ([`SavedDatum::find`]); a layout that fits two ways is refused with both. What the features are then
//! fitted to on the later day is compared, each against all the others that agree ([`SavedDatum::changes`]):
//! deformation analysis by congruence, Pelzer, "Zur Analyse geodätischer Deformationsmessungen" (1971).

mod find;
mod fit;
mod landmark;
mod moved;
mod relate;
mod saved;

pub use find::{AgainOptions, FoundAgain};
pub use landmark::Landmark;
pub(crate) use landmark::size_of;
pub use moved::{Change, Changes, Moved};
pub(crate) use saved::LOOKED_FOR_WITHIN;
pub use saved::{SavedDatum, SavedFeature, SavedRule};
