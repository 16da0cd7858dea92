//! The checker: honest plug-ins pass, and each broken rule is found.

use fitwright::plugin::{Trial, TrialReport, try_plugin};
use fitwright_tests::plugins::{self, Interface, hostile};

use super::common::{temporary, worker};

fn trial(folder: &std::path::Path) -> TrialReport {
    let mut trial = Trial::default();
    trial.worker = Some(worker().to_path_buf());
    trial.time_limit = std::time::Duration::from_secs(30);
    try_plugin(folder, &trial).expect("a plug-in that loads")
}

/// Rules that were broken.
fn broken(report: &TrialReport) -> Vec<String> {
    report.findings.iter().filter(|f| f.failed()).map(ToString::to_string).collect()
}

#[test]
fn the_plug_ins_of_this_project_pass() {
    let folder = temporary();
    let stud = plugins::built_here("fitwright-stud", "plugins/stud", folder.path());
    let tube = plugins::built_here("fitwright-tube", "plugins/tube", folder.path());
    for folder in
        plugins::obround(Interface::Today, &[], folder.path()).iter().chain([&stud, &tube])
    {
        let report = trial(folder);
        assert_eq!(broken(&report), [""; 0], "{}", report.id);
        assert!(report.findings.len() > 15, "{report:?}");
    }
    // The README's example brings a reference.
    let found = trial(&stud).findings;
    assert!(found.iter().any(|f| f.rule == "reference fit" && !f.skipped()), "{found:?}");
}

#[test]
fn each_bad_habit_breaks_its_rule() {
    // Names and what the report must say, by the checker's word or the signal that ended it.
    for (name, rule) in [
        ("crash-in-fit", "signal"),
        ("writes-past-buffer", ""),
        ("by-time", "two answers"),
        ("by-count", "two answers"),
        ("leaks", "bytes a call"),
        ("asks-seldom", "every 50 ms"),
        ("nan-number", "no number"),
    ] {
        let folder = temporary();
        let known = plugins::misbehaviours().iter().any(|m| m.name == name);
        assert!(known, "no {name}");
        let Some(plugin) = hostile(name, folder.path()) else { return };
        let report = trial(&plugin);
        let all: Vec<String> = report.findings.iter().map(ToString::to_string).collect();
        assert!(broken(&report).iter().any(|f| f.contains(rule)), "{name}: {all:#?}");
    }
}
