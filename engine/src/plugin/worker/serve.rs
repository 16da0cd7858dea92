//! The worker's own side: one plug-in in a process of its own.

use std::io::{Read, Write};
use std::process::ExitCode;
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};

use super::message::{FitOrder, ImportOrder, Order, PROTOCOL, Report, receive, send};
use super::shared::Mapped;
use crate::context::Context;
use crate::error::Error;
use crate::plugin::answer::Answer;
use crate::plugin::library::Library;
use crate::plugin::manifest::Manifest;

/// Serves the host that started this process; what the program `fitwright-worker` does.
#[must_use]
pub fn serve() -> ExitCode {
    if std::env::args().nth(1).as_deref() != Some(PROTOCOL) {
        eprintln!("fitwright-worker: this is {PROTOCOL}; it is started by the engine, not by hand");
        return ExitCode::from(64);
    }
    match pipes() {
        Ok((orders, reports)) => run(orders, reports),
        Err(e) => {
            eprintln!("fitwright-worker: {e}");
            ExitCode::from(74)
        }
    }
}

type Orders = Box<dyn Read + Send>;
type Reports = Arc<Mutex<Box<dyn Write + Send>>>;

/// Both ends of the talk with the host. What a plug-in prints or reads must not get between: it finds an
/// empty input, and prints to the error output.
#[cfg(unix)]
fn pipes() -> std::io::Result<(Orders, Reports)> {
    use std::fs::File;
    let orders = File::from(rustix::io::dup(rustix::stdio::stdin())?);
    let reports = File::from(rustix::io::dup(rustix::stdio::stdout())?);
    rustix::stdio::dup2_stdin(File::open("/dev/null")?)?;
    rustix::stdio::dup2_stdout(rustix::stdio::stderr())?;
    Ok((Box::new(orders), Arc::new(Mutex::new(Box::new(reports)))))
}

#[cfg(not(unix))]
fn pipes() -> std::io::Result<(Orders, Reports)> {
    Ok((Box::new(std::io::stdin()), Arc::new(Mutex::new(Box::new(std::io::stdout())))))
}

fn run(mut orders: Orders, reports: Reports) -> ExitCode {
    let Ok(Order::Load { folder, memory }) = receive(&mut orders) else {
        return ExitCode::from(70);
    };
    limit(memory);
    let loaded = Manifest::read(&folder).and_then(|m| Library::open(&folder, &m));
    let library = match loaded {
        Ok(library) => library,
        Err(e) => {
            let report = match e {
                Error::PluginRefused { path, reason } => Report::Refused { path, reason },
                other => Report::Refused { path: folder, reason: other.to_string() },
            };
            tell(&reports, &report);
            return ExitCode::from(65);
        }
    };
    let fitters = library.descriptions.clone();
    let importers = library.importer_descriptions.clone();
    tell(&reports, &Report::Ready { version: PROTOCOL.into(), fitters, importers });
    let current: Arc<Mutex<Option<Context>>> = Arc::default();
    let work = listen(orders, current.clone());
    let mut mapped = Mapped::default();
    let mut pool: Option<Context> = None;
    while let Ok(work) = work.recv() {
        let (threads, call) = match work {
            Work::Probe { lowest, highest } => {
                let (state, version) = library.probe(lowest, highest);
                tell(&reports, &Report::Probed { state, version });
                continue;
            }
            Work::Call(threads, call) => (threads, call),
        };
        let answer = match context(&mut pool, threads as usize, &reports) {
            Ok(context) => {
                *lock(&current) = Some(context.clone());
                match call {
                    Call::Fit(order) => fit(&library, &order, &mut mapped, &context),
                    Call::Import(order) => import(&library, &order, &context, &reports),
                }
            }
            Err(e) => fault(e.to_string()),
        };
        *lock(&current) = None;
        tell(&reports, &Report::Answer(Box::new(answer)));
    }
    ExitCode::SUCCESS
}

/// Work in the order in which it comes.
enum Work {
    Probe {
        lowest: u32,
        highest: u32,
    },
    /// On so many threads.
    Call(u32, Call),
}

enum Call {
    Fit(FitOrder),
    Import(ImportOrder),
}

