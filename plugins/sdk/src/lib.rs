//! Writing a fitter in Rust: a struct, the trait [`Fitter`], and one line of [`plugin!`].
//!
//! Lengths are mm, angles rad, coordinates those of the scan. A panic inside a fitter becomes an error
//! of the call; nothing unwinds into the host.

mod answer;
mod call;
mod fitter;
mod glue;
mod input;
mod piece;

pub use answer::{Answer, Column, Unit};
pub use call::{Call, Fitted};
pub use fitter::{Failure, Fitter, Opt, Shape, Sort};
pub use glue::{Descriptor, Descriptors, descriptor, entry};
pub use input::Input;
pub use piece::{Extent, Piece, SolidShape};

/// The raw interface, for what this crate does not wrap.
pub use fitwright_plugin_abi as abi;

/// Exports the plug-in's entry function: its id, then its fitters.
///
/// ```ignore
/// fitwright_plugin::plugin!("acme.rails", Rail, Channel);
/// ```
#[macro_export]
macro_rules! plugin {
    ($id:literal, $($fitter:ty),+ $(,)?) => {
        /// Entry of the plug-in.
        // SAFETY: the one exported name of a plug-in, which the interface fixes.
        #[unsafe(no_mangle)]
        #[allow(unsafe_code)]
        pub unsafe extern "C" fn fitw_plugin_entry(
            lowest: u32,
            highest: u32,
            host: *const $crate::abi::fitw_plugin_host,
            table: *mut $crate::abi::fitw_plugin_table,
        ) -> i32 {
            static FITTERS: std::sync::OnceLock<$crate::Descriptors> = std::sync::OnceLock::new();
            let make = || $crate::Descriptors::new(vec![$($crate::descriptor::<$fitter>()),+]);
            // SAFETY: the host's own tables, as the interface says.
            unsafe { $crate::entry($id, (lowest, highest), host, table, &FITTERS, make) }
        }
    };
}
