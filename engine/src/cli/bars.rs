//! Progress on a terminal; nothing when standard error is piped.

use std::io::IsTerminal;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use crate::context::Context;
use crate::error::Result;

/// Context that shows its progress if someone is looking.
pub(super) fn context(threads: usize) -> Result<Context> {
    let context = Context::new(threads)?;
    if !std::io::stderr().is_terminal() {
        return Ok(context);
    }
    let bar = ProgressBar::new(STEPS);
    if let Ok(style) = ProgressStyle::with_template("{bar:24} {msg}") {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(100));
    Ok(context.with_progress(move |step, fraction| {
        bar.set_message(step.to_string());
        bar.set_position((fraction * STEPS as f64) as u64);
        if step == "done" {
            bar.finish_and_clear();
        }
    }))
}

const STEPS: u64 = 100;
