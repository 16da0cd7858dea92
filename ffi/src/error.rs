//! Status codes, and what the last error of a context holds.

use engine::Error;

use crate::call::free_call;
use crate::pointer::Out;
use crate::text::{fitw_str, literal};

/// What every function returns: FITW_OK or one of FITW_E_…. The numbers are frozen; a later library may
/// return ones that are not named here, so treat every other number than 0 as an error.
pub type fitw_status = i32;

/// Success; the only status under which results are written.
pub const FITW_OK: i32 = 0;
/// An argument is NULL, misaligned, of a wrong size, or outside what the call allows.
pub const FITW_E_ARGUMENT: i32 = 100;
/// A name is used twice.
pub const FITW_E_DUPLICATE_NAME: i32 = 110;
/// A name refers to nothing.
pub const FITW_E_UNKNOWN_NAME: i32 = 120;
/// The job's text is wrong.
pub const FITW_E_JOB: i32 = 130;
/// The caller's buffer is too small; the size it needs was written.
pub const FITW_E_BUFFER: i32 = 140;
/// A handle that was released, never existed, or is of another kind.
pub const FITW_E_HANDLE: i32 = 150;
/// The work was cancelled, by fitw_context_cancel or by the progress callback.
pub const FITW_E_CANCELLED: i32 = 200;
/// The operating system could not read or write a file.
pub const FITW_E_IO: i32 = 300;
/// A file's content breaks its format.
pub const FITW_E_FORMAT: i32 = 310;
/// A file is of no known format.
pub const FITW_E_UNKNOWN_FORMAT: i32 = 320;
/// A file, or an options struct of a later version, uses something that this library cannot do.
pub const FITW_E_UNSUPPORTED: i32 = 330;
/// A limit on size or memory was passed.
pub const FITW_E_LIMIT: i32 = 340;
/// Fewer points than the shape needs.
pub const FITW_E_TOO_FEW_POINTS: i32 = 400;
/// The points do not determine the shape.
pub const FITW_E_UNDETERMINED: i32 = 410;
/// An iteration ended without an answer.
pub const FITW_E_NOT_CONVERGED: i32 = 420;
/// A pick is too far from the surface.
pub const FITW_E_PICK_OFF_SURFACE: i32 = 430;
/// A region holds no point.
pub const FITW_E_EMPTY_REGION: i32 = 440;
/// A construction is impossible for the geometry given.
pub const FITW_E_CONSTRUCTION: i32 = 450;
/// A datum system leaves a freedom open or takes one twice.
pub const FITW_E_DATUM: i32 = 460;
/// Scans could not be joined.
pub const FITW_E_JOIN: i32 = 470;
/// The part is not a closed solid.
pub const FITW_E_OPEN_PART: i32 = 480;
/// A plug-in was refused; the message says why, and what would help.
pub const FITW_E_PLUGIN_REFUSED: i32 = 500;
/// A plug-in crashed, took too long or too much memory, or answered what cannot be.
pub const FITW_E_PLUGIN: i32 = 510;
/// A defect of this library; the context and every handle stay usable.
pub const FITW_E_INTERNAL: i32 = 900;

/// Name of a status, such as "FITW_E_IO"; "unknown status" for a number that this library does not
/// return. `out` stays valid for ever. Error: FITW_E_ARGUMENT for NULL. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_status_name(status: fitw_status, out: *mut fitw_str) -> fitw_status {
    free_call(|| Out::new(out, "out").map(|out| out.set(literal(name(status)))))
}

/// A failed call: status, message and place.
#[derive(Debug, Clone)]
pub(crate) struct Fault {
    pub(crate) status: fitw_status,
    pub(crate) message: String,
    pub(crate) place: String,
}

impl Fault {
    /// An argument that cannot be taken.
    pub(crate) fn argument(name: &str, found: impl ToString, allowed: &str) -> Self {
        let message = format!("{name}: found {}, allowed {allowed}", found.to_string());
        Fault { status: FITW_E_ARGUMENT, message, place: name.to_owned() }
    }

    pub(crate) fn limit(what: &str, found: u64, limit: u64) -> Self {
        Error::Limit { what: what.to_owned(), found, limit }.into()
    }

    pub(crate) fn internal(message: String) -> Self {
        Error::Internal(message).into()
    }
}

impl From<Error> for Fault {
    fn from(error: Error) -> Self {
        Fault { status: error.code(), message: error.to_string(), place: place(&error) }
    }
}

