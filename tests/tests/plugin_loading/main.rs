//! Plug-ins as their users have them: built by the system's compiler or by cargo, loaded from folders.
#![cfg(unix)]

mod answers;
mod common;
mod hostile;
mod jobs;
mod loading;
mod readme;
mod trial;
mod tubes;
