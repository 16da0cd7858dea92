//! Plug-ins in processes of their own, the host's side.
//!
//! One process a plug-in and a call at a time; processes are kept for the next call. This contains
//! accidents (a crash, a hang, memory), not malice: a worker has the rights of its user.

mod message;
mod orders;
mod serve;
mod shared;

use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

pub use serve::serve;

use self::message::{FitOrder, ImportOrder, Order, PROTOCOL, Report, receive, send};
use self::orders::{Orders, way};
use self::shared::Shared;
use super::answer::{Answer, Description, Question};
use super::import::{ImporterDescription, RawPart};
use super::library::Points;
use crate::context::Context;
use crate::error::{Error, Result};

/// Limits of a plug-in's workers.
#[derive(Debug, Clone)]
pub(super) struct Limits {
    /// The program `fitwright-worker`.
    pub(super) program: PathBuf,
    /// Longest call.
    pub(super) time: Duration,
    /// Most memory of a worker, bytes.
    pub(super) memory: u64,
    /// Bytes that a call may take from the host's memory functions.
    pub(super) call_memory: usize,
}

/// The workers of one plug-in.
pub(super) struct Workers {
    id: String,
    folder: PathBuf,
    limits: Limits,
    idle: Mutex<Vec<Worker>>,
}

impl Workers {
    /// Starts a first worker and takes the plug-in's fitters and importers from it.
    pub(super) fn start(id: &str, folder: &Path, limits: Limits) -> Result<(Self, Offer)> {
        let workers =
            Workers { id: id.into(), folder: folder.into(), limits, idle: Mutex::default() };
        let (worker, offer) = workers.another()?;
        workers.keep(worker);
        Ok((workers, offer))
    }

    /// Runs one call of a fitter.
    pub(super) fn call(
        &self,
        fitter: &str,
        index: usize,
        question: &Question,
        points: &Points<'_>,
        context: Option<&Context>,
    ) -> Result<Answer> {
        self.call_copies(fitter, index, question, points, context, 1)
    }

    /// Runs one call, or the same on several threads of one worker at once.
    pub(super) fn call_copies(
        &self,
        fitter: &str,
        index: usize,
        question: &Question,
        points: &Points<'_>,
        context: Option<&Context>,
        copies: u32,
    ) -> Result<Answer> {
        let mut worker = self.worker()?;
        let filled = worker.shared.fill(points);
        filled.map_err(|e| died(fitter, format!("its points: {e}")))?;
        let order = FitOrder {
            fitter: index as u32,
            question: question.clone(),
            file: worker.shared.path(),
            count: (points.points.len() / 3) as u64,
            normals: points.normals.is_some(),
            threads: threads(context),
            memory: self.limits.call_memory as u64,
            copies,
        };
        self.order(worker, &Order::Fit(order), fitter, context, &mut RawPart::default())
    }

    /// Runs one call of an importer.
    pub(super) fn import(
        &self,
        importer: &str,
        index: usize,
        path: &str,
        chord_error: f64,
        context: Option<&Context>,
    ) -> Result<(Answer, RawPart)> {
        let order = ImportOrder {
            importer: index as u32,
            path: path.into(),
            chord_error,
            threads: threads(context),
            memory: self.limits.call_memory as u64,
        };
        let mut part = RawPart::default();
        let worker = self.worker()?;
        let answer = self.order(worker, &Order::Import(order), importer, context, &mut part)?;
        Ok((answer, part))
    }

    /// Gives a worker an order and takes its answer, and the part that comes with it.
    fn order(
        &self,
        mut worker: Worker,
        order: &Order,
        who: &str,
        context: Option<&Context>,
        part: &mut RawPart,
    ) -> Result<Answer> {
        if send(&mut worker.orders, order).is_err() {
            return Err(died(who, worker.obituary()));
        }
        match self.wait(&mut worker, who, context, part) {
            Ok(answer) => {
                self.keep(worker);
                Ok(answer)
            }
            Err(Fate::Cancelled) => Err(Error::Cancelled),
            Err(Fate::Died) => Err(died(who, worker.obituary())),
            Err(Fate::Hung) => {
                let seconds = self.limits.time.as_secs_f64();
                Err(died(who, format!("took longer than {seconds} s and was ended")))
            }
            Err(Fate::Greedy(reason)) => Err(died(who, reason)),
        }
    }

