//! The only place where memory of the caller is read or written, apart from callbacks.
//!
//! Soundness: the functions here are crate-private and are called with pointers that came as arguments of
//! exported `unsafe extern "C"` functions, whose callers promise by the header that a pointer which is
//! not NULL points to memory of the size they state, and stays valid for the call. What can be
//! checked is checked: NULL, alignment, counts, sizes.

use crate::error::{FITW_E_BUFFER, FITW_E_UNSUPPORTED, Fault};

/// A struct that may grow: begins with `struct_size`.
///
/// # Safety
/// `repr(C)` without padding, its first field a `u32`, and every field one for which all bit patterns that
/// C can make are valid (numbers, raw pointers, optional function pointers).
pub(crate) unsafe trait Grows: Copy {
    /// Size in the first version that had it, bytes.
    const LEAST: usize;
}

/// Says that structs may grow, with their size in the first version that had them.
macro_rules! grows {
    ($($name:ident $least:literal),* $(,)?) => {$(
        // SAFETY: repr(C), begins with struct_size, plain fields, no padding (checked by the layout test).
        unsafe impl $crate::pointer::Grows for $name {
            const LEAST: usize = $least;
        }
        const _: () = assert!(size_of::<$name>() >= $least);
    )*};
}
pub(crate) use grows;

/// Plain elements of arrays with a stride: grow like [`Grows`], the stride being their size.
///
/// # Safety
/// As [`Grows`], but for the first field.
pub(crate) unsafe trait Item: Copy {
    /// Size in the first version that had it, bytes.
    const LEAST: usize;
}

/// Says that structs may be array elements, with their size in the first version that had them.
macro_rules! items {
    ($($name:ty, $least:literal);* $(;)?) => {$(
        // SAFETY: repr(C) or an array of numbers, plain fields, no padding.
        unsafe impl $crate::pointer::Item for $name {
            const LEAST: usize = $least;
        }
    )*};
}
pub(crate) use items;

items! {
    u32, 4; u64, 8; f64, 8; [u32; 3], 12; [f32; 3], 12; [f64; 3], 24;
    *const crate::feature::fitw_feature, 8; *const crate::fit::fitw_fit, 8
}

/// A place for a result, checked before the work begins and written when it is done.
pub(crate) struct Out<T>(*mut T);

impl<T> Out<T> {
    pub(crate) fn new(pointer: *mut T, name: &str) -> Result<Self, Fault> {
        sound(pointer, name).map(|()| Out(pointer))
    }

    /// NULL: the caller does not want it.
    pub(crate) fn optional(pointer: *mut T, name: &str) -> Result<Option<Self>, Fault> {
        if pointer.is_null() { Ok(None) } else { Self::new(pointer, name).map(Some) }
    }

    pub(crate) fn set(self, value: T) {
        // SAFETY: not NULL and aligned by `new`; valid for writes by the promise of the module's text.
        unsafe { self.0.write(value) }
    }
}

/// A struct of the caller that is filled as far as its `struct_size` says.
pub(crate) struct SizedOut<T> {
    pointer: *mut T,
    size: usize,
}

impl<T: Grows> SizedOut<T> {
    pub(crate) fn new(pointer: *mut T, name: &str) -> Result<Self, Fault> {
        let size = struct_size(pointer, name)?;
        Ok(SizedOut { pointer, size })
    }

    /// Writes all but `struct_size`, which stays the caller's; zeros what a later version added.
    pub(crate) fn set(self, value: T) {
        let known = self.size.min(size_of::<T>());
        let (from, to) = ((&raw const value).cast::<u8>(), self.pointer.cast::<u8>());
        // SAFETY: `known` bytes are within both structs, the first four are left alone, the rest of the
        // caller's `size` bytes is its own by its promise; a value and the caller's struct do not overlap.
        unsafe {
            to.add(4).copy_from_nonoverlapping(from.add(4), known - 4);
            to.add(known).write_bytes(0, self.size - known);
        }
    }
}

/// Reads a struct as far as its `struct_size` says; what it lacks is zero.
pub(crate) fn read_sized<T: Grows>(pointer: *const T, name: &str) -> Result<T, Fault> {
    let size = struct_size(pointer, name)?;
    let known = size.min(size_of::<T>());
    let rest = size - known;
    // SAFETY: `size` bytes are the caller's by its promise.
    let tail = unsafe { std::slice::from_raw_parts(pointer.cast::<u8>().add(known), rest) };
    if tail.iter().any(|b| *b != 0) {
        return Err(Fault {
            status: FITW_E_UNSUPPORTED,
            message: format!(
                "{name}: struct_size {size} with values beyond the {known} bytes this library knows; \
                 leave them zero or load a later library"
            ),
            place: name.to_owned(),
        });
    }
    // SAFETY: `known` bytes are within both.
    Ok(unsafe { read_part(pointer, known) })
}

