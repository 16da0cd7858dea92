//! Accuracy of association against what is known from elsewhere; one table a shape.
//!
//! ```text
//! cargo bench -p fitwright-benches --bench accuracy                 all tables, few runs
//! cargo bench -p fitwright-benches --bench accuracy -- --full       all tables, 1,000 runs
//! cargo bench -p fitwright-benches --bench accuracy -- coverage --shape cylinder --arc 90 --noise white --runs 1000
//! ```
//!
//! Tables: `exact` `efficiency` `coverage` `breakdown` `time` `published` `optimiser`; without any,
//! all. Filters, each repeatable: `--shape plane|line|circle|sphere|cylinder|cone|torus`,
//! `--arc DEGREES`, `--noise white|mixed3|mixed6|mixed12|smooth3|smooth6|smooth12` (correlation
//! length in point spacings). `--runs N` scans a case, `--points N` points a scan. The table
//! `optimiser` needs a Python with numpy and scipy, named by `FITWRIGHT_PYTHON`.

mod breakdown;
mod coverage;
mod efficiency;
mod exact;
mod field;
mod optimiser;
mod options;
mod published;
mod scene;
mod shape;
mod table;
mod time;

use std::process::ExitCode;

use options::Options;

fn main() -> ExitCode {
    let options = match Options::read(std::env::args().skip(1)) {
        Ok(options) => options,
        Err(reason) => {
            eprintln!("accuracy: {reason}");
            return ExitCode::from(64);
        }
    };
    for &kind in &options.kinds {
        println!("\n==== {} ====", kind.name());
        for (name, print) in TABLES.iter().zip(PRINTS) {
            if options.wants(name) {
                print(kind, &options);
            }
        }
    }
    ExitCode::SUCCESS
}

/// Names of the tables.
const TABLES: [&str; 7] =
    ["exact", "efficiency", "coverage", "breakdown", "time", "published", "optimiser"];
/// What prints them, in the same order.
const PRINTS: [fn(fitwright::primitive::Kind, &Options); 7] = [
    exact::print,
    efficiency::print,
    coverage::print,
    breakdown::print,
    time::print,
    published::print,
    optimiser::print,
];