    /// Waits for an answer, passing progress and cancelling on; a worker that does not stop is ended when
    /// it is dropped.
    fn wait(
        &self,
        worker: &mut Worker,
        who: &str,
        context: Option<&Context>,
        part: &mut RawPart,
    ) -> std::result::Result<Answer, Fate> {
        let end = Instant::now() + self.limits.time;
        let mut stopping: Option<Instant> = None;
        loop {
            match worker.reports.recv_timeout(PATIENCE) {
                Ok(Report::Answer(answer)) => return Ok(*answer),
                Ok(Report::Progress(done)) => {
                    // Whether to stop is asked below.
                    let _ = context.map(|c| c.report(who, done));
                }
                Ok(Report::Part(more)) => part.append(*more).map_err(Fate::Greedy)?,
                Ok(Report::Ready { .. } | Report::Refused { .. } | Report::Probed { .. })
                | Err(RecvTimeoutError::Disconnected) => return Err(Fate::Died),
                Err(RecvTimeoutError::Timeout) => {}
            }
            let now = Instant::now();
            if stopping.is_none() && context.is_some_and(|c| c.check().is_err()) {
                stopping = Some(now + GRACE);
                let _ = send(&mut worker.orders, &Order::Cancel);
            }
            match stopping {
                Some(limit) if now > limit => return Err(Fate::Cancelled),
                None if now > end => return Err(Fate::Hung),
                _ => {}
            }
        }
    }

    /// State and version that the plug-in's entry function answers to a host of other versions.
    pub(super) fn probe(&self, lowest: u32, highest: u32) -> Result<(i32, u32)> {
        let died = |reason: String| Error::Plugin {
            plugin: self.id.clone(),
            place: "entry function".into(),
            reason,
        };
        let mut worker = self.another()?.0;
        // Whether it arrives shows in the answer.
        let _ = send(&mut worker.orders, &Order::Probe { lowest, highest });
        match worker.reports.recv_timeout(LOADING) {
            Ok(Report::Probed { state, version }) => Ok((state, version)),
            Err(RecvTimeoutError::Timeout) => Err(died("does not return".into())),
            _ => Err(died(worker.obituary())),
        }
    }

    /// The identifiers of the processes that wait for work.
    pub(super) fn processes(&self) -> Vec<u32> {
        self.lock().iter().map(|w| w.child.id()).collect()
    }

    /// Ends the processes that wait for work: the next call starts in a new one.
    pub(super) fn end_idle(&self) {
        self.lock().clear();
    }

    fn worker(&self) -> Result<Worker> {
        let waiting = self.lock().pop();
        waiting.map_or_else(|| Ok(self.another()?.0), Ok)
    }

