//! Gives the shared library the name that carries the interface's major number.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=src/version.rs");
    println!("cargo::rustc-env=FITWRIGHT_TARGET={}", std::env::var("TARGET").unwrap_or_default());
    let (major, minor) = (number("MAJOR"), number("MINOR"));
    println!("cargo::rustc-env=FITWRIGHT_ABI={major}.{minor}");
    match std::env::var("CARGO_CFG_TARGET_OS").as_deref() {
        Ok("linux" | "android" | "freebsd" | "netbsd" | "openbsd") => {
            println!("cargo::rustc-cdylib-link-arg=-Wl,-soname,libfitwright.so.{major}");
            // A host that closes the library would pull the code from under running threads.
            println!("cargo::rustc-cdylib-link-arg=-Wl,-z,nodelete");
        }
        Ok("macos" | "ios") => {
            let name = format!("@rpath/libfitwright.{major}.dylib");
            println!("cargo::rustc-cdylib-link-arg=-Wl,-install_name,{name}");
        }
        _ => {}
    }
}

/// `FITW_ABI_MAJOR` or `FITW_ABI_MINOR` as it stands in the source: one number, one place.
fn number(which: &str) -> String {
    let source = std::fs::read_to_string("src/version.rs").unwrap_or_default();
    let front = format!("pub const FITW_ABI_{which}: u32 = ");
    let line = source.lines().find_map(|l| l.strip_prefix(&front));
    match line.and_then(|l| l.strip_suffix(';')) {
        Some(number) => number.to_owned(),
        None => {
            println!("cargo::error=src/version.rs names no FITW_ABI_{which}");
            String::new()
        }
    }
}
