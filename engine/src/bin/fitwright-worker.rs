//! The process that a plug-in runs in; started by the engine.

fn main() -> std::process::ExitCode {
    fitwright::plugin::serve()
}