    fn keep(&self, worker: Worker) {
        let mut idle = self.lock();
        if idle.len() < MOST_IDLE {
            idle.push(worker);
        }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Vec<Worker>> {
        self.idle.lock().unwrap_or_else(|e| e.into_inner())
    }

    fn another(&self) -> Result<(Worker, Offer)> {
        let refused = |reason: String| Error::PluginRefused { path: self.folder.clone(), reason };
        let program = &self.limits.program;
        let mut worker = Worker::spawn(program).map_err(|e| {
            let remedy = "install fitwright-worker beside the program, or say where it is";
            refused(format!("its worker {} does not start: {e}; {remedy}", program.display()))
        })?;
        let order = Order::Load { folder: self.folder.clone(), memory: self.limits.memory };
        if send(&mut worker.orders, &order).is_err() {
            return Err(refused(format!("its worker ended at once: {}", worker.obituary())));
        }
        match worker.reports.recv_timeout(LOADING) {
            Ok(Report::Ready { version, fitters, importers }) if version == PROTOCOL => {
                Ok((worker, Offer { fitters, importers }))
            }
            Ok(Report::Ready { version, .. }) => {
                Err(refused(format!("its worker is {version}, the engine {PROTOCOL}")))
            }
            Ok(Report::Refused { path, reason }) => Err(Error::PluginRefused { path, reason }),
            Ok(_) => Err(refused("its worker spoke out of turn".into())),
            Err(RecvTimeoutError::Timeout) => {
                let seconds = LOADING.as_secs();
                Err(refused(format!("loading \"{}\" took longer than {seconds} s", self.id)))
            }
            Err(RecvTimeoutError::Disconnected) => {
                Err(refused(format!("loading it, its code {}", worker.obituary())))
            }
        }
    }
}

/// What a worker says that its plug-in has.
pub(super) struct Offer {
    pub(super) fitters: Vec<Description>,
    pub(super) importers: Vec<ImporterDescription>,
}

/// Why there is no answer.
enum Fate {
    Cancelled,
    Died,
    Hung,
    Greedy(String),
}

fn died(who: &str, reason: String) -> Error {
    Error::Plugin { plugin: who.into(), place: "worker".into(), reason }
}

fn threads(context: Option<&Context>) -> u32 {
    context.map_or_else(rayon::current_num_threads, Context::threads) as u32
}

/// A process; ended when dropped.
struct Worker {
    child: Child,
    orders: Orders,
    reports: Receiver<Report>,
    shared: Shared,
    said: Arc<Mutex<Vec<u8>>>,
}

impl Worker {
    fn spawn(program: &Path) -> std::io::Result<Self> {
        let shared = Shared::new()?;
        let (orders, theirs) = way()?;
        let mut child = Command::new(program)
            .arg(PROTOCOL)
            .stdin(theirs)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()?;
        let (Some(output), Some(errors)) = (child.stdout.take(), child.stderr.take()) else {
            return Err(std::io::Error::other("no pipes"));
        };
        let (sender, reports) = channel();
        std::thread::spawn(move || {
            let mut output = BufReader::new(output);
            while let Ok(report) = receive(&mut output) {
                if sender.send(report).is_err() {
                    break;
                }
            }
        });
        let said = Arc::default();
        listen(errors, Arc::clone(&said));
        Ok(Worker { child, orders, reports, shared, said })
    }

    /// How it ended, and its last words.
    fn obituary(&mut self) -> String {
        // Its pipes are closed, or it would not be asked; it may take a moment to be gone.
        let end = Instant::now() + GRACE;
        let status = loop {
            match self.child.try_wait() {
                Ok(Some(status)) => break Some(status),
                Ok(None) if Instant::now() < end => std::thread::sleep(Duration::from_millis(5)),
                _ => break None,
            }
        };
        let how = status.map_or_else(|| "closed its connection".into(), how);
        let said = self.said.lock().unwrap_or_else(|e| e.into_inner());
        let said = String::from_utf8_lossy(&said);
        match said.lines().rfind(|l| !l.trim().is_empty()) {
            Some(last) => format!("{how}; its last words: {}", last.trim()),
            None => how,
        }
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Keeps the end of what a worker prints.
fn listen(mut errors: ChildStderr, said: Arc<Mutex<Vec<u8>>>) {
    std::thread::spawn(move || {
        let mut buffer = [0; 4096];
        while let Ok(count @ 1..) = errors.read(&mut buffer) {
            let mut said = said.lock().unwrap_or_else(|e| e.into_inner());
            said.extend_from_slice(&buffer[..count]);
            let over = said.len().saturating_sub(KEPT);
            said.drain(..over);
        }
    });
}

#[cfg(unix)]
fn how(status: std::process::ExitStatus) -> String {
    use std::os::unix::process::ExitStatusExt;
    match (status.signal(), status.code()) {
        (Some(signal), _) => format!("crashed (signal {signal}{})", name(signal)),
        (None, Some(code)) => format!("ended its process (exit status {code})"),
        (None, None) => "ended".into(),
    }
}

#[cfg(unix)]
fn name(signal: i32) -> &'static str {
    match signal {
        4 => ", illegal instruction",
        6 => ", abort",
        7 => ", bus error",
        8 => ", arithmetic",
        9 => ", killed",
        11 => ", segmentation fault",
        _ => "",
    }
}

#[cfg(not(unix))]
fn how(status: std::process::ExitStatus) -> String {
    format!("ended ({status})")
}

/// Time between looks at the clock and at the host's wish to stop.
const PATIENCE: Duration = Duration::from_millis(10);
/// Time that a worker has to stop.
const GRACE: Duration = Duration::from_secs(2);
/// Time that a plug-in has to load.
const LOADING: Duration = Duration::from_secs(5);
/// Most processes that are kept for the next call.
const MOST_IDLE: usize = 4;
/// Last words that are kept, bytes.
const KEPT: usize = 4096;
