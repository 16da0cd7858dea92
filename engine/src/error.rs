//! What can go wrong: one enum of causes, each with its numbers and a frozen code.

use std::path::PathBuf;

/// Result of every fallible call of the library.
pub type Result<T> = std::result::Result<T, Error>;

/// Cause of a failure, with the numbers a person needs to mend it.
///
/// [`Error::code`] is frozen: codes are never reused, and the C interface returns them as they are.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// An argument is outside what the call allows.
    #[error("{name}: found {found}, allowed {allowed}")]
    Argument {
        /// Argument or option.
        name: String,
        /// What was given.
        found: String,
        /// What is allowed.
        allowed: String,
    },
    /// The caller asked for the work to stop.
    #[error("cancelled")]
    Cancelled,
    /// A file could not be read or written by the operating system.
    #[error("{}: {reason}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the operating system said.
        reason: String,
    },
    /// A file's content breaks its format.
    #[error("{}: {place}: found {found}, allowed {allowed}", path.display())]
    Format {
        /// The file.
        path: PathBuf,
        /// Line, byte, element or entity.
        place: String,
        /// What was found there.
        found: String,
        /// What the format or the limits allow.
        allowed: String,
    },
    /// A file's extension or content is of no known format.
    #[error("{}: unknown format {found}; known are {known}", path.display())]
    UnknownFormat {
        /// The file.
        path: PathBuf,
        /// Extension or first bytes.
        found: String,
        /// Formats that can be read.
        known: &'static str,
    },
    /// The job file is wrong; the message names the place and the remedy.
    #[error("job file: {place}: {reason}")]
    Job {
        /// Line, table or key.
        place: String,
        /// What is wrong and what would be right.
        reason: String,
    },
    /// Fewer points than the shape needs.
    #[error("{what}: {found} points, at least {needed} needed")]
    TooFewPoints {
        /// What was to be fitted or built.
        what: String,
        /// Points given.
        found: usize,
        /// Points needed.
        needed: usize,
    },
    /// The points do not determine the shape.
    #[error("{what} is not determined by the data: {reason}; {remedy}")]
    Undetermined {
        /// What was to be fitted or built.
        what: String,
        /// Which freedom is left or which measure is too small.
        reason: String,
        /// What would determine it.
        remedy: String,
    },
    /// An iteration ended without reaching an answer.
    #[error("{what} did not converge: {reason}")]
    NotConverged {
        /// What was to be fitted.
        what: String,
        /// Where it stood.
        reason: String,
    },
    /// A pick is farther from the surface than it may be.
    #[error(
        "pick ({:.3}, {:.3}, {:.3}) is {distance:.3} mm from the nearest scan point, at most {allowed:.3} mm allowed; pick on the surface",
        at[0], at[1], at[2]
    )]
    PickOffSurface {
        /// The pick in scan coordinates, mm.
        at: [f64; 3],
        /// Its distance from the nearest scan point, mm.
        distance: f64,
        /// The largest distance allowed, mm.
        allowed: f64,
    },
    /// A region holds nothing.
    #[error("region is empty: {reason}")]
    EmptyRegion {
        /// Which cut or growth left nothing.
        reason: String,
    },
    /// A name is used twice.
    #[error("{kind} name \"{name}\" is used twice; names must be unique")]
    DuplicateName {
        /// Kind of thing.
        kind: &'static str,
        /// The name.
        name: String,
    },
    /// A name refers to nothing.
    #[error("no {kind} named \"{name}\"{}", suggestion(nearest))]
    UnknownName {
        /// Kind of thing.
        kind: &'static str,
        /// The name.
        name: String,
        /// The nearest known name.
        nearest: Option<String>,
    },
    /// A construction is impossible for the geometry given.
    #[error("{what}: {reason}")]
    Construction {
        /// What was to be constructed.
        what: String,
        /// Why it is not possible.
        reason: String,
    },
    /// A datum system leaves a freedom open or takes one twice.
    #[error("datum system: {reason}")]
    Datum {
        /// Which freedom is left, or which datum adds nothing.
        reason: String,
    },
    /// Scans could not be joined.
    #[error("join: {reason}")]
    Join {
        /// What was missing.
        reason: String,
    },
    /// A plug-in was refused before any of its code was used.
    #[error("plug-in {}: refused: {reason}", path.display())]
    PluginRefused {
        /// Its folder, manifest or library.
        path: PathBuf,
        /// Why, and what would help.
        reason: String,
    },
    /// A plug-in crashed, hung, or answered what cannot be.
    #[error("plug-in {plugin}: {place}: {reason}")]
    Plugin {
        /// Id of the plug-in or its fitter.
        plugin: String,
        /// Call or field.
        place: String,
        /// What happened.
        reason: String,
    },
    /// A part is not a closed solid.
    #[error(
        "{}: not a closed solid: {open_edges} open edges, the first near ({:.3}, {:.3}, {:.3}); interference needs an inside",
        path.display(), at[0], at[1], at[2]
    )]
    OpenPart {
        /// The part's file.
        path: PathBuf,
        /// Number of edges that do not have exactly two triangles.
        open_edges: usize,
        /// Middle of the first of them, mm.
        at: [f64; 3],
    },
    /// The file uses something that cannot be read yet.
    #[error("{}: {place}: {what} cannot be read; {remedy}", path.display())]
    Unsupported {
        /// The file.
        path: PathBuf,
        /// Line or entity.
        place: String,
        /// What it is.
        what: String,
        /// What to do instead.
        remedy: String,
    },
    /// A limit on size or memory was passed.
    #[error("{what}: {found} is over the limit of {limit}")]
    Limit {
        /// What was counted.
        what: String,
        /// The count.
        found: u64,
        /// The limit.
        limit: u64,
    },
    /// A defect of this library.
    #[error("internal defect: {0}; please report it")]
    Internal(String),
}

