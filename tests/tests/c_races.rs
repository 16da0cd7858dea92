//! Many hosts' threads on one scan under the thread sanitizer, the library built with it.
//!
//! Building takes minutes, so it is asked for: `FITWRIGHT_RACES=1`; the build is kept in the target folder,
//! in `races`. Valgrind's helgrind and drd are no help: they do not understand the atomics and futexes by which
//! Rust synchronises, and report every lock. `RUSTC_BOOTSTRAP` lets a stable compiler instrument; the standard
//! library stays as it is, so `tests/c/futex.c` tells what it does, and `tests/c/races.supp` names the rest.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use fitwright_tests::c::build::{STRICT, compiler, library, succeeded};
use fitwright_tests::c::root;
use fitwright_tests::skipped;

/// Folder of the instrumented library, `None` if it is not asked for or the compiler cannot.
fn instrumented() -> Option<PathBuf> {
    if std::env::var("FITWRIGHT_RACES").is_ok_and(|v| v == "1") {
        let target = library().parent().expect("a target folder").join("races");
        let version = succeeded(Command::new("rustc").arg("-vV"));
        let version = String::from_utf8_lossy(&version.stdout).into_owned();
        let host = version.lines().find_map(|l| l.strip_prefix("host: ")).expect("a host");
        let mut command = Command::new(env!("CARGO"));
        command.current_dir(root()).args([
            "build",
            "--quiet",
            "-p",
            "fitwright-ffi",
            "--target",
            host,
        ]);
        command.arg("--target-dir").arg(&target).env("RUSTC_BOOTSTRAP", "1");
        command.env("RUSTFLAGS", "-Zsanitizer=thread -Cunsafe-allow-abi-mismatch=sanitizer");
        succeeded(&mut command);
        let folder = target.join(host).join("debug");
        std::fs::copy(folder.join("libfitwright.so"), folder.join("libfitwright.so.1"))
            .expect("the name that programs ask for");
        return Some(folder);
    }
    skipped("FITWRIGHT_RACES=1 builds the library for the race checker, which takes minutes");
    None
}

/// The compiler's own runtime of the sanitizer, which its code needs; C compilers bring an older one.
fn runtime() -> Option<PathBuf> {
    let folder = succeeded(Command::new("rustc").args(["--print", "target-libdir"]));
    let folder = PathBuf::from(String::from_utf8_lossy(&folder.stdout).trim());
    let files = std::fs::read_dir(folder).expect("the compiler's libraries");
    let mut files = files.map(|f| f.expect("an entry").path());
    let found = files.find(|f| f.to_string_lossy().ends_with("_rt.tsan.a"));
    if found.is_none() {
        skipped("the Rust compiler came without the thread sanitizer");
    }
    found
}

/// A program of `tests/c` with the sanitizer.
fn program(cc: &str, name: &str, runtime: &Path, library: &Path, into: &Path) -> PathBuf {
    let compile = |name: &str, options: &[&str]| {
        let out = into.join(format!("{name}.o"));
        let mut command = Command::new(cc);
        command.args(["-std=c11", "-g", "-c"]).args(options).args(STRICT);
        command.arg("-I").arg(root().join("include"));
        succeeded(command.arg(root().join(format!("tests/c/{name}.c"))).arg("-o").arg(&out));
        out
    };
    let out = into.join(name);
    let mut command = Command::new(cc);
    command.arg("-rdynamic").arg(compile(name, &["-fsanitize=thread", "-DTHREADS=4"]));
    // Not strict ISO C: a function pointer from dlsym.
    command.arg(compile("futex", &["-Wno-pedantic"]));
    command.arg("-Wl,--whole-archive").arg(runtime).arg("-Wl,--no-whole-archive");
    command.arg("-L").arg(library).arg("-lfitwright");
    command.arg(format!("-Wl,-rpath,{}", library.display()));
    succeeded(command.args(["-lpthread", "-lm", "-ldl", "-lrt", "-lresolv", "-o"]).arg(&out));
    out
}

fn run(program: &Path, argument: &str) -> (Output, String) {
    let suppressions = root().join("tests/c/races.supp");
    let options = format!("suppressions={} exitcode=66", suppressions.display());
    let mut command = Command::new(program);
    // Cargo's own names the folder of the library without the sanitizer.
    command.arg(argument).env("TSAN_OPTIONS", options).env_remove("LD_LIBRARY_PATH");
    let out = command.output().expect("it runs");
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    (out, said)
}

#[test]
fn threads_do_not_race_and_planted_races_are_found() {
    let (Some(cc), Some(library), Some(runtime)) =
        (compiler("CC", "cc"), instrumented(), runtime())
    else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder");
    let races = program(&cc, "races", &runtime, &library, folder.path());
    let (out, said) = run(&races, "none");
    assert!(out.status.success(), "{said}");
    for (planted, where_it_is) in [("host", "count"), ("lent", "fitwright::")] {
        // A race is found if the checker still knows both places: nearly always.
        let found = (0..5).any(|_| {
            let (out, said) = run(&races, planted);
            let named = said.contains("data race") && said.contains(where_it_is);
            out.status.code() == Some(66) && named && said.contains("races.c")
        });
        assert!(found, "the race planted in what is {planted} was not found");
    }
    let threads = program(&cc, "threads", &runtime, &library, folder.path());
    let (out, said) = run(&threads, "1");
    assert!(out.status.success(), "{said}");
}
