//! What stands round every exported function: the context is looked up, panics are caught, the last error is kept.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use crate::context::{ContextBox, fitw_context};
use crate::error::{FITW_OK, Fault, fitw_status};
use crate::handle;

/// Runs the body of an export; a failure of it becomes the context's last error.
pub(crate) fn call(
    context: *const fitw_context,
    name: &'static str,
    body: impl FnOnce(&Arc<ContextBox>) -> Result<(), Fault>,
) -> fitw_status {
    let whole = || {
        let context = match handle::get(context, "context") {
            Ok(context) => context,
            Err(fault) => return fault.status,
        };
        context.forget_error();
        let outcome = catch_unwind(AssertUnwindSafe(|| body(&context)));
        match outcome.unwrap_or_else(|panic| Err(from_panic(panic.as_ref()))) {
            Ok(()) => FITW_OK,
            Err(fault) => context.keep_error(name, fault),
        }
    };
    // The inner catch keeps the message; this one is for a defect in keeping it.
    catch_unwind(AssertUnwindSafe(whole)).unwrap_or(crate::error::FITW_E_INTERNAL)
}

/// Runs the body of an export that has no context: only the status comes back.
pub(crate) fn free_call(body: impl FnOnce() -> Result<(), Fault>) -> fitw_status {
    match catch_unwind(AssertUnwindSafe(body)) {
        Ok(Ok(())) => FITW_OK,
        Ok(Err(fault)) => fault.status,
        Err(_) => crate::error::FITW_E_INTERNAL,
    }
}

fn from_panic(panic: &(dyn std::any::Any + Send)) -> Fault {
    let text = panic.downcast_ref::<&str>().map(|s| (*s).to_owned());
    let text = text.or_else(|| panic.downcast_ref::<String>().cloned());
    Fault::internal(text.unwrap_or_else(|| "panic without a message".into()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::context::{fitw_context_create, fitw_context_error_message, fitw_context_release};
    use crate::error::{FITW_E_HANDLE, FITW_E_INTERNAL};

    #[test]
    fn a_panic_inside_becomes_a_status_with_its_message() {
        let mut context = std::ptr::null_mut();
        // SAFETY: NULL options mean the defaults; the out pointer is a local.
        assert_eq!(unsafe { fitw_context_create(std::ptr::null(), &raw mut context) }, FITW_OK);
        let status = call(context, "fitw_test", |_| panic!("deep inside, {}", 42));
        assert_eq!(status, FITW_E_INTERNAL);
        let mut text = [0u8; 200];
        let (buffer, room) = (text.as_mut_ptr().cast(), text.len());
        // SAFETY: the buffer is a local of that size.
        let status =
            unsafe { fitw_context_error_message(context, buffer, room, std::ptr::null_mut()) };
        assert_eq!(status, FITW_OK);
        assert!(String::from_utf8_lossy(&text).contains("deep inside, 42"));
        // The context goes on.
        assert_eq!(call(context, "fitw_test", |_| Ok(())), FITW_OK);
        // SAFETY: made above.
        assert_eq!(unsafe { fitw_context_release(context) }, FITW_OK);
        assert_eq!(call(context, "fitw_test", |_| Ok(())), FITW_E_HANDLE);
        assert_eq!(free_call(|| panic!("no context")), FITW_E_INTERNAL);
    }
}
