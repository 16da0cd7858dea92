//! The README's example is the plug-in that is tested, and is as short as it says.

use fitwright_tests::c::root;

/// The block after a mark.
fn block(mark: &str) -> String {
    let readme = std::fs::read_to_string(root().join("README.md")).expect("the README");
    let after = readme.split_once(&format!("<!-- {mark} -->\n")).expect("the mark").1;
    let (_, code) = after.split_once('\n').expect("the fence");
    code.split_once("```").expect("the end").0.to_owned()
}

#[test]
fn the_readme_shows_the_example_as_it_is_built() {
    for (mark, file) in
        [("plugin-example", "src/lib.rs"), ("plugin-manifest", "fitwright-plugin.toml")]
    {
        let path = root().join("plugins/stud").join(file);
        let built = std::fs::read_to_string(path).expect("the source");
        assert_eq!(block(mark), built, "{file}");
    }
    // The promise: a complete fitter in under 60 lines.
    assert!(block("plugin-example").lines().count() < 60);
}
