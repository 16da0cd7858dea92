//! The context: threads, progress, cancel, log, memory, last error.

use std::collections::HashMap;
use std::ffi::{c_char, c_void};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use engine::Context;

use crate::call::{call, free_call};
use crate::callback::{FITW_LOG_ERROR, Log, Progress, fitw_log_fn, fitw_progress_fn};
use crate::error::{FITW_OK, Fault, fitw_status};
use crate::handle::{self, Handle};
use crate::memory::Memory;
use crate::plugin::Plugins;
use crate::pointer::{self, Out, grows};
use crate::text::{Text, fitw_str};

/// What a host gives the engine: threads, callbacks, limits; and the place of the last error. The first
/// argument of nearly every call. Scans, fits and all other handles do not belong to a context: they may be
/// used with any, and may outlive it.
///
/// Any thread may use it, several at once; but it keeps one last error, so give each thread that wants to
/// read its own error its own context (with threads = 1 it is cheap: one thread).
pub struct fitw_context;

/// Threads: as many as the machine has cores.
pub const FITW_THREADS_ALL: i32 = -1;

/// How a context is made. All zero is the default.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_context_options {
    /// sizeof(fitw_context_options).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// Worker threads, 1 to 1024, or FITW_THREADS_ALL; 0: one. Results do not depend on it.
    pub threads: i32,
    /// 0.
    pub reserved: i32,
    /// Most bytes that the positions, triangles and given normals of scans and parts made with this context
    /// may take together while they live, checked before they are loaded; 0: no limit. Not counted: borrowed
    /// arrays; what a scan keeps once it was asked for (normals, neighbours, search tree: about twice as much
    /// as its positions and triangles); what a call takes while it runs (reading, fits and checks of all of a
    /// scan: up to about five times as much); what jobs load.
    pub memory_limit: u64,
    /// Progress and cancel; may be NULL. Must stay callable until the context is released and every call
    /// with it has returned.
    pub progress: fitw_progress_fn,
    /// Handed to `progress`.
    pub progress_user: *mut c_void,
    /// Log; may be NULL. As long-lived as `progress`.
    pub log: fitw_log_fn,
    /// Handed to `log`.
    pub log_user: *mut c_void,
}

grows! { fitw_context_options 56 }

/// CONTEXT. Makes a context; release it with fitw_context_release. `options` may be NULL.
///
/// Errors: FITW_E_ARGUMENT (NULL `out`, threads out of range, unknown flags), FITW_E_UNSUPPORTED,
/// FITW_E_INTERNAL if the system refuses the threads. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_context_create(
    options: *const fitw_context_options,
    out: *mut *mut fitw_context,
) -> fitw_status {
    free_call(|| {
        let options = pointer::read_optional(options, "options")?;
        let out = Out::new(out, "out")?;
        no_flags(options.flags, 0, "options.flags")?;
        out.set(handle::insert(ContextBox::new(&options)?)?);
        Ok(())
    })
}

/// Releases a context. Calls that run with it on other threads end undisturbed. NULL is allowed; releasing
/// twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_context_release(context: *mut fitw_context) -> fitw_status {
    handle::release(context)
}

/// Asks running and later work of a context to stop: it ends with FITW_E_CANCELLED as soon as it can.
/// Holds until fitw_context_resume. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_context_cancel(context: *const fitw_context) -> fitw_status {
    free_call(|| handle::get(context, "context").map(|c| c.engine.cancel()))
}

/// Takes the wish to stop back, so that the context can be used again. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_context_resume(context: *const fitw_context) -> fitw_status {
    free_call(|| handle::get(context, "context").map(|c| c.engine.resume()))
}

/// Bytes of scans and parts that count against the context's memory limit now. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_context_memory(
    context: *const fitw_context,
    bytes: *mut u64,
) -> fitw_status {
    call(context, "fitw_context_memory", |c| {
        Out::new(bytes, "bytes").map(|out| out.set(c.memory.used()))
    })
}

/// Status of the context's last call: FITW_OK if it succeeded. Every call with the context clears it at
/// its start, but for this one, the two below and cancel, resume. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_context_error_status(
    context: *const fitw_context,
    out: *mut fitw_status,
) -> fitw_status {
    free_call(|| {
        let context = handle::get(context, "context")?;
        let out = Out::new(out, "out")?;
        out.set(context.last().as_ref().map_or(FITW_OK, |f| f.status));
        Ok(())
    })
}

