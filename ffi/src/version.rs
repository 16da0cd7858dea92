//! Which version this is.

use crate::call::free_call;
use crate::error::{Fault, fitw_status};
use crate::pointer::Out;
use crate::text::{fitw_str, literal};

/// Major number of the interface: raised when something is removed or changed. The library's file
/// carries it (`libfitwright.so.1`).
pub const FITW_ABI_MAJOR: u32 = 1;
/// Minor number of the interface: raised when something is added.
pub const FITW_ABI_MINOR: u32 = 7;

/// VERSION. The interface of the library that is loaded: major number times 65536 plus minor number.
///
/// A program may go on if the major number is its own FITW_ABI_MAJOR and the minor one is not less
/// than its own FITW_ABI_MINOR: FITW_ABI_FITS. [any-thread]
#[unsafe(no_mangle)]
pub extern "C" fn fitw_abi_version() -> u32 {
    FITW_ABI_MAJOR << 16 | FITW_ABI_MINOR
}

/// Version of the engine, such as "0.1.0"; `out` stays valid for ever. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_version_text(out: *mut fitw_str) -> fitw_status {
    free_call(|| Out::new(out, "out").map(|out| out.set(literal(VERSION))))
}

/// How the library was built: engine, interface, compiler, target; one line for reports of defects.
/// `out` stays valid for ever. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_build_text(out: *mut fitw_str) -> fitw_status {
    free_call(|| Out::new(out, "out").map(|out| out.set(literal(BUILD))))
}

/// Whether this library has a feature: writes 1 or 0. Known are "step", "job", "borrowed-scan",
/// "group-fit", "noise-model", "length-error", "plug-in", "mesh-out", "survey".
///
/// The names of later versions may be asked for too. Error: FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_known(name: fitw_str, out: *mut i32) -> fitw_status {
    free_call(|| -> Result<(), Fault> {
        let name = crate::text::given(name, "name")?;
        let out = Out::new(out, "out")?;
        out.set(i32::from(FEATURES.contains(&name.as_str())));
        Ok(())
    })
}

const VERSION: &str = concat!(env!("CARGO_PKG_VERSION"), "\0");
const BUILD: &str = concat!(
    "fitwright ",
    env!("CARGO_PKG_VERSION"),
    ", C interface ",
    env!("FITWRIGHT_ABI"),
    ", ",
    env!("FITWRIGHT_TARGET"),
    "\0"
);
const FEATURES: [&str; 9] = [
    "step",
    "job",
    "borrowed-scan",
    "group-fit",
    "noise-model",
    "length-error",
    "plug-in",
    "mesh-out",
    "survey",
];
