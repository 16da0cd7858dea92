//! The page in a browser: Chromium without a window, and Firefox in one, drawing by software. Skipped, and said so, where
//! there is none.

#[path = "page_view/firefox.rs"]
mod firefox;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Mutex, OnceLock, PoisonError};
use std::time::{Duration, Instant};

use fitwright::context::Context;
use fitwright::fitcheck::{DeviationMap, Verdict};
use fitwright::job::{Folder, Job, MadeOutcome, Outcome};
use fitwright::primitive::Pose;
use fitwright::report::{ReportOptions, html, survey_html};
use fitwright::scan::Scan;
use fitwright::simulate::{self, DEMO_JOB};
use fitwright::survey::{Survey, SurveyOptions};
use serde_json::{Value, json};

/// Names that try to leave their cell, their attribute, their element, their script.
const HOSTILE: [&str; 6] = [
    "</script><script>window.hit=1</script>",
    "<!--<script>",
    "\"><img src=x onerror=\"window.hit=1\">",
    "' onmouseover='window.hit=1",
    "=HYPERLINK(\"x\")\u{2028}${window.hit=1}",
    "]]></style><style>*{display:none}</style>",
];

/// The demo is made and run once; small pictures, as they are not what is looked at here.
fn outcome() -> &'static Outcome {
    static RUN: OnceLock<Outcome> = OnceLock::new();
    RUN.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a temporary folder");
        simulate::demo().and_then(|d| d.write(folder.path())).expect("the demo's files");
        let file = folder.path().join(DEMO_JOB);
        let context = Context::new(2).expect("two threads");
        let job = Job::read(&file).expect("the demo's job");
        job.run(&Folder::of(&file), &context).expect("the demo's run")
    })
}

fn page_of(outcome: &Outcome) -> String {
    let mut options = ReportOptions::default();
    (options.picture_width, options.close_views) = (300, 1);
    html(outcome, &options).expect("the page")
}

/// The demo's page as it is written.
fn page() -> &'static str {
    static PAGE: OnceLock<String> = OnceLock::new();
    PAGE.get_or_init(|| page_of(outcome()))
}

/// The demo's outcome with hostile names, and the part as made.
fn hostile() -> Outcome {
    let mut named = outcome().clone();
    // Every foreign name is hostile, each still its own.
    for (k, f) in named.features.iter_mut().enumerate() {
        f.feature.name = format!("{k} {}", HOSTILE[k % HOSTILE.len()]);
        f.feature.notes = vec![HOSTILE[k % HOSTILE.len()].to_owned()];
    }
    for (k, f) in named.findings.iter_mut().enumerate() {
        f.name = format!("{} {k}", HOSTILE[k % HOSTILE.len()]);
        f.detail = HOSTILE[(k + 1) % HOSTILE.len()].into();
    }
    named.job = HOSTILE[0].into();
    // As if it had been made a quarter of a millimetre too large everywhere.
    let part = named.part.as_ref().expect("the bracket");
    named.made = Some(MadeOutcome {
        file: HOSTILE[2].into(),
        scan: Scan::from_mesh(part.points.clone(), part.triangles.clone()).expect("a scan"),
        part_from_scan: Pose::identity(),
        deviation: vec![0.25; part.points.len()],
        map: DeviationMap::default(),
        tolerance: Some(0.2),
    });
    named
}

#[test]
fn what_the_page_shows_is_what_the_outcome_says() {
    let Some(browser) = Browser::find() else { return };
    let named = hostile();
    checked(&browser, &page_of(&named), &expected(&named));
}

#[test]
fn it_shows_the_same_in_firefox() {
    let named = hostile();
    let page = with_checks(&page_of(&named), &expected(&named));
    if let Some(said) = firefox::text_of(&page, "selftest") {
        judged(&said);
    }
}

