//! The command line `fitwright`.

fn main() -> std::process::ExitCode {
    fitwright::cli::main()
}
