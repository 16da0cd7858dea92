//! The job file: what is refused, and whether the message names the place and the remedy.

use fitwright::Error;
use fitwright::job::Job;

const HEAD: &str = "[job]\nname = \"n\"\n[[scan]]\nname = \"a\"\nfile = \"a.ply\"\n";

fn message(text: &str) -> String {
    Job::parse(text).expect_err("a job file that must be refused").to_string()
}

/// A job with one more piece of text after the head.
fn with(more: &str) -> String {
    format!("{HEAD}{more}")
}

#[test]
fn the_smallest_job_is_one_scan() {
    let job = Job::parse(HEAD).expect("a valid job");
    assert_eq!((job.scans.len(), job.features.len()), (1, 0));
    assert_eq!((job.job.length.as_str(), job.job.angle.as_str()), ("mm", "deg"));
}

#[test]
fn an_unknown_key_names_line_and_nearest_known_key() {
    let text = with("[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [0, 0, 0]\nkep_clear = 3\n");
    let message = message(&text);
    assert!(message.contains("line 10"), "{message}");
    assert!(
        message.contains("`kep_clear`") && message.contains("did you mean `keep_clear`?"),
        "{message}"
    );
}

#[test]
fn wrong_types_and_syntax_name_their_line() {
    assert!(message("[job\nname = 1").contains("line 1"));
    let text = with("[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [0, 0]\n");
    assert!(message(&text).contains("line 9"), "{}", message(&text));
    let text = with("[[feature]]\nname = \"f\"\nfit = \"plane\"\nregion = { bx = 3 }\n");
    assert!(message(&text).contains("region must be"), "{}", message(&text));
}

#[test]
fn units_are_known_or_refused() {
    let text = HEAD.replace("name = \"n\"", "name = \"n\"\nlength = \"furlong\"");
    let message = message(&text);
    assert!(message.contains("furlong") && message.contains("mm, cm, m, in"), "{message}");
}

#[test]
fn names_are_unique_and_refer_to_something() {
    let feature = "[[feature]]\nname = \"deck\"\nfit = \"plane\"\nat = [0, 0, 0]\n";
    let twice = with(&format!("{feature}{feature}"));
    assert!(matches!(Job::parse(&twice), Err(Error::DuplicateName { kind: "feature", .. })));
    let hole = "[[feature]]\nname = \"h\"\nfit = \"hole\"\non = \"dek\"\nat = [0, 0, 0]\n";
    let message = message(&with(&format!("{feature}{hole}")));
    assert!(message.contains("\"dek\"") && message.contains("\"deck\""), "{message}");
    let datum = "[datum]\nprimary = { feature = \"decc\", axis = \"+z\" }\n";
    let error = Job::parse(&with(&format!("{feature}{datum}"))).expect_err("an unknown datum");
    assert!(error.to_string().contains("the nearest is \"deck\""), "{error}");
}

/// A second scan joined by surface, with a key more.
fn joined(more: &str) -> String {
    let same = "{ name = \"s\", fit = \"plane\", here = [0,0,0], there = [0,0,0] }";
    format!(
        "[[scan]]\nname = \"b\"\nfile = \"b.ply\"\njoin = {{ to = \"a\", by = \"surface\", {} }}\n",
        more.replace("{SAME}", same)
    )
}

fn by_features(same: &str) -> String {
    joined(&format!("same = {same}")).replace("surface", "features")
}

#[test]
fn contradictions_are_told_with_the_remedy() {
    let cases = [
        ("[[feature]]\nname = \"f\"\nfit = \"plane\"\n", "needs `at`"),
        (
            "[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [0,0,0]\nregion = \"all\"\n",
            "contradict",
        ),
        ("[[feature]]\nname = \"f\"\nfit = \"hole\"\nat = [0,0,0]\n", "needs `on`"),
        ("[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [nan,0,0]\n", "finite"),
        ("[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [0,0,0]\ntrim = -1\n", "not negative"),
        ("[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [0,0,0]\nbolt = \"M8\"\n", "holes"),
        ("[[feature]]\nname = \"f\"\nfit = \"midplane\"\nat = [0,0,0]\n", "`of ="),
        (
            "[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [0,0,0]\nframe = \"machine\"\n",
            "needs a [datum]",
        ),
        (
            "[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [0,0,0]\ncriterion = \"maximum-inscribed\"\n",
            "[[feature]] \"f\" criterion: a plane has no maximum-inscribed",
        ),
        (
            "[[feature]]\nname = \"f\"\nfit = \"plane\"\nat = [0,0,0]\ncriterion = \"minimum-zoom\"\n",
            "did you mean \"minimum-zone\"?",
        ),
        ("[check]\nclearance = 3\n", "needs a [part]"),
        ("[part]\nfile = \"p.stl\"\n[check]\nclearance = -3\n", "not negative"),
        ("[[scan]]\nname = \"b\"\nfile = \"b.ply\"\n", "needs `join`"),
        (
            "[[scan]]\nname = \"b\"\nfile = \"b.ply\"\njoin = { to = \"a\", by = \"targets\" }\n",
            "needs `targets`",
        ),
    ];
    for (text, expected) in cases {
        let message = message(&with(text));
        assert!(message.contains(expected), "{text}\n gives {message}\n without {expected}");
    }
}

