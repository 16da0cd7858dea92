//! Threads, progress and cancelling for long work, handed through every front.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::error::{Error, Result};

/// Progress of long work: the step's name and the fraction done, 0 to 1.
pub type Progress = dyn Fn(&str, f64) + Send + Sync;

/// What long work needs from its host: a thread budget, a progress sink and a way to be stopped.
///
/// Cheap to clone; clones share the cancel flag and the thread pool.
#[derive(Clone)]
pub struct Context {
    pool: Arc<rayon::ThreadPool>,
    cancelled: Arc<AtomicBool>,
    progress: Option<Arc<Progress>>,
}

impl Context {
    /// Context with its own pool of `threads` threads (0: as many as the machine has cores).
    ///
    /// # Errors
    /// [`Error::Argument`] over 1024 threads; [`Error::Internal`] if the system refuses the threads.
    pub fn new(threads: usize) -> Result<Self> {
        if threads > 1024 {
            return Err(Error::argument("threads", threads, "0 to 1024"));
        }
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .thread_name(|i| format!("fitwright-{i}"))
            .build()
            .map_err(|e| Error::Internal(format!("thread pool: {e}")))?;
        Ok(Context {
            pool: Arc::new(pool),
            cancelled: Arc::new(AtomicBool::new(false)),
            progress: None,
        })
    }

    /// The same context with a progress sink; it may be called from any thread.
    #[must_use]
    pub fn with_progress(mut self, sink: impl Fn(&str, f64) + Send + Sync + 'static) -> Self {
        self.progress = Some(Arc::new(sink));
        self
    }

    /// Threads of its pool.
    #[must_use]
    pub fn threads(&self) -> usize {
        self.pool.current_num_threads()
    }

    /// Asks running and later work to stop; sticky, callable from any thread.
    pub fn cancel(&self) {
        self.cancelled.store(true, Ordering::Relaxed);
    }

    /// Takes the wish to stop back, for hosts that go on with the same context.
    pub fn resume(&self) {
        self.cancelled.store(false, Ordering::Relaxed);
    }

    /// Fails when [`Context::cancel`] was called.
    ///
    /// # Errors
    /// [`Error::Cancelled`].
    pub fn check(&self) -> Result<()> {
        if self.cancelled.load(Ordering::Relaxed) { Err(Error::Cancelled) } else { Ok(()) }
    }

    /// Reports progress of a step, then checks for cancelling.
    ///
    /// # Errors
    /// [`Error::Cancelled`].
    pub fn report(&self, step: &str, fraction: f64) -> Result<()> {
        if let Some(sink) = &self.progress {
            sink(step, fraction.clamp(0.0, 1.0));
        }
        self.check()
    }

    /// Runs `work` with this context's threads as the ambient pool of parallel iterators.
    pub fn run<T: Send>(&self, work: impl FnOnce() -> T + Send) -> T {
        self.pool.install(work)
    }
}

impl std::fmt::Debug for Context {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Context")
            .field("threads", &self.pool.current_num_threads())
            .field("cancelled", &self.cancelled)
            .finish_non_exhaustive()
    }
}
