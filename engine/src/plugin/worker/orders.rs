//! The way to a worker. Writing to one that is gone is an error, not a signal: a host in another language
//! need not ignore SIGPIPE, and would end.

#[cfg(unix)]
use std::io::Write;
use std::process::Stdio;

/// Our end.
#[cfg(unix)]
pub(super) struct Orders(std::os::unix::net::UnixStream);

/// Both ends; the worker's is its standard input.
#[cfg(unix)]
pub(super) fn way() -> std::io::Result<(Orders, Stdio)> {
    let (own, theirs) = std::os::unix::net::UnixStream::pair()?;
    Ok((Orders(own), std::os::fd::OwnedFd::from(theirs).into()))
}

#[cfg(unix)]
impl Write for Orders {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        Ok(rustix::net::send(&self.0, bytes, QUIET)?)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[cfg(all(unix, not(target_vendor = "apple")))]
const QUIET: rustix::net::SendFlags = rustix::net::SendFlags::NOSIGNAL;
/// There the flag is missing, and hosts ignore the signal.
#[cfg(target_vendor = "apple")]
const QUIET: rustix::net::SendFlags = rustix::net::SendFlags::empty();

/// Our end.
#[cfg(not(unix))]
pub(super) type Orders = std::io::PipeWriter;

/// Both ends; the worker's is its standard input.
#[cfg(not(unix))]
pub(super) fn way() -> std::io::Result<(Orders, Stdio)> {
    let (theirs, own) = std::io::pipe()?;
    Ok((own, theirs.into()))
}
