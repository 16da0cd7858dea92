//! The declarative job: read, validate, run.
