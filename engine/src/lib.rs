//! Geometry engine for designing a part onto a machine that is known only from a scan.
//!
//! The layers, each using only those before it: [`error`], [`units`], [`context`], `files` → [`primitive`]
//! → `numeric` → [`scan`] → [`region`] → [`associate`] → [`plugin`] → [`feature`] → [`datum`] → [`survey`] → [`register`]
//! → [`exchange`] → `solid` → [`simulate`] → [`fitcheck`] → [`job`] → [`report`] → the command
//! line. Inside everything is millimetre, radian, `f64`, right-handed.

pub mod associate;
#[cfg(feature = "cli")]
pub mod cli;
pub mod context;
pub mod datum;
pub mod error;
pub mod exchange;
pub mod feature;
mod files;
pub mod fitcheck;
pub mod job;
mod numeric;
pub mod plugin;
pub mod primitive;
pub mod region;
pub mod register;
pub mod report;
pub mod scan;
pub mod simulate;
mod solid;
pub mod survey;
pub mod units;

pub use context::Context;
pub use error::{Error, Result};

/// The examples of the README, compiled.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
pub struct Readme;
