//! Where a scan's arrays lie: in vectors of its own, or in memory that somebody else keeps for it.

use std::ops::Deref;
use std::sync::Arc;

/// A slice in memory that its owner keeps alive and unchanged until the last clone is dropped.
pub type SharedSlice<T> = Arc<dyn AsRef<[T]> + Send + Sync>;

/// An immutable array, owned or shared.
pub(super) enum Storage<T> {
    Own(Vec<T>),
    Shared(SharedSlice<T>),
}

impl<T> Deref for Storage<T> {
    type Target = [T];

    fn deref(&self) -> &[T] {
        match self {
            Storage::Own(items) => items,
            Storage::Shared(owner) => (**owner).as_ref(),
        }
    }
}

impl<T> From<Vec<T>> for Storage<T> {
    fn from(items: Vec<T>) -> Self {
        Storage::Own(items)
    }
}
