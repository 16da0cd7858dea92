//! The page and the summary on made-up outcomes.

use super::{ReportOptions, general_picture, html, sample, summary, text};
use crate::error::Result;
use crate::job::Outcome;

/// Names that try to leave their cell, their attribute, their element, their line.
const HOSTILE: [&str; 6] = [
    "</td></table><script>window.hit=1</script>",
    "\"><img src=x onerror=alert(1)>",
    "' onmouseover='alert(1)",
    "<!--<script>&lt;b&gt;",
    "\u{202e}esrever\u{0}\u{1b}[2J\u{7}\r\nnew line",
    "</style><style>*{display:none}</style>]]>",
];

#[test]
fn hostile_names_stay_text() -> Result<()> {
    let page = html(&hostile()?, &ReportOptions::default())?;
    let plain = html(&sample::whole()?, &ReportOptions::default())?;
    for tag in ["<script", "<img", "<style", "</style", "</table", "<!--", "onerror=alert(1)>"] {
        assert_eq!(page.matches(tag).count(), plain.matches(tag).count(), "{tag}");
    }
    // Two of data, one of ours.
    assert_eq!(page.matches("<script").count(), 3);
    assert!(page.chars().all(|c| c == '\n' || !c.is_control()));
    assert!(!page.contains('\u{202e}'));
    assert!(page.contains("&lt;/td&gt;&lt;/table&gt;&lt;script&gt;window.hit=1"));
    balanced(&page);
    Ok(())
}

#[test]
fn nothing_is_fetched() -> Result<()> {
    let page = html(&sample::outcome(), &ReportOptions::default())?;
    assert!(
        page.contains("content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'")
    );
    for outside in ["http:", "https:", "//www", "url(", "@import", "<link", "<iframe"] {
        assert!(!page.contains(outside), "{outside}");
    }
    for attribute in [" src=\"", " href=\""] {
        for value in page.split(attribute).skip(1) {
            assert!(value.starts_with("data:image/png;base64,") || value.starts_with('#'));
        }
    }
    Ok(())
}

#[test]
fn every_link_has_its_place_and_every_id_is_used_once() -> Result<()> {
    let page = html(&sample::outcome(), &ReportOptions::default())?;
    let value = |v: &str| v.split('"').next().map(str::to_owned);
    let mut ids: Vec<String> = page.split(" id=\"").skip(1).filter_map(value).collect();
    ids.sort();
    assert!(ids.windows(2).all(|w| w[0] != w[1]), "{ids:?}");
    for link in page.split("href=\"#").skip(1).filter_map(value) {
        assert!(ids.contains(&link), "{link}");
    }
    Ok(())
}

#[test]
fn page_holds_the_numbers() -> Result<()> {
    let page = html(&sample::outcome(), &ReportOptions::default())?;
    balanced(&page);
    for expected in [
        "The part does not fit",
        "Of 7 checks 2 failed, 2 are undecided, 3 passed.",
        "5.310 <span class=\"u\">± 0.062</span>",
        "80.00, 135.00, 23.70",
        "Move the hole by (-1.4, -0.6), or make it a slot.",
        "ISO 14253-1",
        "What the scanner did not see is undecided",
        "<caption>",
        "scope=\"col\"",
        "scope=\"row\"",
        "114.018",
        "8.500",
    ] {
        assert!(page.contains(expected), "{expected}");
    }
    for feature in &sample::outcome().features {
        assert!(page.contains(&text::html(&feature.feature.name)));
    }
    // The general picture and one for each of the four findings that did not pass.
    assert_eq!(page.matches("<img").count(), 5);
    Ok(())
}

