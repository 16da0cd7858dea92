//! A job names the reader of its part.

use std::path::Path;

use fitwright::job::{Folder, Job};
use fitwright::{Context, Error};

use super::{cube_plugin, options, registry, temporary};

/// A flat scan under the cube of `tests/plugins/importers.c`, which has a corner at the origin.
fn job(folder: &Path, reader: &str) -> std::path::PathBuf {
    let mut scan = String::new();
    for i in 0..40 {
        for k in 0..40 {
            let noise = f64::from((i * 7 + k * 13) % 11) * 1e-3;
            scan.push_str(&format!(
                "{} {} {}\n",
                f64::from(i) * 0.5 - 5.0,
                f64::from(k) * 0.5 - 5.0,
                noise - 2.0
            ));
        }
    }
    std::fs::write(folder.join("floor.txt"), scan).expect("a scan");
    std::fs::write(folder.join("part.cube"), "").expect("a part");
    let file = folder.join("cube.toml");
    let text = format!(
        "[job]\nname = \"cube\"\nlength = \"mm\"\n[[scan]]\nname = \"a\"\nfile = \"floor.txt\"\n\
         [[feature]]\nname = \"floor\"\nfit = \"plane\"\nregion = \"all\"\n\
         [part]\nfile = \"part.cube\"\n{reader}\n[check]\nclearance = 0.5\n"
    );
    std::fs::write(&file, text).expect("a job");
    file
}

#[test]
fn the_part_is_read_by_the_importer_that_the_job_names() {
    let folder = temporary();
    let Some(plugin) = cube_plugin("honest", |m| m, folder.path()) else { return };
    let registry = registry(&plugin, &options(&[], 20));
    let context = Context::new(2).expect("a context");
    let run = |reader: &str| {
        let file = job(folder.path(), reader);
        let job = Job::read(&file).expect("a job");
        job.run_with(&Folder::of(&file), &registry, &options(&[], 20), &context)
    };
    let outcome = run("reader = \"hostile.honest-cube\"").expect("an outcome");
    let part = outcome.part.expect("a part");
    assert_eq!((part.schema.as_str(), part.volume()), ("CUBE", 1000.0));
    // A tenth of the clearance, as by the built-in readers.
    assert_eq!(part.chord_error, 0.05);
    let unknown = run("reader = \"acme.cube\"").expect_err("an error");
    assert!(matches!(unknown, Error::Job { .. }), "{unknown}");
    let said = unknown.to_string();
    for must in ["[part] reader", "acme.cube", "hostile.honest-cube", "built-in"] {
        assert!(said.contains(must), "{must}: {said}");
    }
    // The built-in readers know no cubes.
    assert!(matches!(run(""), Err(Error::UnknownFormat { .. })));
}
