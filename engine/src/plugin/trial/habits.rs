//! Rules of behaviour: same answers always, many points, stopping when asked, and no memory kept.

use std::time::{Duration, Instant};

use fitwright_plugin_abi as abi;

use super::data::{Cloud, Data};
use super::fits::judged;
use super::{Found, Kept, Subject};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::plugin::answer::Answer;

pub(super) fn rules(subject: &Subject<'_>, data: &Data) -> Vec<Found> {
    let usual = &data.usual;
    let many = usual.grown(MANY);
    let begin = Instant::now();
    let large = subject.call(&many, subject.context, 1);
    let time = begin.elapsed();
    vec![
        subject.found("the same answer again, also with one thread", same(subject, usual)),
        subject.found("the same answer from eight threads at once", together(subject, usual)),
        subject.found("a million points", large_call(subject, &many, large, time)),
        subject.found("stops when asked half way", cancelled(subject, &many, time)),
        subject.found("keeps no memory", leaks(subject, usual)),
    ]
}

fn same(subject: &Subject<'_>, usual: &Cloud) -> Kept {
    let calls = || -> Result<Vec<Answer>> {
        let one = Context::new(1)?;
        let first = subject.call(usual, subject.context, 1)?;
        let again = subject.call(usual, subject.context, 1)?;
        Ok(vec![first, again, subject.call(usual, &one, 1)?])
    };
    match calls() {
        Err(e) => Kept::No(e.to_string()),
        Ok(answers) if answers[1..].iter().all(|a| a.same(&answers[0])) => Kept::Yes(String::new()),
        Ok(_) => Kept::No(
            "the same points gave two answers; take random numbers from the input's seed only, and sum \
             in a fixed order"
                .into(),
        ),
    }
}

fn together(subject: &Subject<'_>, usual: &Cloud) -> Kept {
    match subject.call(usual, subject.context, 8) {
        Err(e) => Kept::No(e.to_string()),
        Ok(Answer { fault: Some(fault), .. }) => Kept::No(fault),
        Ok(_) => Kept::Yes(String::new()),
    }
}

fn large_call(subject: &Subject<'_>, many: &Cloud, answer: Result<Answer>, time: Duration) -> Kept {
    let took = format!("{:.0} ms", time.as_secs_f64() * 1e3);
    match answer {
        Err(e) => Kept::No(e.to_string()),
        Ok(Answer { fault: Some(fault), .. }) => Kept::No(fault),
        Ok(answer) if answer.state == abi::FITW_PLUGIN_OK => match judged(subject, many, &answer) {
            Ok(_) => Kept::Yes(took),
            Err(e) => Kept::No(e.to_string()),
        },
        Ok(answer) => Kept::Yes(format!("{took}, error {}: {}", answer.state, answer.reason)),
    }
}

fn cancelled(subject: &Subject<'_>, many: &Cloud, whole: Duration) -> Kept {
    if whole < SHORT {
        return Kept::NotTried(format!("a million points take {} ms only", whole.as_millis()));
    }
    let Ok(context) = Context::new(subject.context.threads()) else {
        return Kept::NotTried("no threads".into());
    };
    let after = whole / 3;
    let (other, asked) = (context.clone(), Instant::now() + after);
    let canceller = std::thread::spawn(move || {
        std::thread::sleep(after);
        other.cancel();
    });
    let answer = subject.call(many, &context, 1);
    let late = Instant::now().saturating_duration_since(asked);
    // It only sleeps and sets a flag.
    let _ = canceller.join();
    let said = format!("{} ms after it was asked", late.as_millis());
    let stopped = match answer {
        Err(Error::Cancelled) => Ok(()),
        Err(e) => Err(e.to_string()),
        Ok(a) if a.state == abi::FITW_PLUGIN_E_CANCELLED => Ok(()),
        // Quicker than the first call, which also started the worker: it had no need to ask again.
        Ok(_) if late < ASKS => return Kept::NotTried(format!("it ended {said}")),
        Ok(a) => Err(format!("it went on to the end, state {}", a.state)),
    };
    match stopped {
        Ok(()) if late <= LATE => Kept::Yes(said),
        Ok(()) => Kept::No(format!("{said}; ask call->cancelled at least every 50 ms")),
        Err(e) => Kept::No(format!("{e}; ask call->cancelled at least every 50 ms")),
    }
}

/// Resident memory of the worker before and after many calls.
fn leaks(subject: &Subject<'_>, usual: &Cloud) -> Kept {
    let calls = |count: usize| -> Result<Option<u64>> {
        for _ in 0..count {
            subject.call(usual, subject.context, 1)?;
        }
        let processes = subject.workers().map(|w| w.processes()).unwrap_or_default();
        Ok(match processes[..] {
            [process] => resident(process),
            _ => None,
        })
    };
    // In a process of its own: what earlier calls freed would be given to the leak, which then shows nowhere.
    if let Some(workers) = subject.workers() {
        workers.end_idle();
    }
    if let Err(e) = calls(1) {
        return Kept::No(e.to_string());
    }
    let begin = Instant::now();
    if let Err(e) = calls(1) {
        return Kept::No(e.to_string());
    }
    // Slow fitters get fewer calls, down to what still shows a leak of some hundred kilobytes.
    let each = begin.elapsed().as_secs_f64();
    let count = ((PATIENCE / each) as usize).clamp(CALLS.0, CALLS.1);
    // Two spans: a heap that is still warming up grows in the first, a leak in both.
    let span = count / 2;
    let measured = || Ok([calls(count / 4)?, calls(span)?, calls(span)?]);
    match measured() {
        Err(e) => Kept::No(Error::to_string(&e)),
        Ok([Some(before), Some(middle), Some(after)]) => {
            let grown = middle.saturating_sub(before).min(after.saturating_sub(middle));
            let said = format!("{} bytes a call over {span} calls", grown / span as u64);
            if grown <= MOST_KEPT { Kept::Yes(said) } else { Kept::No(said) }
        }
        Ok(_) => Kept::NotTried("the system does not tell a process' memory".into()),
    }
}

/// Resident memory of a process, bytes.
fn resident(process: u32) -> Option<u64> {
    let text = std::fs::read_to_string(format!("/proc/{process}/statm")).ok()?;
    let pages: u64 = text.split_whitespace().nth(1)?.parse().ok()?;
    Some(pages * 4096)
}

/// Points of a large call.
const MANY: usize = 1_000_000;
/// A call shorter than this cannot be stopped half way.
const SHORT: Duration = Duration::from_millis(60);
/// How often a plug-in is to ask.
const ASKS: Duration = Duration::from_millis(50);
/// Time that a plug-in has to stop: 50 ms to ask, and what a busy machine adds.
const LATE: Duration = Duration::from_millis(500);
/// Fewest and most calls that the memory is watched over, and how long they may take, seconds.
const CALLS: (usize, usize) = (20, 200);
const PATIENCE: f64 = 8.0;
/// Bytes over such a span from which on it is a leak: the heap of a worker moves by some hundred pages anyway.
const MOST_KEPT: u64 = 800 << 10;
