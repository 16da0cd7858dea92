//! Rules of importers that hold for any format: what is no file of theirs is refused with a reason.

use std::sync::Arc;
use std::time::Duration;

use super::{Found, Kept, found};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::plugin::fitter::Source;
use crate::plugin::import::{Importer, ImporterDescription};

/// An empty file, text and noise under each extension, and a host that wants to stop.
pub(super) fn rules(
    source: &Arc<Source>,
    importers: Vec<ImporterDescription>,
    context: &Context,
) -> Result<Vec<Found>> {
    let folder = tempfile::tempdir().map_err(|e| Error::io(std::env::temp_dir(), &e))?;
    let noise: Vec<u8> =
        (0..4096_u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    let mut all = Vec::new();
    for (index, described) in importers.into_iter().enumerate() {
        let importer = Importer { source: Arc::clone(source), index, described };
        let mut outcome = Kept::Yes(String::new());
        for extension in importer.extensions() {
            for (k, bytes) in [b"".as_slice(), b"no part\n", &noise].into_iter().enumerate() {
                let path = folder.path().join(format!("{k}.{extension}"));
                std::fs::write(&path, bytes).map_err(|e| Error::io(&path, &e))?;
                match importer.import(&path, CHORD_ERROR, Some(context)) {
                    Err(Error::Unsupported { what, .. }) => outcome = better(outcome, what),
                    Err(other) => outcome = Kept::No(other.to_string()),
                    Ok(_) => outcome = Kept::No(format!("it reads a part from {bytes:?}")),
                }
            }
        }
        all.push(found("refuses what is no file of its format", importer.id(), outcome));
        all.push(found("stops when asked", importer.id(), stops(&importer, folder.path())?));
    }
    Ok(all)
}

/// A broken rule is not mended by the next file.
fn better(outcome: Kept, what: String) -> Kept {
    if matches!(outcome, Kept::No(_)) { outcome } else { Kept::Yes(what) }
}

fn stops(importer: &Importer, folder: &std::path::Path) -> Result<Kept> {
    let path = folder.join(format!("0.{}", importer.extensions()[0]));
    let stopped = Context::new(1)?;
    stopped.cancel();
    let begin = std::time::Instant::now();
    Ok(match importer.import(&path, CHORD_ERROR, Some(&stopped)) {
        Ok(_) => Kept::No("it goes on".into()),
        Err(_) if begin.elapsed() > LONG => Kept::No(format!("after {:?}", begin.elapsed())),
        Err(_) => Kept::Yes(String::new()),
    })
}

/// Chord error of the trial, mm.
const CHORD_ERROR: f64 = 0.1;
/// Longest time in which to stop.
const LONG: Duration = Duration::from_secs(5);
