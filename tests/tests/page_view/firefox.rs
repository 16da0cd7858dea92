//! The page in Firefox, in a window on a display of its own that nobody sees. It has no way to print a page's text, so the
//! page sends it to a port of this machine.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// What the element `id` of a page holds once it is there; `None`, and said so, without a browser or a display.
pub(crate) fn text_of(page: &str, id: &str) -> Option<String> {
    let firefox = program(&["firefox-esr", "firefox"])?;
    let (_display, number) = display(&program(&["Xvfb"])?);
    let server = TcpListener::bind("127.0.0.1:0").expect("a port");
    let url = format!("http://{}/", server.local_addr().expect("its number"));
    let folder = tempfile::tempdir().expect("a folder");
    let profile = folder.path().join("profile");
    std::fs::create_dir(&profile).expect("a folder");
    std::fs::write(profile.join("user.js"), SETTINGS).expect("the browser's settings");
    let file = folder.path().join("page.html");
    std::fs::write(&file, telling(page, id, &url)).expect("the page's file");
    let _browser = Ended(
        Command::new(firefox)
            .args(["--no-remote", "--width", "800", "--height", "700", "--profile"])
            .arg(&profile)
            .arg(format!("file://{}", file.display()))
            .env("DISPLAY", format!(":{number}"))
            .env("LIBGL_ALWAYS_SOFTWARE", "1")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the browser runs"),
    );
    Some(received(&server))
}

/// The page whose last script, that of the checks, also sends an element's text; its policy lets it go there and nowhere
/// else.
fn telling(page: &str, id: &str, url: &str) -> String {
    let script = format!(
        ";(async () => {{ let e; while (!(e = document.getElementById('{id}'))) \
         await new Promise((done) => setTimeout(done, 50)); \
         await fetch('{url}', {{ method: 'POST', mode: 'no-cors', body: e.textContent }}); }})()</script></body>"
    );
    page.replacen("default-src 'none'", &format!("default-src 'none'; connect-src {url}"), 1)
        .replace("</script></body>", &script)
}

fn received(server: &TcpListener) -> String {
    server.set_nonblocking(true).expect("a port that does not hold up");
    let began = Instant::now();
    while began.elapsed() < LONGEST {
        match server.accept() {
            Ok((stream, _)) => return body(stream),
            Err(_) => std::thread::sleep(Duration::from_millis(20)),
        }
    }
    panic!("Firefox said nothing in {LONGEST:?}");
}

fn body(mut stream: TcpStream) -> String {
    stream.set_nonblocking(false).expect("a connection");
    stream.set_read_timeout(Some(Duration::from_secs(10))).expect("a connection");
    let mut reader = BufReader::new(stream.try_clone().expect("a connection"));
    let mut length = 0;
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).expect("a line of the request");
        if line.trim().is_empty() {
            break;
        }
        if let Some(n) = line.to_ascii_lowercase().strip_prefix("content-length:") {
            length = n.trim().parse().expect("a length");
        }
    }
    let mut bytes = vec![0; length];
    reader.read_exact(&mut bytes).expect("the text");
    stream.write_all(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n").expect("an answer");
    String::from_utf8(bytes).expect("text")
}

/// A display without a screen, and its number.
fn display(server: &Path) -> (Ended, u32) {
    let mut run = Command::new(server)
        .args(["-displayfd", "1", "-screen", "0", "1280x1024x24", "-nolisten", "tcp"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the display runs");
    let mut line = String::new();
    let out = run.stdout.take().expect("its output");
    let run = Ended(run);
    BufReader::new(out).read_line(&mut line).expect("the display's number");
    (run, line.trim().parse().expect("a number"))
}

fn program(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let found = std::env::split_paths(&path)
        .flat_map(|d| names.iter().map(move |n| d.join(n)))
        .find(|p| p.is_file());
    if found.is_none() {
        eprintln!(
            "SKIPPED: no {} in PATH, so the page was not opened in Firefox",
            names.join(", ")
        );
    }
    found
}

/// A program that is ended with this.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        _ = self.0.kill();
        _ = self.0.wait();
    }
}

/// More than a slow machine needs.
const LONGEST: Duration = Duration::from_secs(180);

/// No questions, no requests of its own, drawing by software.
const SETTINGS: &str = r#"
user_pref("webgl.force-enabled", true);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("browser.aboutwelcome.enabled", false);
user_pref("browser.startup.homepage_override.mstone", "ignore");
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("toolkit.telemetry.reportingpolicy.firstRun", false);
user_pref("app.update.enabled", false);
user_pref("network.captive-portal-service.enabled", false);
user_pref("network.connectivity-service.enabled", false);
"#;
