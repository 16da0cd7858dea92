//! The command line: `demo`, `run`, `survey`, `convert`, `plugins`, `schema`; the engine's first customer.

mod bars;
mod convert;
mod plugins;
mod survey;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::context::Context;
use crate::error::{Error, Result};
use crate::fitcheck::Verdict;
use crate::job::{Folder, Job, WriteOptions};
use crate::{report, simulate};

/// Puts a scan into the machine's axes, fits what matters, and checks whether a part will fit.
#[derive(Debug, Parser)]
#[command(name = "fitwright", version, about, after_help = EXIT_HELP)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
    /// Threads to use; 0 for as many as there are cores. Results do not depend on it.
    #[arg(long, global = true, default_value_t = 0)]
    threads: usize,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Writes a made-up machine's scans, a part and a job file, runs the job, prints the summary.
    Demo {
        /// Folder to write into.
        #[arg(long, value_name = "DIR", default_value = "fitwright-demo")]
        out: PathBuf,
    },
    /// Runs a job file.
    Run {
        /// The job file (TOML; see `fitwright schema`).
        #[arg(value_name = "JOB.toml")]
        job: PathBuf,
        /// Folder to write into; default: beside the job file, named after it.
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Also write the first scan in machine coordinates.
        #[arg(long)]
        scan_machine: bool,
        #[command(flatten)]
        plugins: Plugins,
    },
    /// Finds every plane, cylinder, cone, sphere, torus and hole in a scan; writes a page to look at and a
    /// starter job file.
    Survey {
        /// Mesh or bare points: STL, PLY, OBJ, GLB, 3MF, E57 or text points.
        #[arg(value_name = "SCAN")]
        scan: PathBuf,
        /// Folder to write into; default: beside the scan, named after it.
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Unit of the coordinates read: mm, cm, m, in; GLB, 3MF and E57 name their own.
        #[arg(long, value_name = "UNIT", default_value = "mm")]
        unit: String,
        /// Leave out what measures less across, mm.
        #[arg(long, value_name = "MM")]
        smallest: Option<f64>,
    },
    /// Writes a scan or a part as another mesh format, in the same coordinates.
    Convert {
        /// STEP, STL, PLY, OBJ, GLB, 3MF, E57 or text points.
        #[arg(value_name = "FROM")]
        from: PathBuf,
        /// PLY, STL, OBJ, GLB or 3MF, by its extension.
        #[arg(value_name = "TO")]
        to: PathBuf,
        /// Unit of the coordinates read: mm, cm, m, in; STEP, GLB, 3MF and E57 name their own.
        #[arg(long, value_name = "UNIT", default_value = "mm")]
        unit: String,
        /// Largest distance of the mesh from a STEP file's exact surfaces, mm.
        #[arg(long, value_name = "MM", default_value_t = 0.01)]
        chord_error: f64,
        /// Id of a plug-in's importer that is to read FROM as a part.
        #[arg(long, value_name = "ID")]
        reader: Option<String>,
        #[command(flatten)]
        plugins: Plugins,
    },
    /// Plug-ins: fitters of others.
    Plugins {
        #[command(subcommand)]
        command: PluginCommand,
    },
    /// Prints the JSON schema of job files.
    Schema,
}

/// Where plug-ins are, and how they are run.
#[derive(Debug, clap::Args)]
struct Plugins {
    /// Folder of a plug-in, or of several; repeatable. Beside these, the folders in the environment
    /// variable FITWRIGHT_PLUGINS and those that a job file names.
    #[arg(long = "plugins", value_name = "DIR")]
    folders: Vec<PathBuf>,
    /// Id of a plug-in that may run inside this program instead of in a process of its own; repeatable.
    #[arg(long = "trust", value_name = "ID")]
    trusted: Vec<String>,
}

