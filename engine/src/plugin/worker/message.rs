//! What host and worker say to each other: frames of a length and a message.

use std::io::{Read, Write};
use std::path::PathBuf;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::plugin::answer::{Answer, Description, Question};
use crate::plugin::import::{ImporterDescription, RawPart};

/// From the host to its worker.
#[derive(Debug, Serialize, Deserialize)]
pub(super) enum Order {
    /// Load the plug-in of a folder and stay below a limit of memory, bytes.
    Load { folder: PathBuf, memory: u64 },
    /// Ask the entry function for a version between two.
    Probe { lowest: u32, highest: u32 },
    /// Fit.
    Fit(FitOrder),
    /// Read a part.
    Import(ImportOrder),
    /// Stop the call that runs.
    Cancel,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct FitOrder {
    pub(super) fitter: u32,
    pub(super) question: Question,
    /// File that holds the points and then, if there are any, the normals; both as numbers of 8 bytes.
    pub(super) file: PathBuf,
    pub(super) count: u64,
    pub(super) normals: bool,
    pub(super) threads: u32,
    /// Bytes that the call may take from the host.
    pub(super) memory: u64,
    /// Runs it so many times at once, and answers with a fault if the answers differ.
    pub(super) copies: u32,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct ImportOrder {
    pub(super) importer: u32,
    pub(super) path: String,
    pub(super) chord_error: f64,
    pub(super) threads: u32,
    /// Bytes that the call may take from the host.
    pub(super) memory: u64,
}

/// From the worker to its host.
#[derive(Debug, Serialize, Deserialize)]
pub(super) enum Report {
    /// The plug-in is loaded; `version` is the worker's own.
    Ready { version: String, fitters: Vec<Description>, importers: Vec<ImporterDescription> },
    /// The plug-in is refused.
    Refused { path: PathBuf, reason: String },
    /// What the entry function answered.
    Probed { state: i32, version: u32 },
    /// A call has come so far.
    Progress(f64),
    /// The next piece of a part.
    Part(Box<RawPart>),
    /// A call's end.
    Answer(Box<Answer>),
}

/// Writes a message.
pub(super) fn send(to: &mut impl Write, message: &impl Serialize) -> std::io::Result<()> {
    let bytes = postcard::to_stdvec(message).map_err(std::io::Error::other)?;
    let length = u32::try_from(bytes.len()).map_err(std::io::Error::other)?;
    to.write_all(&length.to_le_bytes())?;
    to.write_all(&bytes)?;
    to.flush()
}

/// Reads a message of at most [`LONGEST`] bytes.
pub(super) fn receive<T: DeserializeOwned>(from: &mut impl Read) -> std::io::Result<T> {
    let mut length = [0; 4];
    from.read_exact(&mut length)?;
    let length = u32::from_le_bytes(length);
    if length > LONGEST {
        return Err(std::io::Error::other(format!("a message of {length} bytes")));
    }
    // Grows with what arrives: a length alone costs nothing.
    let mut bytes = Vec::new();
    from.take(u64::from(length)).read_to_end(&mut bytes)?;
    if bytes.len() < length as usize {
        return Err(std::io::ErrorKind::UnexpectedEof.into());
    }
    postcard::from_bytes(&bytes).map_err(std::io::Error::other)
}

/// Longest message, bytes: rejected points of a large scan are the most there is.
const LONGEST: u32 = 1 << 30;

/// Said by the host and expected by the worker, so that neither works with another's twin.
pub(super) const PROTOCOL: &str = concat!("fitwright-worker/1 ", env!("CARGO_PKG_VERSION"));
