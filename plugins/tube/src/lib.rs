//! Plug-in fitters for tubes.
