//! The plug-in interface as plain data: what crosses between host and plug-in, and nothing else.
//!
//! `include/fitwright_plugin.h` is made of this crate and is its manual for C. No dependency, no code
//! but the rule by which host and plug-in agree on a version.

#![no_std]
#![allow(non_camel_case_types)]

mod answer;
mod fits;
mod import;
mod table;
mod version;

pub use answer::*;
pub use fits::*;
pub use import::*;
pub use table::*;
pub use version::*;