#[derive(Debug, Subcommand)]
enum PluginCommand {
    /// Lists plug-ins, what they fit and where they are, without running any of their code.
    List {
        /// Folders to look in; default those in the environment variable FITWRIGHT_PLUGINS.
        #[arg(value_name = "DIR")]
        folders: Vec<PathBuf>,
    },
    /// Runs a plug-in through the rules of the interface and reports what its author should know.
    Check {
        /// The plug-in's folder.
        #[arg(value_name = "PATH")]
        folder: PathBuf,
    },
}

/// Runs the command line of the process and returns its exit status.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(e) => {
            // Help and version go to standard output and are no failure.
            let status = if e.use_stderr() { USAGE } else { 0 };
            let _ = e.print();
            return ExitCode::from(status);
        }
    };
    match run(&arguments) {
        Ok(status) => ExitCode::from(status),
        Err(e) => {
            eprintln!("fitwright: {e}");
            ExitCode::from(e.exit_status())
        }
    }
}

fn run(arguments: &Arguments) -> Result<u8> {
    match &arguments.command {
        Command::Schema => {
            print(&crate::job::schema()?)?;
            Ok(0)
        }
        Command::Demo { out } => {
            let context = bars::context(arguments.threads)?;
            context.report("scanning the made-up machine", 0.0)?;
            std::fs::create_dir_all(out).map_err(|e| Error::io(out, &e))?;
            context.run(|| simulate::write_demo(out))?;
            let job = out.join(simulate::DEMO_JOB);
            let plugins = Plugins { folders: Vec::new(), trusted: Vec::new() };
            run_job(&job, out, WriteOptions::default(), &plugins, &context)
        }
        Command::Run { job, out, scan_machine, plugins } => {
            let context = bars::context(arguments.threads)?;
            let folder = out.clone().unwrap_or_else(|| beside(job));
            let options = WriteOptions { scan_machine: *scan_machine };
            run_job(job, &folder, options, plugins, &context)
        }
        Command::Survey { scan, out, unit, smallest } => {
            let context = bars::context(arguments.threads)?;
            let folder = out.clone().unwrap_or_else(|| scan.with_extension("survey"));
            survey::run(scan, &folder, unit, *smallest, &context)
        }
        Command::Convert { from, to, unit, chord_error, reader, plugins } => {
            let context = bars::context(arguments.threads)?;
            let reader = reader.as_deref();
            let how = convert::Reading { unit, chord: *chord_error, reader, plugins };
            convert::run(from, to, &how, &context)
        }
        Command::Plugins { command } => plugins::run(command, arguments.threads),
    }
}

/// Runs a job, writes everything, prints the summary; the verdict is the exit status.
fn run_job(
    file: &Path,
    out: &Path,
    options: WriteOptions,
    plugins: &Plugins,
    context: &Context,
) -> Result<u8> {
    let job = Job::read(file)?;
    let (registry, load) = plugins::registry(plugins)?;
    let outcome = job.run_with(&Folder::of(file), &registry, &load, context)?;
    let page = report::html(&outcome, &report::ReportOptions::default())?;
    let written = outcome.write(out, &page, options)?;
    let mut text = report::summary(&outcome);
    text.push_str("\nwritten:\n");
    for path in written {
        text.push_str(&format!("  {}\n", path.display()));
    }
    print(&text)?;
    Ok(match outcome.verdict {
        Verdict::Pass => 0,
        Verdict::Fail => 1,
        Verdict::Undecided => 2,
    })
}

/// Folder beside a job file with the name of the file less its ending.
fn beside(job: &Path) -> PathBuf {
    job.with_extension("out")
}

/// Prints to standard output; a reader that went away is no defect of ours.
fn print(text: &str) -> Result<()> {
    use std::io::Write;
    let mut out = std::io::stdout().lock();
    match writeln!(out, "{text}").and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Error::io("standard output", &e))
        }
        _ => Ok(()),
    }
}

const EXIT_HELP: &str = "Exit status: 0 every check passed, 1 at least one failed, 2 none failed \
                         but at least one is undecided, 64 usage, 65 bad input, 74 input/output, \
                         70 a defect of this program.";

const USAGE: u8 = 64;
