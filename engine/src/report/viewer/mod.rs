//! The page's script, and the place of the 3D view in the page.
//!
//! Plain JavaScript over WebGL2, ours alone, in one function scope; its files are in the order in which they use each
//! other. The page allows this script by its hash and no other, so nothing from a job can run.

mod sha256;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use super::scene::Packed;

/// Place of the view; stays hidden where the script or WebGL2 is missing.
pub(super) const VIEW: &str = include_str!("view.html");

/// Place of the list of what can be shown and hidden.
pub(super) const THINGS: &str = "<div class=\"v3-things\" id=\"v3-things\" hidden></div>\n";

/// Style of the view and of what the script adds to tables.
const STYLE: &str = include_str!("viewer.css");

/// The scene of a page as elements that run nothing; nothing without one.
pub(super) fn data(scene: Option<&Packed>) -> String {
    scene.map_or_else(String::new, |s| {
        format!(
            "<script type=\"application/json\" id=\"scene\">{}</script>\n\
             <script type=\"application/octet-stream\" id=\"block\">{}</script>\n",
            s.json, s.block
        )
    })
}

/// The script's element, and what the page's policy calls the script.
pub(super) fn script() -> (String, String) {
    // Shaders hold no texts in which these would stand for themselves; the rest has none with the signs of `code`.
    let shaders = squeezed(SHADERS, &[" = ", ", ", "; ", " ? ", " : "]);
    let code = [
        " => ", " === ", " !== ", " && ", " || ", ") {", " < ", " > ", " * ", " / ", " + ", " - ",
        " += ", " ? ", " : ", "{ ", " }", "if (", "for (", " = (", " >= ", " <= ", " % ", " ** ",
        " *= ", " -= ", " | ", " << ", " >> ",
    ];
    let script = format!("(() => {{\n'use strict';\n{shaders}{SCRIPT}}})();\n");
    let script = joined(&squeezed(&bare(&script), &code), &["{", ";", ","]);
    let hash = format!("sha256-{}", STANDARD.encode(sha256::of(script.as_bytes())));
    (format!("<script>{script}</script>\n"), hash)
}

/// The page's style, and that of what the script adds.
pub(super) fn style(page: &str) -> String {
    let signs = [": ", "; ", " { ", " {", " }", ", ", " > "];
    let style = squeezed(&bare(&(page.to_owned() + STYLE)), &signs);
    joined(&style, &["{", ";", ",", "}"]).replace(";}", "}") + "\n"
}

/// Source without indentation, empty lines and lines of comment: every report carries it.
fn bare(source: &str) -> String {
    let kept = source.lines().map(str::trim_start);
    let is_said = |l: &&str| !l.is_empty() && !l.starts_with("//") && !l.starts_with("/*");
    kept.filter(is_said).flat_map(|l| [l, "\n"]).collect()
}

/// Source without the blanks round some signs.
fn squeezed(source: &str, signs: &[&str]) -> String {
    signs.iter().fold(source.to_owned(), |s, sign| s.replace(sign, &sign.replace(' ', "")))
}

/// Source without the line breaks after some signs, after which none is needed.
fn joined(source: &str, signs: &[&str]) -> String {
    signs.iter().fold(source.to_owned(), |s, sign| s.replace(&format!("{sign}\n"), sign))
}

const SHADERS: &str = include_str!("shaders.js");

const SCRIPT: &str = concat!(
    include_str!("vector.js"),
    include_str!("tables.js"),
    include_str!("unpack.js"),
    include_str!("camera.js"),
    include_str!("draw.js"),
    include_str!("pick.js"),
    include_str!("names.js"),
    include_str!("list.js"),
    include_str!("readout.js"),
    include_str!("controls.js"),
    include_str!("start.js"),
);

#[cfg(test)]
mod tests {
    use super::*;

    /// 60 kB: what a page may weigh before it says anything.
    #[test]
    fn viewer_style_and_template_keep_to_their_budget() {
        let page = crate::report::page::whole("", "", "", "").len();
        assert!(page + VIEW.len() < 60_000, "{}", page + VIEW.len());
    }

    #[test]
    fn the_script_cannot_end_its_element_and_loads_nothing() {
        for no in ["</script", "<!--", "innerHTML", "http:", "https:", "eval(", "import "] {
            assert!(!script().0[8..].trim_end().trim_end_matches("</script>").contains(no), "{no}");
        }
    }
}
