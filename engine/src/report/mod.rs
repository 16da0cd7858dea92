//! The page and pictures people look at.