#[test]
fn features_to_join_by_are_whole_and_do_not_contradict() {
    let cases = [
        (joined("same = [{SAME}]"), "goes with `by = \"features\"`"),
        (by_features("[]"), "needs `same`"),
        (by_features("[{SAME}, {SAME}]"), "\"s\" is used twice"),
        (
            by_features(
                "[{SAME}, { name = \"t\", fit = \"plane\", here = [0,0,0], there = [1,0,0] }]",
            ),
            "is picked where \"s\" is",
        ),
        (
            by_features("[{ name = \"s\", fit = \"line\", here = [0,0,0], there = [0,0,0] }]"),
            "known are plane, cylinder",
        ),
        (
            by_features("[{ name = \"s\", fit = \"plane\", here = [0,inf,0], there = [0,0,0] }]"),
            "same \"s\" here: must be three finite",
        ),
        (
            by_features(
                "[{SAME}, { name = \"t\", fit = \"hole\", here = [0,0,0], there = [1,0,0] }]",
            ),
            "a hole needs `on`",
        ),
        (
            by_features(
                "[{ name = \"t\", fit = \"hole\", on = \"s\", here = [0,0,0], there = [1,0,0] }]",
            ),
            "\"s\" is no plane before it",
        ),
    ];
    for (text, expected) in cases {
        let message = message(&with(&text));
        assert!(message.contains(expected), "{text}\n gives {message}\n without {expected}");
    }
    Job::parse(&with(&by_features("[{SAME}]"))).expect("one feature is for the fit to refuse");
}

#[test]
fn joining_together_names_scans_that_there_are() {
    let two = |more: &str| format!("{}[joining]\n{more}\n", with(&joined("start = \"near\"")));
    for (text, expected) in [
        (with("[joining]\ntogether = true\n"), "needs two scans"),
        (two("together = true\nheld = \"c\""), "no scan named \"c\""),
        (two("together = true\npairs = [[\"a\", \"c\"]]"), "no scan named \"c\""),
        (two("together = true\npairs = [[\"a\", \"a\"]]"), "paired with itself"),
        (two("together = true\npairs = [[\"a\", \"b\"], [\"b\", \"a\"]]"), "stand there twice"),
        (two("together = true\nleast_overlap = 1.5"), "least_overlap"),
        (two("together = false\nheld = \"a\""), "go with `together = true`"),
    ] {
        let message = message(&text);
        assert!(message.contains(expected), "{text}\n gives {message}\n without {expected}");
    }
    let text = two("together = true\nheld = \"b\"\npairs = [[\"a\", \"b\"]]");
    assert!(Job::parse(&text).expect("a valid job").joining.is_some_and(|j| j.together));
}

#[test]
fn what_is_written_is_known_and_plain() {
    let mesh = |more: &str| with(&format!("[[output.mesh]]\nfile = {more}\n"));
    for (text, said) in [
        (with("[output]\nstep = \"AP203\"\n"), "AP214, AP242"),
        (with("[output]\nscan_date = \"yesterday\"\n"), "scan_date"),
        (mesh("\"../a.ply\""), "plain name"),
        (mesh("\"/a.ply\""), "plain name"),
        (mesh("\"a.step\""), "ply, stl, obj, glb, 3mf"),
        (mesh("\"part-clearance.ply\""), "written already"),
        (mesh("\"a.ply\"\n[[output.mesh]]\nfile = \"a.ply\""), "written already"),
        (mesh("\"a.ply\"\nof = [\"rear\"]"), "rear"),
        (with("[output]\njoined = \"../a.ply\"\n"), "plain name"),
        (with("[output]\njoined = \"a.ply\"\n"), "two scans"),
        (mesh("\"a.ply\"\nof = [\"part\"]"), "[part]"),
        (mesh("\"a.ply\"\nof = [\"features\"]"), "[[feature]]"),
    ] {
        assert!(message(&text).contains(said), "{said}: {}", message(&text));
    }
}

#[test]
fn a_mount_must_be_a_hole() {
    let text = with(
        "[[feature]]\nname = \"deck\"\nfit = \"plane\"\nat = [0, 0, 0]\n\
         [part]\nfile = \"p.stl\"\nmount = [{ hole = \"deck\", near = [0, 0, 0] }]\n",
    );
    assert!(message(&text).contains("is no hole"), "{}", message(&text));
}

#[test]
fn the_schema_lists_every_key_that_is_read() {
    let schema = fitwright::job::schema().expect("a schema");
    let value: serde_json::Value = serde_json::from_str(&schema).expect("valid JSON");
    assert!(value["$schema"].as_str().is_some_and(|s| s.contains("json-schema.org")));
    for key in [
        "keep_clear",
        "tertiary",
        "mount",
        "drop_invalid",
        "tool_access",
        "scan_date",
        "other_part",
        "touches",
    ] {
        assert!(schema.contains(&format!("\"{key}\"")), "{key}");
    }
}

#[test]
fn missing_and_huge_files_are_told() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let missing = folder.path().join("none.toml");
    assert!(matches!(Job::read(&missing), Err(Error::Io { .. })));
    let binary = folder.path().join("binary.toml");
    std::fs::write(&binary, [0xff, 0xfe, 0x00]).expect("a written file");
    assert!(Job::read(&binary).expect_err("not text").to_string().contains("UTF-8"));
    let huge = folder.path().join("huge.toml");
    std::fs::write(&huge, vec![b'#'; 2 << 20]).expect("a written file");
    assert!(matches!(Job::read(&huge), Err(Error::Limit { .. })));
}

#[test]
fn the_job_in_the_readme_is_valid() {
    let readme = concat!(env!("CARGO_MANIFEST_DIR"), "/../README.md");
    let text = std::fs::read_to_string(readme).expect("the README");
    let (_, rest) = text.split_once("```toml\n").expect("a job in the README");
    let (job, _) = rest.split_once("```").expect("its end");
    let job = Job::parse(job).expect("a valid job");
    assert_eq!(job.features.len(), 3);
}