/// With `FITWRIGHT_LOOK=DIR` in the environment the page is left in DIR as `whole.html`, to be looked at.
#[test]
fn way_in_made_part_and_other_parts_are_shown() -> Result<()> {
    let whole = sample::whole()?;
    let page = html(&whole, &ReportOptions::default())?;
    balanced(&page);
    // Those of the sample, the way in, and the made part from two sides.
    assert_eq!(page.matches("<img").count(), 8);
    for expected in [
        "A way was found, but it is not certain that it is free.",
        "Taken off for it: <bdi>tie bar</bdi>",
        "tolerance -0.200",
        "missing 0.200 to 0.400",
        "not seen",
        "may touch, not overlap",
        "<bdi>sensor</bdi>",
    ] {
        assert!(page.contains(expected), "{expected}");
    }
    let mut none = whole.clone();
    none.findings.iter_mut().for_each(|f| f.path.clear());
    let page = html(&none, &ReportOptions::default())?;
    assert!(page.contains("No way was found. That is no proof that there is none."));
    assert_eq!(page.matches("<img").count(), 7);
    let bare = ReportOptions { pictures: false, ..ReportOptions::default() };
    assert_eq!(html(&whole, &bare)?.matches("<img").count(), 0);
    if let Some(dir) = std::env::var_os("FITWRIGHT_LOOK") {
        let file = std::path::Path::new(&dir).join("whole.html");
        let page = html(&whole, &ReportOptions::default())?;
        std::fs::write(&file, &page).map_err(|e| crate::Error::io(&file, &e))?;
    }
    Ok(())
}

#[test]
fn findings_at_one_place_share_a_picture() -> Result<()> {
    let mut twice = sample::outcome();
    let again = crate::fitcheck::Finding { kind: "clearance", ..twice.findings[0].clone() };
    twice.findings.insert(1, again);
    let page = html(&twice, &ReportOptions::default())?;
    assert_eq!(page.matches("<img").count(), 5);
    assert!(page.contains("Same place as <a href=\"#finding-A\">A</a>."));
    Ok(())
}

/// With `FITWRIGHT_LOOK=DIR` in the environment the page is left in DIR, to be looked at.
#[test]
fn a_scanned_job_is_drawn_within_the_budget() -> Result<()> {
    let outcome = sample::scanned(1)?;
    let page = html(&outcome, &ReportOptions::default())?;
    balanced(&page);
    assert!(page.len() < 2_500_000, "{}", page.len());
    assert!(page.contains("front.ply") && page.contains("41211"));
    if let Some(dir) = std::env::var_os("FITWRIGHT_LOOK") {
        let file = std::path::Path::new(&dir).join("report.html");
        std::fs::write(&file, &page).map_err(|e| crate::Error::io(&file, &e))?;
    }
    Ok(())
}

/// A million triangles are thinned for the view, and the page keeps to its 2.5 MB.
#[test]
fn a_large_scan_keeps_to_the_budget() -> Result<()> {
    let outcome = sample::scanned(5)?;
    let all = outcome.scans[0].scan.triangles().len();
    assert!(all > 1_000_000, "{all}");
    let page = html(&outcome, &ReportOptions::default())?;
    assert!(page.len() < 2_500_000, "{}", page.len());
    assert!(page.contains(&format!("\"{all}, 1")), "thinned to less than 200,000, its number told");
    Ok(())
}

#[test]
fn lengths_are_in_the_jobs_unit() -> Result<()> {
    let mut inches = sample::outcome();
    inches.length = crate::units::LengthUnit::Inch;
    let options = ReportOptions { pictures: false, ..ReportOptions::default() };
    // 5.31 mm and 0.062 mm by the definition of the inch, 25.4 mm.
    assert!(html(&inches, &options)?.contains("0.2091 <span class=\"u\">± 0.0025</span> in"));
    assert!(summary(&inches).contains("0.2091"));
    Ok(())
}

#[test]
fn an_empty_outcome_claims_nothing() -> Result<()> {
    let page = html(&sample::empty(), &ReportOptions::default())?;
    balanced(&page);
    assert!(page.contains("Nothing checked") && !page.contains("The part fits"));
    assert!(page.contains("Geometry only.") && page.contains("ISO 14253-1"));
    let text = summary(&sample::empty());
    assert!(text.contains("nothing checked") && !text.contains("pass"));
    assert!(!general_picture(&sample::empty(), 300, 200)?.is_empty());
    Ok(())
}