/// Where in the input the cause lies, if the error knows.
fn place(error: &Error) -> String {
    match error {
        Error::Argument { name, .. }
        | Error::DuplicateName { name, .. }
        | Error::UnknownName { name, .. } => name.clone(),
        Error::Job { place, .. } => place.clone(),
        Error::Io { path, .. }
        | Error::UnknownFormat { path, .. }
        | Error::PluginRefused { path, .. } => path.display().to_string(),
        Error::Plugin { plugin, place, .. } => format!("{plugin}: {place}"),
        Error::Format { path, place, .. } | Error::Unsupported { path, place, .. } => {
            format!("{}: {place}", path.display())
        }
        Error::PickOffSurface { at, .. } => format!("({}, {}, {})", at[0], at[1], at[2]),
        Error::OpenPart { at, .. } => format!("({}, {}, {})", at[0], at[1], at[2]),
        _ => String::new(),
    }
}

fn name(status: fitw_status) -> &'static str {
    match status {
        FITW_OK => "FITW_OK\0",
        FITW_E_ARGUMENT => "FITW_E_ARGUMENT\0",
        FITW_E_DUPLICATE_NAME => "FITW_E_DUPLICATE_NAME\0",
        FITW_E_UNKNOWN_NAME => "FITW_E_UNKNOWN_NAME\0",
        FITW_E_JOB => "FITW_E_JOB\0",
        FITW_E_BUFFER => "FITW_E_BUFFER\0",
        FITW_E_HANDLE => "FITW_E_HANDLE\0",
        FITW_E_CANCELLED => "FITW_E_CANCELLED\0",
        FITW_E_IO => "FITW_E_IO\0",
        FITW_E_FORMAT => "FITW_E_FORMAT\0",
        FITW_E_UNKNOWN_FORMAT => "FITW_E_UNKNOWN_FORMAT\0",
        FITW_E_UNSUPPORTED => "FITW_E_UNSUPPORTED\0",
        FITW_E_LIMIT => "FITW_E_LIMIT\0",
        FITW_E_TOO_FEW_POINTS => "FITW_E_TOO_FEW_POINTS\0",
        FITW_E_UNDETERMINED => "FITW_E_UNDETERMINED\0",
        FITW_E_NOT_CONVERGED => "FITW_E_NOT_CONVERGED\0",
        FITW_E_PICK_OFF_SURFACE => "FITW_E_PICK_OFF_SURFACE\0",
        FITW_E_EMPTY_REGION => "FITW_E_EMPTY_REGION\0",
        FITW_E_CONSTRUCTION => "FITW_E_CONSTRUCTION\0",
        FITW_E_DATUM => "FITW_E_DATUM\0",
        FITW_E_JOIN => "FITW_E_JOIN\0",
        FITW_E_OPEN_PART => "FITW_E_OPEN_PART\0",
        FITW_E_PLUGIN_REFUSED => "FITW_E_PLUGIN_REFUSED\0",
        FITW_E_PLUGIN => "FITW_E_PLUGIN\0",
        FITW_E_INTERNAL => "FITW_E_INTERNAL\0",
        _ => "unknown status\0",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The codes of the engine are the statuses: one of each cause that carries no file.
    #[test]
    fn statuses_are_the_engine_s_codes() {
        let text = String::new;
        let cases = [
            (Error::Cancelled, FITW_E_CANCELLED),
            (Error::Internal(text()), FITW_E_INTERNAL),
            (Error::Job { place: text(), reason: text() }, FITW_E_JOB),
            (Error::Datum { reason: text() }, FITW_E_DATUM),
            (Error::Join { reason: text() }, FITW_E_JOIN),
            (Error::EmptyRegion { reason: text() }, FITW_E_EMPTY_REGION),
            (Error::Limit { what: text(), found: 1, limit: 0 }, FITW_E_LIMIT),
            (Error::Construction { what: text(), reason: text() }, FITW_E_CONSTRUCTION),
            (
                Error::PluginRefused { path: "plug-in".into(), reason: text() },
                FITW_E_PLUGIN_REFUSED,
            ),
            (Error::Plugin { plugin: text(), place: text(), reason: text() }, FITW_E_PLUGIN),
            (Error::TooFewPoints { what: text(), found: 0, needed: 1 }, FITW_E_TOO_FEW_POINTS),
        ];
        for (error, status) in cases {
            assert_eq!(error.code(), status, "{error}");
            assert_ne!(name(status), "unknown status\0");
        }
    }
}
