//! Texts in and out, UTF-8.

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::handle::{self, Handle};
use crate::pointer::{self, Out};

/// A text, UTF-8. As an argument: `len` bytes, or up to a NUL if `len` is FITW_NUL; read during the call
/// only; { NULL, 0 } is the empty text. As a result: `len` bytes and a NUL behind them, in memory that
/// belongs to the handle it was asked from, valid until that handle is released.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_str {
    /// First byte; NULL only if `len` is 0.
    pub ptr: *const std::ffi::c_char,
    /// Bytes without the NUL, or FITW_NUL.
    pub len: usize,
}

/// A text that was made to be kept, such as a STEP file in memory. Immutable. [any-thread]
pub struct fitw_text;

impl Handle for fitw_text {
    type Inner = Text;
    const NAME: &'static str = "fitw_text";
}

/// TEXTS. The bytes of a text; valid until it is released.
///
/// Errors: FITW_E_HANDLE, FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_text_view(
    context: *const fitw_context,
    text: *const fitw_text,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_text_view", |_| {
        let text = handle::get(text, "text")?;
        Out::new(out, "out").map(|out| out.set(text.view()))
    })
}

/// Releases a text. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_text_release(text: *mut fitw_text) -> fitw_status {
    handle::release(text)
}

/// Text with a NUL behind it, for handing out.
#[derive(Debug, Clone)]
pub(crate) struct Text(Box<[u8]>);

impl Text {
    pub(crate) fn new(text: &str) -> Self {
        let mut bytes = Vec::with_capacity(text.len() + 1);
        bytes.extend_from_slice(text.as_bytes());
        bytes.push(0);
        Text(bytes.into_boxed_slice())
    }

    pub(crate) fn all(texts: &[String]) -> Vec<Text> {
        texts.iter().map(|t| Text::new(t)).collect()
    }

    /// All bytes, the NUL included.
    pub(crate) fn bytes(&self) -> &[u8] {
        &self.0
    }

    pub(crate) fn view(&self) -> fitw_str {
        fitw_str { ptr: self.0.as_ptr().cast(), len: self.0.len() - 1 }
    }
}

/// Text `index` of a list into `out`.
pub(crate) fn nth(texts: &[Text], index: usize, out: *mut fitw_str) -> Result<(), Fault> {
    let out = Out::new(out, "out")?;
    let text = texts.get(index).ok_or_else(|| past(index, texts.len()))?;
    out.set(text.view());
    Ok(())
}

/// The error of an index past the end.
pub(crate) fn past(index: usize, count: usize) -> Fault {
    past_in("index", index, count)
}

/// As [`past`], for an argument of another name.
pub(crate) fn past_in(name: &str, index: usize, count: usize) -> Fault {
    Fault::argument(name, index, &format!("below {count}"))
}

/// A text of the library's own code that ends with a NUL.
pub(crate) fn literal(text: &'static str) -> fitw_str {
    fitw_str { ptr: text.as_ptr().cast(), len: text.len() - usize::from(text.ends_with('\0')) }
}

/// A text of the caller.
pub(crate) fn given(text: fitw_str, name: &str) -> Result<String, Fault> {
    let bytes = match text.len {
        usize::MAX => pointer::until_nul(text.ptr.cast(), name)?,
        len => pointer::bytes(text.ptr.cast(), len, name)?,
    };
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.to_owned()),
        Err(e) => {
            let found = format!("a wrong byte at {}", e.valid_up_to());
            Err(Fault::argument(name, found, "UTF-8"))
        }
    }
}

/// A text of the caller that may be empty.
pub(crate) fn optional(text: fitw_str, name: &str) -> Result<Option<String>, Fault> {
    if text.ptr.is_null() {
        return match text.len {
            0 | usize::MAX => Ok(None),
            len => Err(Fault::argument(name, format!("NULL with length {len}"), "length 0")),
        };
    }
    given(text, name).map(|t| Some(t).filter(|t| !t.is_empty()))
}
