//! Calling back into the host.

use std::ffi::c_void;
use std::sync::Mutex;

use crate::text::{Text, fitw_str};

/// Progress of a running call: the step and the fraction of it that is done, 0 to 1. Return 0 to go on,
/// anything else to cancel (as fitw_context_cancel does).
///
/// Called on any thread, one call at a time for a context; a report that would have to wait is left out.
/// `step` is valid during the callback. It must not throw, longjmp or block for long. It may call
/// fitw_context_cancel.
pub type fitw_progress_fn =
    Option<unsafe extern "C" fn(user: *mut c_void, step: fitw_str, fraction: f64) -> i32>;

/// A line for the host's log; `level` is FITW_LOG_…. Called on the thread of the call that causes it;
/// `line` is valid during the callback. It must not throw or longjmp.
pub type fitw_log_fn = Option<unsafe extern "C" fn(user: *mut c_void, level: i32, line: fitw_str)>;

/// Gives borrowed memory back: the library does not read it any more. Called exactly once after a call
/// that took it succeeded, on any thread, possibly before that call returns. It must not throw or longjmp.
pub type fitw_release_fn = Option<unsafe extern "C" fn(user: *mut c_void)>;

/// Log: a call failed.
pub const FITW_LOG_ERROR: i32 = 10;
/// Log: something was dropped, healed or left out.
pub const FITW_LOG_NOTE: i32 = 20;

/// The host's own pointer, handed back to it and never read.
#[derive(Clone, Copy)]
struct User(*mut c_void);

// SAFETY: only handed back to the host, which by the header accepts its callbacks on any thread.
unsafe impl Send for User {}
// SAFETY: as above.
unsafe impl Sync for User {}

/// A progress callback with its user pointer.
pub(crate) struct Progress {
    function: unsafe extern "C" fn(*mut c_void, fitw_str, f64) -> i32,
    user: Mutex<User>,
}

impl Progress {
    pub(crate) fn new(function: fitw_progress_fn, user: *mut c_void) -> Option<Self> {
        function.map(|function| Progress { function, user: Mutex::new(User(user)) })
    }

    /// Whether the host wants to go on.
    pub(crate) fn report(&self, step: &str, fraction: f64) -> bool {
        // Never waits: the host may have called back into the library from this very callback.
        let Ok(user) = self.user.try_lock() else { return true };
        let step = Text::new(step);
        // SAFETY: the host's function, valid as long as the context by the header.
        unsafe { (self.function)(user.0, step.view(), fraction) == 0 }
    }
}

/// A log callback with its user pointer.
pub(crate) struct Log {
    function: unsafe extern "C" fn(*mut c_void, i32, fitw_str),
    user: User,
}

impl Log {
    pub(crate) fn new(function: fitw_log_fn, user: *mut c_void) -> Option<Self> {
        function.map(|function| Log { function, user: User(user) })
    }

    pub(crate) fn line(&self, level: i32, line: &str) {
        let line = Text::new(line);
        // SAFETY: the host's function, valid as long as the context by the header.
        unsafe { (self.function)(self.user.0, level, line.view()) }
    }
}

/// Calls the host's release function when the last user of borrowed memory is gone.
pub(crate) struct Borrowed {
    function: fitw_release_fn,
    user: User,
}

impl Borrowed {
    pub(crate) fn new(function: fitw_release_fn, user: *mut c_void) -> Self {
        Borrowed { function, user: User(user) }
    }

    /// The memory stays the host's: it is not told.
    pub(crate) fn forget(&mut self) {
        self.function = None;
    }
}

impl Drop for Borrowed {
    fn drop(&mut self) {
        if let Some(function) = self.function {
            // SAFETY: the host's function; called once, since this is the only place and runs once.
            unsafe { function(self.user.0) }
        }
    }
}
