//! From the trait to the interface's table.

#![allow(unsafe_code)]

use std::ffi::c_void;
use std::mem::offset_of;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicPtr, Ordering};

use fitwright_plugin_abi as abi;

use crate::call::{Call, text};
use crate::fitter::{Failure, Fitter, Opt, Shape};
use crate::input::Input;

/// A fitter in the interface's form; lives as long as the program.
#[derive(Debug, Clone, Copy)]
pub struct Descriptor(*const abi::fitw_plugin_fitter);

/// A plug-in's fitters in the interface's form.
#[derive(Debug)]
pub struct Descriptors(Vec<*const abi::fitw_plugin_fitter>);

// SAFETY: what they point to is never written to after it is made.
unsafe impl Send for Descriptors {}
// SAFETY: as above.
unsafe impl Sync for Descriptors {}

impl Descriptors {
    /// Of the fitters' descriptors.
    #[must_use]
    pub fn new(fitters: Vec<Descriptor>) -> Self {
        Descriptors(fitters.into_iter().map(|d| d.0).collect())
    }
}

/// The host's table; the same at every call of the entry within one host.
static HOST: AtomicPtr<abi::fitw_plugin_host> = AtomicPtr::new(std::ptr::null_mut());

/// Descriptor of a fitter.
#[must_use]
pub fn descriptor<F: Fitter>() -> Descriptor {
    let options: Vec<*const abi::fitw_plugin_option> =
        F::OPTIONS.iter().map(|o| &*Box::leak(Box::new(option(o))) as *const _).collect();
    let options = options.leak();
    let kind = match F::SHAPE {
        Shape::Composite(kind) => kind,
        _ => "",
    };
    Descriptor(Box::leak(Box::new(abi::fitw_plugin_fitter {
        struct_size: size_of::<abi::fitw_plugin_fitter>() as u32,
        shape: F::SHAPE.code(),
        id: text(F::ID),
        title: text(F::TITLE),
        kind: text(kind),
        minimum_points: F::MINIMUM_POINTS,
        options: options.as_ptr(),
        option_count: options.len(),
        data: std::ptr::null(),
        fit: fit::<F>,
    })))
}

/// What the entry function does.
///
/// # Safety
/// `host` and `table` are a host's tables or NULL.
pub unsafe fn entry(
    id: &'static str,
    (lowest, highest): (u32, u32),
    host: *const abi::fitw_plugin_host,
    table: *mut abi::fitw_plugin_table,
    fitters: &'static OnceLock<Descriptors>,
    make: fn() -> Descriptors,
) -> i32 {
    if table.is_null() || host.is_null() {
        return abi::FITW_PLUGIN_E_INTERNAL;
    }
    let newest = abi::version(abi::FITW_PLUGIN_MAJOR, abi::FITW_PLUGIN_MINOR);
    let chosen = abi::agreed(lowest, highest, abi::version(1, 0), newest);
    // SAFETY: the host's table has at least the fields up to `ability`, as 1.0 fixed them.
    unsafe {
        if chosen == 0 {
            (*table).version = newest;
            return abi::FITW_PLUGIN_E_VERSION;
        }
        if ((*table).struct_size as usize) < offset_of!(abi::fitw_plugin_table, ability) {
            return abi::FITW_PLUGIN_E_VERSION;
        }
        let Ok(fitters) = catch_unwind(|| fitters.get_or_init(make)) else {
            return abi::FITW_PLUGIN_E_INTERNAL;
        };
        HOST.store(host.cast_mut(), Ordering::Release);
        (*table).version = chosen;
        (*table).id = text(id);
        (*table).fitters = fitters.0.as_ptr();
        (*table).fitter_count = fitters.0.len();
    }
    abi::FITW_PLUGIN_OK
}

unsafe extern "C" fn fit<F: Fitter>(
    _data: *const c_void,
    input: *const abi::fitw_plugin_input,
    call: *const abi::fitw_plugin_call,
) -> i32 {
    // SAFETY: the host hands over its own tables, alive during the call.
    let (call, host) = unsafe {
        match (call.as_ref(), HOST.load(Ordering::Acquire).as_ref()) {
            (Some(call), Some(host)) if !input.is_null() => (Call::new(call, host), host),
            _ => return abi::FITW_PLUGIN_E_INTERNAL,
        }
    };
    let work = || {
        // SAFETY: as above.
        let input = unsafe { Input::of_host(input, F::OPTIONS) };
        let input = input.ok_or_else(|| Failure {
            state: abi::FITW_PLUGIN_E_VERSION,
            reason: format!("the host's input is older than version 1.0 ({})", host.version),
        })?;
        call.report(&F::fit(&input, &call)?)
    };
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(Ok(())) => abi::FITW_PLUGIN_OK,
        Ok(Err(failure)) => {
            call.reason(&failure.reason);
            failure.state
        }
        Err(panic) => {
            let said = panic.downcast_ref::<String>().map(String::as_str);
            let said = said.or_else(|| panic.downcast_ref::<&str>().copied());
            call.reason(&format!("panicked: {}", said.unwrap_or("without a message")));
            abi::FITW_PLUGIN_E_INTERNAL
        }
    }
}

fn option(o: &Opt) -> abi::fitw_plugin_option {
    abi::fitw_plugin_option {
        struct_size: size_of::<abi::fitw_plugin_option>() as u32,
        sort: o.sort.code(),
        unit: o.unit.code(),
        reserved: 0,
        name: text(o.name),
        description: text(o.description),
        standard: o.standard,
        least: o.least,
        most: o.most,
    }
}
