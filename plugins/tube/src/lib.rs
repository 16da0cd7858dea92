//! Plug-in fitters for tubes: round, square and rectangular hollow section, bent.
//!
//! Each fitter takes points of the outer surface, half of it or less, with other surfaces beside it, and
//! reports the tube with the covariance of all its parameters. The uncertainties take the noise as
//! independent from point to point; only the round tube's come from the host, which looks for noise that
//! hangs together. Paint, zinc and scanning spray are part of what is measured: diameters lean large.
//!
//! Modules, each using only those before it: `cloud`, `ends`, `gauss`, `report`, `standard`, [`bends`]
//! → [`round`], [`section`], [`bent`] → the entry.

pub mod bends;
pub mod bent;
mod cloud;
mod ends;
mod gauss;
mod host;
mod normals;
mod report;
pub mod round;
pub mod section;
pub mod standard;

pub use host::Host;
pub use report::{Outcome, Report, Value};

fitwright_plugin::plugin!(
    "fitwright.tube",
    round::RoundTube,
    section::HollowSection,
    bent::BentTube
);

/// Vectors in space.
type V3 = nalgebra::Vector3<f64>;