/// The demo's first scan, surveyed, every id hostile.
#[test]
fn what_a_survey_shows_is_what_was_found() {
    let Some(browser) = Browser::find() else { return };
    let scan = &outcome().scans[0].scan;
    let mut survey = Survey::of(scan, &SurveyOptions::default()).expect("a survey");
    let as_found = survey_html(&survey, "front.ply").expect("the page");
    starts_quietly(&browser, &as_found);
    for (k, p) in survey.primitives.iter_mut().enumerate() {
        p.id = format!("{k} {}", HOSTILE[k % HOSTILE.len()]);
    }
    // Of the smaller ones thinning for show leaves too little to point at.
    let found = survey.primitives.iter().filter(|p| p.region.ids().len() > 300);
    let found = found.map(|p| json!({ "name": shown(&p.id), "at": p.at.coords.as_slice() }));
    let found: Vec<Value> = found.collect();
    let expected = json!({
        "names": survey.primitives.iter().map(|p| shown(&p.id)).collect::<Vec<_>>(),
        "found": found,
        "table": { "id": "primitives", "rows": survey.primitives.len(), "numbers": "scatter" },
        "triangles": scan.triangles().len(),
        "coarse": 0.25 * scan.resolution(),
        "scripts": 3,
    });
    checked(&browser, &survey_html(&survey, HOSTILE[0]).expect("the page"), &expected);
}

/// Runs the checks of `selftest.js` within a page.
fn checked(browser: &Browser, page: &str, expected: &Value) {
    let page = with_checks(page, expected);
    let dom = browser.run(&page, &["--dump-dom", "--window-size=800,700"]).text;
    let said = dom.split("<pre id=\"selftest\">").nth(1).unwrap_or("nothing was said");
    judged(said.split("</pre>").next().unwrap_or_default());
}

/// The page with the checks of `selftest.js` beside its own script.
fn with_checks(page: &str, expected: &Value) -> String {
    // The names must not end the test's own element.
    let expected = expected.to_string().replace('<', "\\u003c");
    let selftest = include_str!("../page/selftest.js");
    let policy = page.split("script-src ").nth(1).and_then(|p| p.split(';').next());
    let policy = format!("script-src {}", policy.expect("a policy for scripts"));
    page.replacen(&policy, "script-src 'unsafe-inline'", 1).replace(
        "</body>",
        &format!("<script>const expected = {expected};\n{selftest}</script></body>"),
    )
}

fn judged(said: &str) {
    let failed: Vec<&str> = said.lines().filter(|l| !l.starts_with("ok ") && *l != "end").collect();
    assert!(failed.is_empty(), "{failed:#?}");
    assert!(said.trim_end().ends_with("\nend"), "the checks did not come to their end: {said}");
    assert!(said.lines().count() > 60, "{said}");
}

/// The policy lets our own script run and nothing else; the page asks for no other file, and complains of nothing.
#[test]
fn the_page_starts_as_it_is_written_and_fetches_nothing() {
    let Some(browser) = Browser::find() else { return };
    starts_quietly(&browser, page());
    // A page that does ask is found out.
    let asks = "<!DOCTYPE html><img src=\"http://127.0.0.1:9/x.png\">";
    assert!(!browser.asked(asks).is_empty());
    assert!(page().len() < 2_500_000, "{}", page().len());
}

fn starts_quietly(browser: &Browser, page: &str) {
    let run = browser.run(page, &["--dump-dom"]);
    assert!(run.text.contains("<body class=\"with3d\">"), "{}", run.errors);
    let complaints: Vec<&str> = run
        .errors
        .lines()
        // That the browser itself reads pixels back is the driver's remark on drawing without a window.
        .filter(|l| l.contains("CONSOLE") && !l.contains("ReadPixels"))
        .collect();
    assert!(complaints.is_empty(), "{complaints:?}");
    assert_eq!(browser.asked(page), Vec::<String>::new());
}

#[test]
fn without_webgl_or_with_damaged_data_tables_and_pictures_stand() {
    let Some(browser) = Browser::find() else { return };
    let dark = browser.without_webgl(page(), &["--dump-dom"]).text;
    for dom in [&dark, &browser.run(&damaged(), &["--dump-dom"]).text] {
        assert!(dom.contains("The 3D view could not start: "), "no message");
        assert!(!dom.contains("<body class=\"with3d\">"));
        assert!(dom.contains("id=\"features\"") && dom.contains("<figure class=\"view\">"));
    }
    assert!(dark.contains("no WebGL2 here"));
}