#[test]
fn sizes_out_of_range_are_refused() {
    assert!(general_picture(&sample::empty(), 100, 300).is_err());
    assert!(general_picture(&sample::empty(), 300, 1 << 40).is_err());
    let options = ReportOptions { picture_width: 5000, ..ReportOptions::default() };
    assert!(html(&sample::empty(), &options).is_err());
}

#[test]
fn same_outcome_same_page_for_any_number_of_threads() -> Result<()> {
    let one = crate::Context::new(1)?;
    let four = crate::Context::new(4)?;
    let outcome = sample::outcome();
    let page = |c: &crate::Context| c.run(|| html(&outcome, &ReportOptions::default()));
    assert!(page(&one)? == page(&four)?);
    Ok(())
}

#[test]
fn summary_fits_a_terminal() -> Result<()> {
    for outcome in [sample::outcome(), sample::empty(), hostile()?] {
        let text = summary(&outcome);
        for line in text.lines() {
            assert!(text::columns(line) <= 100, "{line}");
            assert!(!line.chars().any(char::is_control), "{line:?}");
        }
    }
    let text = summary(&sample::outcome());
    let place = |what: &str| text.find(what).unwrap_or(usize::MAX);
    assert!(place("FAIL      interference") < place("undecided clearance"));
    assert!(place("undecided clearance") < place("pass      seat"));
    assert!(text.contains("5.310    0.062     0.00 80.0, 135.0, 23.7"));
    assert!(text.contains("To do: Move the hole"));
    Ok(())
}

#[test]
fn words_keep_to_their_budget() -> Result<()> {
    let options = ReportOptions { pictures: false, ..ReportOptions::default() };
    // Beside script and style, which have their own.
    let words = html(&sample::empty(), &options)?.len() - super::page::whole("", "", "", "").len();
    assert!(words < 10_000, "{words}");
    assert!(html(&sample::outcome(), &ReportOptions::default())?.len() < 2_500_000);
    Ok(())
}

/// The sample with every foreign text hostile.
fn hostile() -> Result<Outcome> {
    let mut outcome = sample::whole()?;
    let mut next = HOSTILE.iter().cycle().map(|s| (*s).to_owned());
    let mut name = || next.next().unwrap_or_default();
    outcome.job = name();
    for f in &mut outcome.features {
        f.feature.name = name();
        f.feature.fitter = name();
        f.feature.notes = vec![name()];
    }
    for f in &mut outcome.findings {
        (f.name, f.detail, f.remedy) = (name(), name(), name());
    }
    for r in &mut outcome.relations {
        (r.a, r.b) = (name(), name());
    }
    if let Some(datum) = &mut outcome.datum {
        datum.taken = vec![name(), name()];
        datum.squareness.iter_mut().for_each(|s| (s.a, s.b) = (name(), name()));
    }
    if let Some(part) = &mut outcome.part {
        part.file = format!("dir/{}", name().replace('/', "")).into();
        (part.schema, part.notes) = (name(), vec![name(); 6]);
    }
    for other in &mut outcome.other_parts {
        other.part.file = format!("dir/{}", name().replace('/', "")).into();
        (other.name, other.part.schema) = (name(), name());
    }
    outcome.taken_off = vec![name()];
    if let Some(made) = &mut outcome.made {
        made.file = name();
    }
    Ok(outcome)
}

/// Every element that is opened is closed, in order.
fn balanced(page: &str) {
    let mut open: Vec<&str> = Vec::new();
    // What stands in a script is no markup.
    let markup: String = page
        .split("<script")
        .enumerate()
        .map(
            |(i, piece)| {
                if i == 0 { piece } else { piece.split_once("</script>").unwrap_or_default().1 }
            },
        )
        .collect();
    for piece in markup.split('<').skip(1) {
        let Some((tag, _)) = piece.split_once('>') else { panic!("unfinished tag {piece}") };
        let name = tag.split([' ', '\n', '/']).find(|s| !s.is_empty()).unwrap_or_default();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "closing {name}");
        } else if !["!DOCTYPE", "meta", "img", "br", "input"].contains(&name) && !tag.ends_with('/')
        {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "{open:?}");
}
