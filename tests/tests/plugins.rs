//! Plug-ins in C and Rust in a host of C that shares nothing with the engine: what they find, versions that
//! meet, and that the hostile ones do the harm they are meant to do.

use std::os::unix::process::ExitStatusExt as _;
use std::path::Path;
use std::process::{Command, Output};

use fitwright_tests::c::build::{compiler, succeeded, tool};
use fitwright_tests::c::root;
use fitwright_tests::plugins::{Interface, ball, host, hostile, misbehaviours, obround};
use fitwright_tests::skipped;

/// Signals.
const ABORT: i32 = 6;
const SEGV: i32 = 11;
const ALARM: i32 = 14;

const VERSIONS: [Interface; 2] = [Interface::First, Interface::Today];

fn stdout(out: &Output) -> String {
    String::from_utf8_lossy(&out.stdout).into_owned()
}

#[test]
fn the_obround_fitter_finds_slots_as_well_as_it_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(plugin) = obround(Interface::Today, &[], folder.path()) else { return };
    let Some(host) = host("obround.c", Interface::Today, &[], folder.path()) else { return };
    let out = succeeded(Command::new(host).arg(plugin.join("libobround.so")).arg("60"));
    assert!(stdout(&out).contains("obround: ok"), "{out:?}");
}

#[test]
fn plugins_in_c_and_hosts_of_1_0_and_of_today_meet() {
    let folder = tempfile::tempdir().expect("a folder");
    for of_host in VERSIONS {
        let Some(host) = host("obround.c", of_host, &[], folder.path()) else { return };
        for of_plugin in VERSIONS {
            let into = tempfile::tempdir().expect("a folder");
            let Some(plugin) = obround(of_plugin, &[], into.path()) else { return };
            let out = succeeded(Command::new(&host).arg(plugin.join("libobround.so")).arg("3"));
            assert!(stdout(&out).contains("obround: ok"), "{of_plugin:?} in {of_host:?}: {out:?}");
        }
    }
}

#[test]
fn a_plugin_in_rust_of_today_works_in_hosts_of_1_0_and_of_today() {
    let folder = tempfile::tempdir().expect("a folder");
    let plugin = ball(folder.path());
    // The resolution that the host tells since 1.1.
    for (of_host, resolution) in [(Interface::First, "0"), (Interface::Today, "0.75")] {
        let Some(host) = host("ball.c", of_host, &[], folder.path()) else { return };
        let library = plugin.join("libfitwright_test_ball.so");
        let out = succeeded(Command::new(host).arg(library).arg(resolution));
        assert!(stdout(&out).contains("ball: ok"), "{of_host:?}: {out:?}");
    }
}

#[test]
fn a_plugin_exports_its_entry_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(plugin) = obround(Interface::Today, &[], folder.path()) else { return };
    if !tool("nm") {
        return;
    }
    let library = plugin.join("libobround.so");
    let out = succeeded(Command::new("nm").args(["-D", "--defined-only"]).arg(library));
    let out = stdout(&out);
    let names: Vec<&str> = out.lines().filter_map(|l| l.split(' ').next_back()).collect();
    assert_eq!(names, [fitwright_plugin_abi::FITW_PLUGIN_ENTRY]);
}

#[test]
fn the_obround_fitter_runs_clean_under_sanitizers() {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(cc) = compiler("CC", "cc") else { return };
    let flags = ["-fsanitize=address,undefined", "-fno-sanitize-recover=all"];
    let probe = folder.path().join("probe.c");
    std::fs::write(&probe, "int main(void) { return 0; }\n").expect("a file");
    let mut command = Command::new(&cc);
    command.args(flags).arg(&probe).arg("-o").arg(folder.path().join("probe"));
    if !command.output().is_ok_and(|o| o.status.success()) {
        skipped(&format!("{cc} has no sanitizers"));
        return;
    }
    let Some(plugin) = obround(Interface::Today, &flags, folder.path()) else { return };
    let Some(host) = host("obround.c", Interface::Today, &flags, folder.path()) else { return };
    let mut command = Command::new(host);
    // The library stays loaded, so what it holds is not lost.
    let out = succeeded(command.arg(plugin.join("libobround.so")).arg("1"));
    assert!(stdout(&out).contains("obround: ok"), "{out:?}");
}

