//! One call of a fitter: what it may ask for, and what it reports, taken with care.

#![allow(unsafe_code)]

use std::alloc::Layout;
use std::ffi::c_void;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard};

use fitwright_plugin_abi as abi;

use super::answer::{
    Answer, MOST_NOTES, MOST_NUMBERS, MOST_PARAMETERS, MOST_PIECES, RawParameter, RawPiece,
    RawValue,
};
use super::host::text_of;
use crate::context::Context;
use crate::error::{Error, Result};

/// A call while it runs, as the functions of its table find it.
pub(super) struct Running {
    context: Mutex<Option<Context>>,
    pub(super) noise: Option<f64>,
    pub(super) resolution: Option<f64>,
    fitter: String,
    points: usize,
    memory: usize,
    closed: AtomicBool,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    answer: Answer,
    numbers: usize,
    allocated: usize,
    blocks: Vec<Block>,
}

/// Memory of a plug-in between two guards.
struct Block {
    start: *mut u8,
    layout: Layout,
}

// SAFETY: a block belongs to the one state that it is in.
unsafe impl Send for Block {}

impl Running {
    pub(super) fn new(
        fitter: &str,
        points: usize,
        memory: usize,
        (noise, resolution): (f64, f64),
        context: Option<Context>,
    ) -> Self {
        let known = |x: f64| Some(x).filter(|x| *x > 0.0);
        Running {
            context: Mutex::new(context),
            noise: known(noise),
            resolution: known(resolution),
            fitter: fitter.into(),
            points,
            memory,
            closed: AtomicBool::new(false),
            state: Mutex::new(State::default()),
        }
    }

    /// The table that goes to the plug-in.
    pub(super) fn table(&self) -> abi::fitw_plugin_call {
        abi::fitw_plugin_call {
            struct_size: size_of::<abi::fitw_plugin_call>() as u32,
            reserved: 0,
            host: std::ptr::from_ref(self).cast_mut().cast(),
            progress,
            cancelled,
            allocate,
            reason,
            number,
            point,
            direction,
            table,
            covariance,
            piece,
            rejected,
            note,
        }
    }

    /// The call of a table, unless it is over.
    ///
    /// # Safety
    /// `call` is a table made by [`Running::table`] whose `Running` is alive.
    pub(super) unsafe fn of<'a>(call: *const abi::fitw_plugin_call) -> Option<&'a Self> {
        // SAFETY: as the caller says.
        let running = unsafe { call.as_ref()?.host.cast::<Running>().as_ref()? };
        (!running.closed.load(Ordering::Acquire)).then_some(running)
    }

    /// Ends the call: later use of its table is refused. What was said, and whether memory was overrun.
    pub(super) fn close(&self, state: i32) -> Answer {
        self.closed.store(true, Ordering::Release);
        // Its threads are the caller's and end with it.
        *self.context.lock().unwrap_or_else(|e| e.into_inner()) = None;
        let mut inner = self.lock();
        let mut answer = std::mem::take(&mut inner.answer);
        answer.state = state;
        for block in inner.blocks.drain(..) {
            if !block.intact() {
                answer.fault = Some("it wrote past the memory that it was given".into());
            }
            block.free();
        }
        answer
    }

    /// What the call was given to be stopped and to work with.
    pub(super) fn context(&self) -> Option<Context> {
        self.context.lock().unwrap_or_else(|e| e.into_inner()).clone()
    }

    pub(super) fn set_reason(&self, reason: &str) {
        self.lock().answer.reason = reason.into();
    }

    /// Runs work of the engine for the plug-in; nothing unwinds into it.
    pub(super) fn guarded<T>(&self, work: impl FnOnce() -> Result<T>) -> Result<T> {
        catch_unwind(AssertUnwindSafe(work))
            .unwrap_or_else(|_| Err(Error::Internal("a fit for a plug-in panicked".into())))
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(|e| e.into_inner())
    }

    fn stop(&self) -> bool {
        self.context().is_some_and(|c| c.check().is_err())
    }

    fn parameter(&self, name: abi::fitw_plugin_text, value: RawValue) -> i32 {
        // SAFETY: a plug-in's text.
        let Some(name) = (unsafe { text_of(name) }) else { return self.fault("a name is NULL") };
        let mut state = self.lock();
        if state.answer.parameters.len() >= MOST_PARAMETERS {
            drop(state);
            return self.too_many("parameters", MOST_PARAMETERS);
        }
        state.answer.parameters.push(RawParameter { name, value });
        abi::FITW_PLUGIN_OK
    }

    /// Counts numbers against the limit.
    fn count(&self, more: usize) -> bool {
        let mut state = self.lock();
        state.numbers = state.numbers.saturating_add(more);
        state.numbers <= MOST_NUMBERS
    }