/// As [`read_sized`]; NULL means zeros, the defaults.
pub(crate) fn read_optional<T: Grows>(pointer: *const T, name: &str) -> Result<T, Fault> {
    if pointer.is_null() {
        // SAFETY: all zeros are valid by the trait's contract.
        return Ok(unsafe { std::mem::zeroed() });
    }
    read_sized(pointer, name)
}

/// The first `known` bytes of a struct, the others zero.
///
/// # Safety
/// `pointer` is valid for `known` bytes, `known` is at most the size of `T`, and zeros are a valid `T`.
unsafe fn read_part<T: Copy>(pointer: *const T, known: usize) -> T {
    let mut value = std::mem::MaybeUninit::<T>::zeroed();
    let to = value.as_mut_ptr().cast::<u8>();
    // SAFETY: by the contract above; every bit pattern is valid by the traits' contracts.
    unsafe {
        to.copy_from_nonoverlapping(pointer.cast::<u8>(), known);
        value.assume_init()
    }
}

fn struct_size<T: Grows>(pointer: *const T, name: &str) -> Result<usize, Fault> {
    sound(pointer, name)?;
    // SAFETY: not NULL and aligned; the first field is a u32 by the trait's contract.
    let size = unsafe { pointer.cast::<u32>().read() } as usize;
    if size < T::LEAST || size > LARGEST_STRUCT {
        let allowed = format!("{} to {LARGEST_STRUCT} (sizeof the struct)", T::LEAST);
        return Err(Fault::argument(&format!("{name}.struct_size"), size, &allowed));
    }
    Ok(size)
}

/// An array of the caller, valid for the call.
#[derive(Clone, Copy)]
pub(crate) struct Array<T> {
    pointer: *const T,
    count: usize,
    stride: usize,
}

// SAFETY: memory of the caller that is only read, and by its promise not written during the call.
unsafe impl<T> Send for Array<T> {}
// SAFETY: as above.
unsafe impl<T> Sync for Array<T> {}

impl<T: Item> Array<T> {
    /// `stride` in bytes, 0 for elements side by side; `pointer` may be NULL if `count` is 0.
    pub(crate) fn new(
        pointer: *const T,
        count: usize,
        stride: usize,
        name: &str,
    ) -> Result<Self, Fault> {
        let stride = if stride == 0 { size_of::<T>() } else { stride };
        if stride < T::LEAST || !stride.is_multiple_of(align_of::<T>()) {
            let allowed = format!("0, or {} or more, a multiple of {}", T::LEAST, align_of::<T>());
            return Err(Fault::argument(&format!("{name} stride"), stride, &allowed));
        }
        if count == 0 {
            return Ok(Array { pointer: std::ptr::null(), count, stride });
        }
        sound(pointer, name)?;
        let bytes = count.checked_mul(stride).filter(|b| *b <= isize::MAX as usize);
        if bytes.and_then(|b| b.checked_add(pointer as usize)).is_none() {
            let allowed = "an array that fits into memory";
            return Err(Fault::argument(&format!("{name} count"), count, allowed));
        }
        Ok(Array { pointer, count, stride })
    }

    pub(crate) fn len(&self) -> usize {
        self.count
    }

    pub(crate) fn is_tight(&self) -> bool {
        self.stride == size_of::<T>()
    }

    /// Element `i`; the last one may end where its known part does.
    pub(crate) fn get(&self, i: usize) -> Option<T> {
        if i >= self.count {
            return None;
        }
        let known = self.stride.min(size_of::<T>());
        // SAFETY: i < count, and count × stride bytes are the caller's by its promise.
        Some(unsafe { read_part(self.pointer.byte_add(i * self.stride), known) })
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = T> + '_ {
        (0..self.count).filter_map(|i| self.get(i))
    }

    /// A copy of all elements in memory of our own; refused, not aborted, if there is none.
    pub(crate) fn collect<U>(&self, map: impl Fn(T) -> U) -> Result<Vec<U>, Fault> {
        let mut all = Vec::new();
        let bytes = self.count.saturating_mul(size_of::<U>());
        all.try_reserve_exact(self.count)
            .map_err(|_| Fault::limit("bytes of memory", bytes as u64, 0))?;
        all.extend(self.iter().map(map));
        Ok(all)
    }