/// The page with a piece cut out of its data.
fn damaged() -> String {
    let (before, block) = page().split_once("id=\"block\">").expect("a block");
    let (block, after) = block.split_once("</script>").expect("its end");
    let half = block.len() / 8 * 4;
    format!("{before}id=\"block\">{}</script>{after}", &block[..half])
}

/// Loosely: the view is neither empty nor full, dark is dark, and a narrow page is not wider than its window.
#[test]
fn it_looks_right_in_light_and_dark_at_desk_and_phone_width() {
    let Some(browser) = Browser::find() else { return };
    for (size, dark) in [((1100, 800), false), ((1100, 800), true), ((500, 1100), false)] {
        let scheme = if dark { "--blink-settings=preferredColorScheme=0" } else { "--mute-audio" };
        let window = format!("--window-size={},{}", size.0, size.1);
        let picture = browser.screenshot(page(), &[&window, scheme]);
        let paper = picture.at(2, 2);
        assert_eq!(paper < 80, dark, "paper {paper} at {size:?}");
        let ink = picture.share(|v| v.abs_diff(paper) > 40);
        assert!((0.05..0.7).contains(&ink), "{ink} of the page is not paper at {size:?}");
        // What runs over the side would be cut off there.
        let edge =
            (0..picture.tall).filter(|y| picture.at(picture.wide - 1, *y).abs_diff(paper) > 40);
        assert_eq!(edge.count(), 0, "something runs over the right side at {size:?}");
    }
}

/// A name as the page shows it: line breaks of other kinds are blanks.
fn shown(name: &str) -> String {
    name.replace('\u{2028}', " ")
}

fn expected(outcome: &Outcome) -> Value {
    let first = &outcome.scans[0];
    let pose = outcome.machine_from_scan * first.first_from_this;
    let m = pose.to_homogeneous();
    let motion: Vec<[f64; 4]> = (0..3).map(|r| [0, 1, 2, 3].map(|c| m[(r, c)])).collect();
    let points = first.scan.points();
    let place = |k: usize| {
        let p = points[k * (points.len() / 60)];
        json!({ "scanner": p.coords.as_slice(), "machine": (pose * p).coords.as_slice() })
    };
    let names: Vec<String> = outcome
        .features
        .iter()
        .map(|f| shown(&f.feature.name))
        .chain(outcome.findings.iter().map(|f| shown(&f.name)))
        .chain(outcome.made.iter().map(|m| shown(&m.file)))
        .collect();
    let open = |v: &Verdict| *v != Verdict::Pass;
    json!({
        "names": names,
        "table": { "id": "features", "rows": outcome.features.len(), "numbers": "rms" },
        "open": outcome.findings.iter().filter(|f| open(&f.verdict) && f.at.is_some()).count(),
        "triangles": first.scan.triangles().len(),
        "motion": motion,
        "places": (0..60).map(place).collect::<Vec<_>>(),
        // How far thinning may move the surface, mm: some spacings of the scan.
        "coarse": 4.0 * first.scan.resolution(),
        "scripts": 3,
    })
}

/// A browser without a window.
struct Browser(PathBuf);

struct Run {
    text: String,
    errors: String,
}