    fn too_many(&self, what: &str, most: usize) -> i32 {
        self.fault(&format!("it reports more than {most} {what}"));
        abi::FITW_PLUGIN_E_LIMIT
    }

    fn fault(&self, what: &str) -> i32 {
        self.lock().answer.fault.get_or_insert_with(|| what.into());
        abi::FITW_PLUGIN_E_INTERNAL
    }
}

impl Block {
    fn new(bytes: usize) -> Option<Self> {
        let size = bytes.checked_add(2 * GUARD)?;
        let layout = Layout::from_size_align(size, GUARD).ok()?;
        // SAFETY: the size is not zero.
        let start = unsafe { std::alloc::alloc_zeroed(layout) };
        if start.is_null() {
            return None;
        }
        // SAFETY: within the block.
        unsafe {
            start.write_bytes(PATTERN, GUARD);
            start.add(size - GUARD).write_bytes(PATTERN, GUARD);
        }
        Some(Block { start, layout })
    }

    fn inside(&self) -> *mut c_void {
        // SAFETY: within the block.
        unsafe { self.start.add(GUARD).cast() }
    }

    fn intact(&self) -> bool {
        // SAFETY: within the block.
        let guard = |at| unsafe { std::slice::from_raw_parts(self.start.add(at), GUARD) };
        let whole = |bytes: &[u8]| bytes.iter().all(|b| *b == PATTERN);
        whole(guard(0)) && whole(guard(self.layout.size() - GUARD))
    }

    fn free(self) {
        // SAFETY: as it was allocated.
        unsafe { std::alloc::dealloc(self.start, self.layout) };
    }
}

impl Drop for State {
    fn drop(&mut self) {
        self.blocks.drain(..).for_each(Block::free);
    }
}

type Table = *const abi::fitw_plugin_call;
type Text = abi::fitw_plugin_text;

/// The running call, or the answer to one that is over.
macro_rules! running {
    ($call:expr) => {
        // SAFETY: the plug-in hands back the table that it was given.
        match unsafe { Running::of($call) } {
            Some(running) => running,
            None => return abi::FITW_PLUGIN_E_INTERNAL,
        }
    };
}

unsafe extern "C" fn progress(call: Table, fraction: f64) -> i32 {
    let running = running!(call);
    let fraction = if fraction.is_finite() { fraction } else { 0.0 };
    let report = |c: &Context| c.report(&running.fitter, fraction).is_err();
    i32::from(running.context().as_ref().is_some_and(report))
}

unsafe extern "C" fn cancelled(call: Table) -> i32 {
    i32::from(running!(call).stop())
}

unsafe extern "C" fn allocate(call: Table, bytes: usize) -> *mut c_void {
    // SAFETY: as above.
    let Some(running) = (unsafe { Running::of(call) }) else { return std::ptr::null_mut() };
    let mut state = running.lock();
    let total = state.allocated.saturating_add(bytes);
    if total > running.memory || state.blocks.len() >= MOST_NUMBERS {
        return std::ptr::null_mut();
    }
    let Some(block) = Block::new(bytes) else { return std::ptr::null_mut() };
    state.allocated = total;
    let inside = block.inside();
    state.blocks.push(block);
    inside
}

unsafe extern "C" fn reason(call: Table, text: Text) {
    // SAFETY: as above; a plug-in's text.
    if let (Some(running), Some(text)) = unsafe { (Running::of(call), text_of(text)) } {
        running.set_reason(&text);
    }
}

unsafe extern "C" fn number(call: Table, name: Text, unit: i32, value: f64) -> i32 {
    running!(call).parameter(name, RawValue::Number { unit, value })
}

unsafe extern "C" fn point(call: Table, name: Text, xyz: *const f64) -> i32 {
    let running = running!(call);
    if xyz.is_null() {
        return running.fault("a point is NULL");
    }
    // SAFETY: three numbers, as the interface says.
    running.parameter(name, RawValue::Point(unsafe { xyz.cast::<[f64; 3]>().read_unaligned() }))
}

unsafe extern "C" fn direction(call: Table, name: Text, xyz: *const f64) -> i32 {
    let running = running!(call);
    if xyz.is_null() {
        return running.fault("a direction is NULL");
    }
    // SAFETY: three numbers, as the interface says.
    let xyz = unsafe { xyz.cast::<[f64; 3]>().read_unaligned() };
    running.parameter(name, RawValue::Direction(xyz))
}

