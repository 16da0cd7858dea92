//! The header and the description of the binary interface are those of the source, and only grow.

use fitwright_tests::c::abi::{Abi, Change};
use fitwright_tests::c::header::{LIBRARY, generate};

#[test]
fn header_and_description_are_those_of_the_source() {
    LIBRARY.check("c_header");
}

/// The header with one place changed, as the gate sees it.
fn mutated(from: &str, to: &str) -> Change {
    let text = generate(&LIBRARY);
    assert!(text.contains(from), "the header has no {from:?}");
    let read = |text: &str| Abi::read(text).expect("a header of the known form").describe();
    Change::between(&read(&text), &read(&text.replacen(from, to, 1)))
}

fn breaks(change: &Change, what: &str) {
    let named = change.broken.iter().any(|b| b.contains(what));
    assert!(named, "{what} is not among {:?}", change.broken);
    for minor in [0, 1] {
        assert!(change.refusal((1, 0), (1, minor)).is_some());
    }
    assert_eq!(change.refusal((1, 0), (2, 0)), None);
}

#[test]
fn the_gate_catches_a_changed_struct() {
    // A field of another size, a field of another type, one more in the middle, one less.
    let wider = mutated("    int32_t verdict;\n", "    int64_t verdict;\n");
    breaks(&wider, "changed: struct fitw_finding");
    let other = mutated("    double noise_mm;\n", "    int64_t noise_mm;\n");
    breaks(&other, "changed: struct fitw_points");
    let inner = mutated("    double rms_mm;\n", "    double more;\n    double rms_mm;\n");
    breaks(&inner, "changed: struct fitw_quality");
    let less = mutated("    double translation_mm[3];\n", "");
    breaks(&less, "changed: struct fitw_pose");
    // What carries a pose has moved too.
    breaks(&less, "changed: struct fitw_scene_scan");
}

#[test]
fn the_gate_catches_a_removed_or_changed_function() {
    let text = generate(&LIBRARY);
    let at = text.find("fitw_status fitw_scan_release(").expect("the function");
    let end = at + text[at..].find(';').expect("its end") + 1;
    let removed = mutated(&text[at..end], "");
    breaks(&removed, "removed: function fitw_scan_release");
    let changed = mutated(&text[at..end], "fitw_status fitw_scan_release(const fitw_scan *scan);");
    breaks(&changed, "changed: function fitw_scan_release");
}

#[test]
fn the_gate_catches_a_renumbered_constant_and_a_changed_callback() {
    let renumbered = mutated("#define FITW_KIND_CONE 60", "#define FITW_KIND_CONE 61");
    breaks(&renumbered, "changed: constant FITW_KIND_CONE");
    let removed = mutated("#define FITW_E_DATUM 460", "");
    breaks(&removed, "removed: constant FITW_E_DATUM");
    let callback =
        mutated("(*fitw_progress_fn)(void *user,", "(*fitw_progress_fn)(const void *user,");
    breaks(&callback, "changed: callback fitw_progress_fn");
    let alias = mutated("typedef int32_t fitw_status;", "typedef int64_t fitw_status;");
    breaks(&alias, "changed: alias fitw_status");
}

#[test]
fn what_is_added_needs_the_minor_version() {
    let added =
        mutated("#define FITW_KIND_CONE 60", "#define FITW_KIND_CONE 60\n#define FITW_KIND_NEW 80");
    let grown = mutated(
        "    double effective_points;\n",
        "    double effective_points;\n    double more;\n",
    );
    for change in [added, grown] {
        assert!(change.broken.is_empty() && change.added.len() == 1, "{change:?}");
        assert!(change.refusal((1, 0), (1, 0)).is_some());
        assert_eq!(change.refusal((1, 0), (1, 1)), None);
    }
    // Array elements have no size of their own: they may not grow.
    let element = mutated("    int32_t seat;\n", "    int32_t seat;\n    double more;\n");
    breaks(&element, "changed: struct fitw_mount");
}