impl Browser {
    fn find() -> Option<Self> {
        let names = ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];
        let path = std::env::var_os("PATH").unwrap_or_default();
        let found = std::env::split_paths(&path)
            .flat_map(|d| names.map(|n| d.join(n)))
            .find(|p| p.is_file());
        if found.is_none() {
            eprintln!("SKIPPED: no {} in PATH, so the page was not opened", names.join(", "));
        }
        found.map(Browser)
    }

    fn run(&self, page: &str, more: &[&str]) -> Run {
        self.twice(page, &["--use-angle=swiftshader", "--enable-unsafe-swiftshader"], more)
    }

    fn without_webgl(&self, page: &str, more: &[&str]) -> Run {
        self.twice(page, &["--disable-software-rasterizer"], more)
    }

    fn screenshot(&self, page: &str, more: &[&str]) -> Picture {
        let file = tempfile::Builder::new().suffix(".png").tempfile().expect("a file");
        let to = format!("--screenshot={}", file.path().display());
        // Without it a picture is sometimes never finished.
        let stages = "--run-all-compositor-stages-before-draw";
        self.run(page, &[&[to.as_str(), stages], more].concat());
        Picture::read(file.path())
    }

    /// What a page asks for besides itself; the browser's own requests come from no page.
    fn asked(&self, page: &str) -> Vec<String> {
        let log = tempfile::NamedTempFile::new().expect("a file");
        self.run(page, &["--dump-dom", &format!("--log-net-log={}", log.path().display())]);
        let events = std::fs::read_to_string(log.path()).expect("the log of requests");
        let of_page = |l: &&str| l.contains("\"initiator\":") && !l.contains("not an origin");
        let url = |l: &str| l.split("\"url\":\"").nth(1)?.split('"').next().map(str::to_owned);
        let outside = |u: &String| !u.starts_with("file://") && !u.starts_with("data:");
        events.lines().filter(of_page).filter_map(url).filter(outside).collect()
    }

    /// Browsers without a window get stuck now and then; a page that makes them do so does it twice.
    fn twice(&self, page: &str, drawing: &[&str], more: &[&str]) -> Run {
        let run = || self.start(page, drawing, more);
        run()
            .or_else(run)
            .unwrap_or_else(|| panic!("the browser did not end in {LONGEST:?}, twice"))
    }

    /// `None` if it had to be stopped.
    fn start(&self, page: &str, drawing: &[&str], more: &[&str]) -> Option<Run> {
        // One at a time: drawing by software takes every core.
        static TURN: Mutex<()> = Mutex::new(());
        let _turn = TURN.lock().unwrap_or_else(PoisonError::into_inner);
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("page.html"), page).expect("the page's file");
        let to = |name: &str| std::fs::File::create(at(name)).expect("a file");
        let mut run = Command::new(&self.0)
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"])
            .args(["--hide-scrollbars", "--disable-background-networking", "--disable-sync"])
            .args(["--disable-component-update", "--virtual-time-budget=9000"])
            .args(["--enable-logging=stderr", "--window-size=1280,900"])
            .arg(format!("--user-data-dir={}", at("profile").display()))
            .args(drawing)
            .args(more)
            .arg(format!("file://{}", at("page.html").display()))
            .stdout(to("stdout"))
            .stderr(to("stderr"))
            .spawn()
            .expect("the browser runs");
        let began = Instant::now();
        while run.try_wait().expect("its state").is_none() {
            if began.elapsed() > LONGEST {
                run.kill().and_then(|()| run.wait()).expect("its end");
                return None;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let text = |name: &str| {
            let bytes = std::fs::read(at(name)).unwrap_or_default();
            String::from_utf8_lossy(&bytes).into_owned()
        };
        Some(Run { text: text("stdout"), errors: text("stderr") })
    }
}

/// More than a slow machine needs.
const LONGEST: Duration = Duration::from_secs(90);

/// Brightness of each pixel.
struct Picture {
    wide: usize,
    tall: usize,
    grey: Vec<u8>,
}

impl Picture {
    fn read(path: &Path) -> Self {
        let file = std::io::BufReader::new(std::fs::File::open(path).expect("the screenshot"));
        let mut reader = png::Decoder::new(file).read_info().expect("a PNG file");
        let mut bytes = vec![0; reader.output_buffer_size().expect("its size")];
        let info = reader.next_frame(&mut bytes).expect("its pixels");
        let each = info.color_type.samples();
        let mean = |p: &[u8]| (p[..3].iter().map(|v| u32::from(*v)).sum::<u32>() / 3) as u8;
        let grey = bytes[..info.buffer_size()].chunks(each).map(mean).collect();
        Picture { wide: info.width as usize, tall: info.height as usize, grey }
    }

    fn at(&self, x: usize, y: usize) -> u8 {
        self.grey[y * self.wide + x]
    }

    fn share(&self, of: impl Fn(u8) -> bool) -> f64 {
        self.grey.iter().filter(|v| of(**v)).count() as f64 / self.grey.len() as f64
    }
}
