//! The host table that a loaded plug-in is given.

#![allow(unsafe_code)]

use std::ffi::c_void;
use std::sync::Mutex;

use fitwright_plugin_abi as abi;

use super::answer::{LONGEST_TEXT, MOST_NOTES};
use super::fits;

/// A host table with what its functions need; never freed, as libraries are never unloaded.
pub(super) struct Host {
    pub(super) raw: abi::fitw_plugin_host,
    log: Mutex<Vec<(i32, String)>>,
}

// SAFETY: the raw table is never written to after it is made; its pointers are to static data and to
// the host itself, whose log is behind a lock.
unsafe impl Send for Host {}
// SAFETY: as above.
unsafe impl Sync for Host {}

impl Host {
    /// A host table of its own for one library.
    pub(super) fn leaked() -> &'static Self {
        let host = Box::leak(Box::new(Host {
            raw: abi::fitw_plugin_host {
                struct_size: size_of::<abi::fitw_plugin_host>() as u32,
                version: super::manifest::Version::own().code(),
                host: std::ptr::null_mut(),
                name: static_text(concat!("fitwright ", env!("CARGO_PKG_VERSION"))),
                log,
                ability,
            },
            log: Mutex::new(Vec::new()),
        }));
        let this: *mut c_void = std::ptr::from_mut(host).cast();
        host.raw.host = this;
        host
    }

    /// Lines written since last asked.
    pub(super) fn take_log(&self) -> Vec<(i32, String)> {
        std::mem::take(&mut *self.log.lock().unwrap_or_else(|e| e.into_inner()))
    }
}

/// Text of a plug-in, cut to what is sensible; `None` for a pointer that cannot be.
///
/// # Safety
/// `text` is what a plug-in handed over: NULL or readable for its length.
pub(super) unsafe fn text_of(text: abi::fitw_plugin_text) -> Option<String> {
    if text.data.is_null() || text.length > isize::MAX as usize {
        return (text.length == 0).then(String::new);
    }
    // SAFETY: as the caller says; no more than the longest text is read.
    let bytes = unsafe { std::slice::from_raw_parts(text.data, text.length.min(LONGEST_TEXT)) };
    Some(String::from_utf8_lossy(bytes).into_owned())
}

fn static_text(text: &'static str) -> abi::fitw_plugin_text {
    abi::fitw_plugin_text { data: text.as_ptr(), length: text.len() }
}

unsafe extern "C" fn log(host: *mut c_void, level: i32, text: abi::fitw_plugin_text) {
    // SAFETY: `host` is what the table says, which lives for ever.
    let Some(host) = (unsafe { host.cast::<Host>().as_ref() }) else { return };
    // SAFETY: a plug-in's text.
    let Some(text) = (unsafe { text_of(text) }) else { return };
    let mut log = host.log.lock().unwrap_or_else(|e| e.into_inner());
    if log.len() < MOST_NOTES {
        log.push((level, text));
    }
}

unsafe extern "C" fn ability(_host: *mut c_void, id: abi::fitw_plugin_text) -> *const c_void {
    // SAFETY: a plug-in's text.
    match unsafe { text_of(id) }.as_deref() {
        Some(abi::FITW_PLUGIN_FITS) => std::ptr::from_ref(&fits::TABLE).cast(),
        _ => std::ptr::null(),
    }
}