impl Error {
    /// Frozen code of the cause; hundreds group the causes, and the gaps are for new ones.
    /// 140 and 150 are taken by the C interface (buffer too small, no such handle).
    #[must_use]
    pub fn code(&self) -> i32 {
        match self {
            Error::Argument { .. } => 100,
            Error::DuplicateName { .. } => 110,
            Error::UnknownName { .. } => 120,
            Error::Job { .. } => 130,
            Error::Cancelled => 200,
            Error::Io { .. } => 300,
            Error::Format { .. } => 310,
            Error::UnknownFormat { .. } => 320,
            Error::Unsupported { .. } => 330,
            Error::Limit { .. } => 340,
            Error::TooFewPoints { .. } => 400,
            Error::Undetermined { .. } => 410,
            Error::NotConverged { .. } => 420,
            Error::PickOffSurface { .. } => 430,
            Error::EmptyRegion { .. } => 440,
            Error::Construction { .. } => 450,
            Error::Datum { .. } => 460,
            Error::Join { .. } => 470,
            Error::OpenPart { .. } => 480,
            Error::PluginRefused { .. } => 500,
            Error::Plugin { .. } => 510,
            Error::Internal(_) => 900,
        }
    }

    /// Exit status of the command line for this cause (65 bad input, 70 own defect, 74 input/output).
    #[must_use]
    pub fn exit_status(&self) -> u8 {
        match self {
            Error::Io { .. } => 74,
            Error::Internal(_) => 70,
            _ => 65,
        }
    }

    pub(crate) fn argument(
        name: impl Into<String>,
        found: impl ToString,
        allowed: impl Into<String>,
    ) -> Self {
        Error::Argument { name: name.into(), found: found.to_string(), allowed: allowed.into() }
    }

    pub(crate) fn io(path: impl Into<PathBuf>, reason: &std::io::Error) -> Self {
        Error::Io { path: path.into(), reason: reason.to_string() }
    }

    pub(crate) fn format(
        path: impl Into<PathBuf>,
        place: impl Into<String>,
        found: impl Into<String>,
        allowed: impl Into<String>,
    ) -> Self {
        Error::Format {
            path: path.into(),
            place: place.into(),
            found: found.into(),
            allowed: allowed.into(),
        }
    }

    pub(crate) fn undetermined(
        what: impl Into<String>,
        reason: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Error::Undetermined { what: what.into(), reason: reason.into(), remedy: remedy.into() }
    }
}

fn suggestion(nearest: &Option<String>) -> String {
    nearest.as_ref().map(|n| format!("; the nearest is \"{n}\"")).unwrap_or_default()
}
