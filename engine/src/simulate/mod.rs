//! Simulated machines and scans of them with their exact truth: the demo, tests and benchmarks stand on it.
//!
//! A machine is a [`Solid`] whose surfaces are known exactly; [`scan`] looks at it from viewpoints
//! and returns what a hand-held scanner would, with its truth; [`mill`] is the demo's machine.
//! Everything here is invented: no real machine, maker or measurement stands behind any number.

mod machine;
pub mod mill;
mod plate;
pub mod random;
mod scanner;
mod solid;

pub use machine::{Bore, Machine, Surface};
pub use mill::{DEMO_JOB, Demo, demo, write_demo};
pub use plate::{Plate, TriangleMesh, rounded};
pub use scanner::{Focus, Scanner, SimulatedScan, Viewpoint, scan};
pub use solid::{Pipe, STEEPEST, Solid};
