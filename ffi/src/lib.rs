//! `libfitwright`: the C interface of the engine, thin; its manual is `include/fitwright.h`.
//!
//! How it holds what the header promises: every export runs in [`call::call`], which catches panics and
//! keeps the last error; what C hands over is read by [`pointer`] alone; handles are entries of one
//! table ([`handle`]), so that a freed or foreign one is an error and never a wild read.

#![allow(
    unsafe_code,
    reason = "the edge to C; what is unsafe stands in pointer.rs and callback.rs"
)]
#![allow(non_camel_case_types, reason = "the names are C's")]
#![allow(clippy::missing_safety_doc, reason = "the header's manual says what the caller promises")]

// In the order of the header; the empty lines keep rustfmt from sorting them.
pub mod version;

pub mod error;

pub mod text;

pub mod callback;

pub mod context;

pub mod kind;

pub mod mesh;

pub mod scan;

pub mod shape;

pub mod region;

pub mod uncertainty;

pub mod fit_options;

pub mod fit_data;

pub mod fit;

pub mod group;

pub mod feature;

pub mod table;

pub mod piece;

pub mod noise;

pub mod length_error;

pub mod datum;

pub mod join;

pub mod adjustment;

pub mod merged;

pub mod saved_datum;

pub mod step;

pub mod survey;

pub mod survey_found;

pub mod part;

pub mod mesh_out;

pub mod finding;

pub mod access;

pub mod motion;

pub mod check;

pub mod made;

pub mod job;

pub mod plugin;

// What the header does not show.
mod call;
mod handle;
#[cfg(test)]
mod layout_tests;
mod memory;
mod pointer;

#[cfg(not(target_pointer_width = "64"))]
compile_error!("handles are 64 bits wide");
