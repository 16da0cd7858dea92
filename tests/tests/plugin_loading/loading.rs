//! What is loaded, what is refused and why, and that listing runs no code.

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;

use fitwright::Error;
use fitwright::plugin::{Registry, manifests};
use fitwright_tests::plugins::{self, Interface};

use super::common::{options, registry, temporary};

/// Why the plug-in of a folder is refused.
fn refusal(folder: &Path) -> String {
    let mut registry = Registry::new();
    match registry.load(folder, &options(&[])) {
        Ok(0) => {}
        Ok(_) => panic!("{} was loaded", folder.display()),
        Err(e) => return e.to_string(),
    }
    assert_eq!(registry.fitters().len(), 7, "the built-in ones only");
    registry.refused()[0].reason.to_string()
}

fn mode(path: &Path, mode: u32) {
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("rights");
}

#[test]
fn what_others_may_write_to_is_refused_with_the_remedy() {
    let folder = temporary();
    let plugin = plugins::ball(folder.path());
    let library = plugin.join("libfitwright_test_ball.so");
    for path in [&plugin, &library, &plugin.join("fitwright-plugin.toml")] {
        let right = if path == &plugin || path == &library { 0o755 } else { 0o644 };
        for wrong in [right | 0o020, right | 0o002] {
            mode(path, wrong);
            let reason = refusal(&plugin);
            assert!(reason.contains("chmod go-w"), "{reason}");
            assert!(
                reason.contains(&path.file_name().expect("a name").display().to_string()),
                "{reason}"
            );
        }
        mode(path, right);
    }
    registry(&plugin, &[]);
    // Nor a folder of plug-ins that others may add to.
    mode(folder.path(), 0o777);
    let reason = refusal(folder.path());
    assert!(reason.contains("chmod go-w"), "{reason}");
}

#[test]
fn a_manifest_that_is_wrong_names_the_key() {
    let folder = temporary();
    let plugin = plugins::ball(folder.path());
    let file = plugin.join("fitwright-plugin.toml");
    let good = std::fs::read_to_string(&file).expect("the manifest");
    let with = |from: &str, to: &str| {
        assert!(good.contains(from), "{from} is not in {good}");
        std::fs::write(&file, good.replace(from, to)).expect("a manifest");
        refusal(&plugin)
    };
    assert!(with("id = \"test.balls\"", "id = \"balls\"").contains("vendor.name"));
    assert!(with("id = \"test.balls\"", "id = \"builtin.balls\"").contains("engine's own"));
    assert!(with("\"test.ball\"", "\"other.ball\"").contains("must begin with \"test.\""));
    assert!(with("\"test.ball\"", "\"test.hosted-ball\"").contains("twice"));
    assert!(with("lowest = \"1.0\"", "lowest = \"one\"").contains("write it as \"1.0\""));
    let newer = with("lowest = \"1.0\", highest = \"1.2\"", "lowest = \"2.0\", highest = \"2.4\"");
    for version in ["2.0", "2.4", "1.0", "1.2"] {
        assert!(newer.contains(version), "{newer}");
    }
    let away = with("libfitwright_test_ball.so", "../libfitwright_test_ball.so");
    assert!(away.contains("beside the manifest"), "{away}");
    assert!(with("libfitwright_test_ball.so", "none.so").contains("none.so"));
    assert!(with("title", "titel").contains("titel"));
    std::fs::write(&file, "x".repeat(70_000)).expect("a manifest");
    assert!(refusal(&plugin).contains("bytes"));
}

#[test]
fn a_library_that_is_none_is_refused() {
    let folder = temporary();
    let plugin = plugins::ball(folder.path());
    let library = plugin.join("libfitwright_test_ball.so");
    let whole = std::fs::read(&library).expect("the library");
    // Of a file cut later only what is not loaded may be missing.
    for cut in [0, 100, 3000] {
        std::fs::write(&library, &whole[..cut]).expect("a file");
        // The system's words, or what became of the worker that tried.
        let reason = refusal(&plugin);
        assert!(reason.contains("load") && reason.contains("/ball"), "{reason}");
    }
}

#[test]
fn two_of_one_id_are_refused_with_both_places() {
    let (first, second) = (temporary(), temporary());
    let (a, b) = (plugins::ball(first.path()), plugins::ball(second.path()));
    let mut registry = registry(&a, &[]);
    assert_eq!(registry.load(&b, &options(&[])), Ok(0));
    let reason = registry.refused()[0].reason.to_string();
    let path = |p: &Path| p.canonicalize().expect("a path").display().to_string();
    assert!(reason.contains(&path(&a)) && reason.contains(&path(&b)), "{reason}");
    // The same folder again is no twin.
    assert_eq!(registry.load(&a, &options(&[])), Ok(0));
    assert_eq!(registry.refused().len(), 1);
}

#[test]
fn one_bad_plug_in_does_not_keep_the_others_out_and_its_fitter_tells_why() {
    let folder = temporary();
    mode(folder.path(), 0o755);
    let Some(bad) = plugins::obround(Interface::Today, &[], folder.path()) else { return };
    let _good = plugins::ball(folder.path());
    mode(&bad, 0o777);
    let registry = {
        let mut registry = Registry::new();
        assert_eq!(registry.load(folder.path(), &options(&[])), Ok(1));
        registry
    };
    assert!(registry.fitter("test.ball").is_ok());
    let error = registry.fitter("fitwright.obround").err().expect("an error");
    assert!(matches!(&error, Error::PluginRefused { .. }), "{error}");
    assert_eq!(error.code(), 500);
    let unknown = registry.fitter("acme.nothing").err().expect("an error");
    assert!(matches!(unknown, Error::UnknownName { .. }), "{unknown}");
}

#[test]
fn listing_runs_none_of_its_code() {
    let folder = temporary();
    // Ends the process as soon as its library is opened.
    let source = folder.path().join("ends.c");
    std::fs::write(&source, "#include <stdlib.h>\nextern int unused;\n__attribute__((constructor)) static void now(void) { _Exit(3); }\nint unused;\n")
        .expect("a source");
    let manifest = "id = \"test.ends\"\ntitle = \"Ends\"\nversion = \"0.1.0\"\nlicence = \"MIT\"\n\
                    interface = { lowest = \"1.0\", highest = \"1.2\" }\nfitters = [\"test.end\"]\n\
                    [library]\nlinux = \"libends.so\"\nmacos = \"libends.so\"\n";
    let plugin = plugins::Plugin {
        source,
        options: vec![],
        manifest: manifest.into(),
        file: "libends.so".into(),
    };
    let Some(built) = plugins::build(&plugin, "ends", Interface::Today, folder.path()) else {
        return;
    };
    let found = manifests(&built).expect("a folder");
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].1.as_ref().expect("a manifest").fitters, ["test.end"]);
    // And loading does, in a worker: the process that ends is not this one.
    let reason = refusal(&built);
    assert!(reason.contains("exit status 3"), "{reason}");
}

#[test]
fn a_worker_that_is_not_there_or_another_program_is_told() {
    let folder = temporary();
    let plugin = plugins::ball(folder.path());
    let with = |program: &str| {
        let mut options = options(&[]);
        options.worker = Some(program.into());
        let mut registry = Registry::new();
        assert_eq!(registry.load(&plugin, &options), Ok(0));
        registry.refused()[0].reason.to_string()
    };
    let missing = with("/nowhere/fitwright-worker");
    assert!(
        missing.contains("/nowhere/fitwright-worker") && missing.contains("install"),
        "{missing}"
    );
    let other = with("/bin/true");
    assert!(other.contains("ended"), "{other}");
}