/// Passes work on and cancels the call that runs; the worker ends with its host.
fn listen(mut orders: Orders, current: Arc<Mutex<Option<Context>>>) -> Receiver<Work> {
    let (sender, receiver) = channel();
    std::thread::spawn(move || {
        loop {
            let work = match receive(&mut orders) {
                Ok(Order::Fit(order)) => Work::Call(order.threads, Call::Fit(order)),
                Ok(Order::Import(order)) => Work::Call(order.threads, Call::Import(order)),
                Ok(Order::Probe { lowest, highest }) => Work::Probe { lowest, highest },
                Ok(Order::Cancel) => {
                    if let Some(context) = &*lock(&current) {
                        context.cancel();
                    }
                    continue;
                }
                Ok(Order::Load { .. }) | Err(_) => break,
            };
            if sender.send(work).is_err() {
                break;
            }
        }
        // A plug-in that hangs must not outlive its host.
        std::process::exit(0);
    });
    receiver
}

/// The context of the last call, as it was before, if it has as many threads; else another.
fn context(
    pool: &mut Option<Context>,
    threads: usize,
    reports: &Reports,
) -> crate::error::Result<Context> {
    if let Some(context) = pool.as_ref().filter(|c| c.threads() == threads) {
        context.resume();
        return Ok(context.clone());
    }
    let reports = reports.clone();
    let sink = move |_: &str, done| tell(&reports, &Report::Progress(done));
    Ok(pool.insert(Context::new(threads)?.with_progress(sink)).clone())
}

fn fault(reason: String) -> Answer {
    Answer { fault: Some(reason), ..Answer::default() }
}

fn fit(library: &Library, order: &FitOrder, mapped: &mut Mapped, context: &Context) -> Answer {
    let points = match mapped.points(&order.file, order.count, order.normals) {
        Ok(points) => points,
        Err(e) => return fault(format!("its points could not be mapped: {e}")),
    };
    let fitter = order.fitter as usize;
    if fitter >= library.descriptions.len() {
        return fault(format!("there is no fitter {fitter}"));
    }
    let memory = order.memory as usize;
    let once = || library.call(fitter, &order.question, &points, Some(context.clone()), memory);
    let first = once();
    if order.copies < 2 {
        return first;
    }
    let others: Vec<Answer> = std::thread::scope(|scope| {
        let calls: Vec<_> = (0..order.copies).map(|_| scope.spawn(once)).collect();
        calls.into_iter().filter_map(|c| c.join().ok()).collect()
    });
    let same = |a: &Answer| a.same(&first);
    if others.len() == order.copies as usize && others.iter().all(same) {
        return first;
    }
    fault(format!("its answers differ when it is called from {} threads at once", order.copies))
}

/// The part goes ahead of the answer, piece by piece.
fn import(library: &Library, order: &ImportOrder, context: &Context, reports: &Reports) -> Answer {
    let importer = order.importer as usize;
    if importer >= library.importer_descriptions.len() {
        return fault(format!("there is no importer {importer}"));
    }
    let to = reports.clone();
    let sink = move |part| tell(&to, &Report::Part(Box::new(part)));
    let (answer, rest) = library.import(
        importer,
        &order.path,
        order.chord_error,
        Some(context.clone()),
        order.memory as usize,
        Some(Box::new(sink)),
    );
    tell(reports, &Report::Part(Box::new(rest)));
    answer
}

/// No more memory than this, and no image of the process when it crashes.
#[cfg(unix)]
fn limit(memory: u64) {
    use rustix::process::{Resource, Rlimit, setrlimit};
    let at = |limit| Rlimit { current: Some(limit), maximum: Some(limit) };
    // A system that cannot limit them runs without.
    let _ = setrlimit(Resource::As, at(memory));
    let _ = setrlimit(Resource::Core, at(0));
}

#[cfg(not(unix))]
fn limit(_memory: u64) {}

/// A host that went away is noticed by the thread that listens.
fn tell(reports: &Reports, report: &Report) {
    let _ = send(&mut *lock(reports), report);
}

fn lock<T: ?Sized>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(|e| e.into_inner())
}
