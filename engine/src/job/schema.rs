//! The job file's JSON schema, made from the types that read it.

use super::spec::Job;
use crate::error::{Error, Result};

/// JSON schema (draft 2020-12) of job files, as text.
///
/// # Errors
/// [`Error::Internal`] if it cannot be written out, which would be a defect.
pub fn schema() -> Result<String> {
    serde_json::to_string_pretty(&schemars::schema_for!(Job))
        .map_err(|e| Error::Internal(e.to_string()))
}