#[test]
fn the_makefile_builds_the_obround_plugin() {
    if !tool("make") || compiler("CC", "cc").is_none() {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    // As far from the header as in the repository.
    let home = folder.path().join("plugins/obround-c");
    std::fs::create_dir_all(&home).expect("a folder");
    std::os::unix::fs::symlink(
        root().join("include").canonicalize().expect("include"),
        folder.path().join("include"),
    )
    .expect("a link");
    for file in ["Makefile", "obround.c", "slot.h"] {
        std::fs::copy(root().join("plugins/obround-c").join(file), home.join(file))
            .expect("a copy");
    }
    succeeded(Command::new("make").arg("-C").arg(&home));
    assert!(home.join("libobround.so").exists());
}

#[test]
fn every_hostile_plugin_compiles() {
    let folder = tempfile::tempdir().expect("a folder");
    let all = misbehaviours();
    let mut names: Vec<&str> = all.iter().map(|m| m.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    assert!(names.len() == all.len() && all.len() > 90, "{} of {}", names.len(), all.len());
    for name in names {
        let Some(built) = hostile(name, folder.path()) else { return };
        assert!(
            built.join("libhostile.so").exists() && built.join("fitwright-plugin.toml").exists()
        );
    }
}

/// Runs a hostile plug-in with nothing that holds it.
fn loose(name: &str, host: &Path, folder: &Path) -> Option<Output> {
    let plugin = hostile(name, folder)?;
    Some(run(&plugin, name, host))
}

fn run(plugin: &Path, name: &str, host: &Path) -> Output {
    let mut command = Command::new(host);
    command.arg(plugin.join("libhostile.so")).arg(format!("hostile.{name}-ball"));
    command.output().expect("it runs")
}

/// What the versions' tests stand on: a host's tables end where its struct_size says.
#[test]
fn reading_beyond_what_a_host_of_1_0_has_crashes() {
    let folder = tempfile::tempdir().expect("a folder");
    let name = "reads-beyond-input";
    let Some(plugin) = hostile(name, folder.path()) else { return };
    for (of_host, signal) in [(Interface::First, Some(SEGV)), (Interface::Today, None)] {
        let Some(host) = host("hostile.c", of_host, &[], folder.path()) else { return };
        let out = run(&plugin, name, &host);
        assert_eq!(out.status.signal(), signal, "{of_host:?}: {out:?}");
    }
}

/// The engine's tests prove something only if these do what they say.
#[test]
fn hostile_plugins_do_the_harm_they_are_meant_to_do() {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(host) = host("hostile.c", Interface::Today, &[], folder.path()) else { return };
    let signals = [
        ("crash-in-entry", SEGV),
        ("crash-in-fit", SEGV),
        ("crash-after-answer", SEGV),
        ("stack-overflow", SEGV),
        ("abort-in-fit", ABORT),
        ("throws-exception", ABORT),
        ("throws-number", ABORT),
        ("hang-in-entry", ALARM),
        ("hang-in-fit", ALARM),
        ("ignores-cancel", ALARM),
        ("endless-memory", ALARM),
    ];
    for (name, signal) in signals {
        let Some(out) = loose(name, &host, folder.path()) else { return };
        assert_eq!(out.status.signal(), Some(signal), "{name}: {out:?}");
    }
    for name in ["exit-in-entry", "exit-in-fit"] {
        let Some(out) = loose(name, &host, folder.path()) else { return };
        assert!(out.status.success() && !stdout(&out).contains("state"), "{name}: {out:?}");
    }
    // Their answers are right but for one thing; an honest answer has the radius 20, give or take its box.
    let told = |name: &str| loose(name, &host, folder.path()).map(|out| stdout(&out));
    let Some(printed) = told("prints") else { return };
    assert!(printed.contains("line 999") && printed.contains("state 0"), "{printed}");
    let Some(changed) = told("writes-input") else { return };
    assert!(changed.contains("points changed"), "{changed}");
    for name in ["by-count", "by-time"] {
        let Some(text) = told(name) else { return };
        let words: Vec<&str> = text.split_whitespace().collect();
        assert_eq!((words[0], words[2], words[4]), ("state", "radius", "again"), "{name}: {text}");
        let (one, two): (f64, f64) =
            (words[3].parse().expect("a radius"), words[5].parse().expect("a radius"));
        assert!(one != two && (one - 20.0).abs() < 1.0, "{name}: {text}");
    }
}