    /// First element, if the elements lie side by side and there are any.
    pub(crate) fn tight_pointer(&self) -> Option<*const T> {
        (self.is_tight() && self.count > 0).then_some(self.pointer)
    }
}

/// Bytes of the caller.
pub(crate) fn bytes<'a>(pointer: *const u8, count: usize, name: &str) -> Result<&'a [u8], Fault> {
    if count == 0 {
        return Ok(&[]);
    }
    sound(pointer, name)?;
    if count > isize::MAX as usize || (pointer as usize).checked_add(count).is_none() {
        return Err(Fault::argument(
            &format!("{name} length"),
            count,
            "a text that fits into memory",
        ));
    }
    // SAFETY: not NULL; `count` bytes are the caller's by its promise, for the time of the call.
    Ok(unsafe { std::slice::from_raw_parts(pointer, count) })
}

/// Text of the caller up to its NUL.
pub(crate) fn until_nul<'a>(pointer: *const u8, name: &str) -> Result<&'a [u8], Fault> {
    sound(pointer, name)?;
    // SAFETY: not NULL; ends with a NUL by the caller's promise.
    Ok(unsafe { std::ffi::CStr::from_ptr(pointer.cast()) }.to_bytes())
}

/// Three numbers of the caller, finite.
pub(crate) fn three(pointer: *const f64, name: &str) -> Result<[f64; 3], Fault> {
    let all = Array::<[f64; 3]>::new(pointer.cast(), 1, 0, name)?;
    let xyz = all.get(0).unwrap_or_default();
    if xyz.iter().all(|v| v.is_finite()) {
        return Ok(xyz);
    }
    Err(Fault::argument(name, format!("{xyz:?}"), "finite numbers"))
}

/// As [`three`]; NULL is none.
pub(crate) fn optional_three(pointer: *const f64, name: &str) -> Result<Option<[f64; 3]>, Fault> {
    if pointer.is_null() { Ok(None) } else { three(pointer, name).map(Some) }
}

/// Writes a slice into the caller's buffer, or, if it has none, how long it must be.
pub(crate) fn fill<T: Copy>(
    buffer: *mut T,
    capacity: usize,
    need: *mut usize,
    items: &[T],
) -> Result<(), Fault> {
    let need = Out::optional(need, "need")?;
    if buffer.is_null() && capacity == 0 {
        let allowed = "a place for the length where there is no buffer";
        return match need {
            Some(need) => {
                need.set(items.len());
                Ok(())
            }
            None => Err(Fault::argument("need", "NULL", allowed)),
        };
    }
    sound(buffer, "buffer")?;
    if let Some(need) = need {
        need.set(items.len());
    }
    if capacity < items.len() {
        let message = format!("buffer: found room for {capacity}, needed {}", items.len());
        return Err(Fault { status: FITW_E_BUFFER, message, place: "buffer".into() });
    }
    // SAFETY: `capacity` elements are the caller's by its promise, and no fewer than `items`.
    unsafe { buffer.copy_from_nonoverlapping(items.as_ptr(), items.len()) };
    Ok(())
}

/// Hands out a view of memory that a handle owns.
pub(crate) struct View<T> {
    pointer: Out<*const T>,
    count: Out<usize>,
}

impl<T> View<T> {
    pub(crate) fn new(pointer: *mut *const T, count: *mut usize) -> Result<Self, Fault> {
        Ok(View { pointer: Out::new(pointer, "view")?, count: Out::new(count, "count")? })
    }

    /// Points at the items (NULL if there are none); `count` counts them, not their numbers.
    pub(crate) fn set<U>(self, items: &[U]) {
        let none = items.is_empty();
        self.pointer.set(if none { std::ptr::null() } else { items.as_ptr().cast() });
        self.count.set(items.len());
    }
}

fn sound<T>(pointer: *const T, name: &str) -> Result<(), Fault> {
    if pointer.is_null() {
        return Err(Fault::argument(name, "NULL", "a pointer"));
    }
    if !pointer.is_aligned() {
        let allowed = format!("an address that is a multiple of {}", align_of::<T>());
        return Err(Fault::argument(name, format!("{pointer:p}"), &allowed));
    }
    Ok(())
}

/// Far over any struct of any version: a `struct_size` beyond it is uninitialised memory.
const LARGEST_STRUCT: usize = 4096;