/// Message of the last error: one sentence with what was found and what is allowed; empty after success.
///
/// Copies as much as fits into `capacity` bytes, always with a NUL at its end; never fails for want of
/// room. `need` (may be NULL) gets the bytes that all of it takes with its NUL. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_context_error_message(
    context: *const fitw_context,
    buffer: *mut c_char,
    capacity: usize,
    need: *mut usize,
) -> fitw_status {
    copy_of(context, buffer, capacity, need, |f| f.message.clone())
}

/// Place of the last error: the function, and the argument, file or line if there is one, as in
/// "fitw_scan_read: front.ply: line 12". Buffer as above. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_context_error_place(
    context: *const fitw_context,
    buffer: *mut c_char,
    capacity: usize,
    need: *mut usize,
) -> fitw_status {
    copy_of(context, buffer, capacity, need, |f| f.place.clone())
}

impl Handle for fitw_context {
    type Inner = ContextBox;
    const NAME: &'static str = "fitw_context";
}

/// What stands behind a context.
pub(crate) struct ContextBox {
    pub(crate) engine: Context,
    pub(crate) memory: Memory,
    pub(crate) plugins: Plugins,
    log: Option<Log>,
    failed: AtomicBool,
    last: Mutex<Option<Fault>>,
    words: Mutex<HashMap<String, Text>>,
}

impl ContextBox {
    fn new(options: &fitw_context_options) -> Result<Self, Fault> {
        let threads = match options.threads {
            0 => 1,
            FITW_THREADS_ALL => 0,
            n => usize::try_from(n).map_err(|_| {
                Fault::argument("options.threads", n, "1 to 1024, 0 or FITW_THREADS_ALL")
            })?,
        };
        let mut engine = Context::new(threads)?;
        if let Some(progress) = Progress::new(options.progress, options.progress_user) {
            let stop = engine.clone();
            engine = engine.with_progress(move |step, fraction| {
                if !progress.report(step, fraction) {
                    stop.cancel();
                }
            });
        }
        Ok(ContextBox {
            engine,
            memory: Memory::new(options.memory_limit),
            plugins: Plugins::default(),
            log: Log::new(options.log, options.log_user),
            failed: AtomicBool::new(false),
            last: Mutex::new(None),
            words: Mutex::default(),
        })
    }

    pub(crate) fn forget_error(&self) {
        // Most calls succeed: no lock for them.
        if self.failed.swap(false, Ordering::Relaxed) {
            *self.last() = None;
        }
    }

    pub(crate) fn keep_error(&self, function: &str, mut fault: Fault) -> fitw_status {
        let status = fault.status;
        fault.place = match fault.place.as_str() {
            "" => function.to_owned(),
            place => format!("{function}: {place}"),
        };
        if let Some(log) = &self.log {
            log.line(FITW_LOG_ERROR, &format!("{function}: {}", fault.message));
        }
        *self.last() = Some(fault);
        self.failed.store(true, Ordering::Relaxed);
        status
    }

    /// A line for the host's log.
    pub(crate) fn log(&self, level: i32, line: &str) {
        if let Some(log) = &self.log {
            log.line(level, line);
        }
    }

    /// A word of a small fixed set, kept until the context is released.
    pub(crate) fn word(&self, word: &str) -> fitw_str {
        let mut words = self.words.lock().unwrap_or_else(PoisonError::into_inner);
        words.entry(word.to_owned()).or_insert_with(|| Text::new(word)).view()
    }

    fn last(&self) -> MutexGuard<'_, Option<Fault>> {
        self.last.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Fails for flags that this version does not know.
pub(crate) fn no_flags(found: u32, known: u32, name: &str) -> Result<(), Fault> {
    if found & !known == 0 {
        return Ok(());
    }
    Err(Fault::argument(name, format!("{found:#x}"), &format!("flags within {known:#x}")))
}

fn copy_of(
    context: *const fitw_context,
    buffer: *mut c_char,
    capacity: usize,
    need: *mut usize,
    text: impl FnOnce(&Fault) -> String,
) -> fitw_status {
    free_call(|| {
        let context = handle::get(context, "context")?;
        let text = context.last().as_ref().map_or_else(String::new, text);
        if let Some(need) = Out::optional(need, "need")? {
            need.set(text.len() + 1);
        }
        if capacity == 0 {
            return Ok(());
        }
        let mut end = text.len().min(capacity - 1);
        while !text.is_char_boundary(end) {
            end -= 1;
        }
        let bytes = Text::new(&text[..end]).bytes().to_vec();
        pointer::fill(buffer.cast::<u8>(), capacity, std::ptr::null_mut(), &bytes)
    })
}