unsafe extern "C" fn table(
    call: Table,
    name: Text,
    columns: *const abi::fitw_plugin_column,
    column_count: usize,
    values: *const f64,
    rows: usize,
) -> i32 {
    let running = running!(call);
    let total = rows.saturating_mul(column_count);
    if columns.is_null() || column_count == 0 || values.is_null() && total > 0 {
        return running.fault("a table has no columns, or is NULL");
    }
    if column_count > MOST_PARAMETERS || !running.count(total) {
        return running.too_many("numbers in tables and outlines", MOST_NUMBERS);
    }
    let mut named = Vec::with_capacity(column_count);
    for k in 0..column_count {
        // SAFETY: as many columns as said.
        let column = unsafe { columns.add(k).read_unaligned() };
        // SAFETY: a plug-in's text.
        match unsafe { text_of(column.name) } {
            Some(name) => named.push((name, column.unit)),
            None => return running.fault("a column's name is NULL"),
        }
    }
    // SAFETY: rows times columns numbers, as said.
    let values = unsafe { copied(values, total) };
    running.parameter(name, RawValue::Table { columns: named, values })
}

unsafe extern "C" fn covariance(call: Table, values: *const f64, size: usize) -> i32 {
    let running = running!(call);
    if values.is_null() || size == 0 {
        return running.fault("a covariance is NULL or empty");
    }
    if size > 3 * MOST_PARAMETERS {
        return running.too_many("rows of a covariance", 3 * MOST_PARAMETERS);
    }
    if running.lock().answer.covariance.is_some() {
        return running.fault("it reports two covariances");
    }
    // SAFETY: a square matrix of that size, as said.
    let values = unsafe { copied(values, size * size) };
    running.lock().answer.covariance = Some(values);
    abi::FITW_PLUGIN_OK
}

unsafe extern "C" fn piece(call: Table, piece: *const abi::fitw_plugin_piece) -> i32 {
    let running = running!(call);
    // SAFETY: the plug-in's struct.
    let Some(raw) = (unsafe { piece.as_ref() }) else { return running.fault("a piece is NULL") };
    if (raw.struct_size as usize) < size_of::<abi::fitw_plugin_piece>() {
        return running.fault(&format!("a piece says that it has {} bytes", raw.struct_size));
    }
    let mut loops = Vec::new();
    if raw.extent == abi::FITW_PLUGIN_EXTENT_OUTLINE {
        if raw.outline_mm.is_null() || raw.loop_sizes.is_null() {
            return running.fault("an outline is NULL");
        }
        if !running.count(raw.loop_count) {
            return running.too_many("numbers in tables and outlines", MOST_NUMBERS);
        }
        let mut before = 0usize;
        for k in 0..raw.loop_count {
            // SAFETY: as many loops as said, and as many points in each.
            unsafe {
                let size = raw.loop_sizes.add(k).read_unaligned();
                if !running.count(size.saturating_mul(3)) {
                    return running.too_many("numbers in tables and outlines", MOST_NUMBERS);
                }
                let start = raw.outline_mm.cast::<[f64; 3]>().add(before);
                loops.push((0..size).map(|i| start.add(i).read_unaligned()).collect());
                before += size;
            }
        }
    }
    let mut state = running.lock();
    if state.answer.pieces.len() >= MOST_PIECES {
        drop(state);
        return running.too_many("pieces", MOST_PIECES);
    }
    state.answer.pieces.push(RawPiece {
        shape: raw.shape,
        extent: raw.extent,
        point: raw.point_mm,
        direction: raw.direction,
        sizes: [raw.size_1, raw.size_2],
        zero: raw.zero,
        pole: raw.pole,
        u: [raw.u_from, raw.u_to],
        v: [raw.v_from, raw.v_to],
        loops,
    });
    abi::FITW_PLUGIN_OK
}

unsafe extern "C" fn rejected(call: Table, points: *const u32, count: usize) -> i32 {
    let running = running!(call);
    if points.is_null() && count > 0 {
        return running.fault("the rejected points are NULL");
    }
    let total = running.lock().answer.rejected.len().saturating_add(count);
    if total > running.points {
        return running.too_many("rejected points than there are points:", running.points);
    }
    // SAFETY: as many as said.
    let more = unsafe { (0..count).map(|i| points.add(i).read_unaligned()) };
    running.lock().answer.rejected.extend(more);
    abi::FITW_PLUGIN_OK
}

unsafe extern "C" fn note(call: Table, text: Text) -> i32 {
    let running = running!(call);
    // SAFETY: a plug-in's text.
    let Some(text) = (unsafe { text_of(text) }) else { return running.fault("a note is NULL") };
    let mut state = running.lock();
    if state.answer.notes.len() >= MOST_NOTES {
        drop(state);
        return running.too_many("notes", MOST_NOTES);
    }
    state.answer.notes.push(text);
    abi::FITW_PLUGIN_OK
}

/// # Safety
/// `values` is readable for `count` numbers.
unsafe fn copied(values: *const f64, count: usize) -> Vec<f64> {
    // SAFETY: as the caller says.
    (0..count).map(|i| unsafe { values.add(i).read_unaligned() }).collect()
}

/// Bytes on either side of a plug-in's memory, and what they hold.
const GUARD: usize = 64;
const PATTERN: u8 = 0xA5;
