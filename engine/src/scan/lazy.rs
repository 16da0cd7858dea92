//! A value computed once on demand, without a lock held while it is computed.

use std::sync::OnceLock;

/// Computed on first use. Unlike `OnceLock::get_or_init`, no lock is held meanwhile: a thread that
/// waits inside a parallel computation may pick up other work that needs the same value, and would
/// wait for itself. Two threads that meet both compute the same bits; one result is kept.
pub(super) struct Lazy<T>(OnceLock<T>);

impl<T> Lazy<T> {
    pub(super) fn new() -> Self {
        Lazy(OnceLock::new())
    }

    pub(super) fn get(&self, compute: impl FnOnce() -> T) -> &T {
        match self.0.get() {
            Some(value) => value,
            None => {
                let value = compute();
                self.0.get_or_init(|| value)
            }
        }
    }
}
