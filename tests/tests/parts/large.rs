//! Files of 100 MB, each read by a process of its own whose address space is 2 GiB.

use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use super::{Outcome, plate, read};

const HEAD: &str = "ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('X'));\nENDSEC;\nDATA;\n";
const END: &str = "ENDSEC;\nEND-ISO-10303-21;\n";
const SIZE: usize = 100 << 20;

/// What the other process says of a file; `None` where address space cannot be limited.
fn said_of(path: &Path) -> Result<Option<String>, Box<dyn std::error::Error>> {
    if !cfg!(target_os = "linux") {
        return Ok(None);
    }
    let start = Instant::now();
    let out = Command::new("sh")
        .args(["-c", "ulimit -v 2097152 && exec \"$@\"", "sh"])
        .arg(std::env::current_exe()?)
        .args(["--exact", "large::in_a_process_of_its_own", "--ignored", "--nocapture"])
        .env("FITWRIGHT_PART", path)
        .output()?;
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    let seconds = start.elapsed().as_secs_f64();
    assert!(out.status.success(), "{text} {}", String::from_utf8_lossy(&out.stderr));
    assert!(seconds < super::MOST_SECONDS, "{seconds} s");
    Ok(text.lines().find_map(|l| l.split_once("said: ")).map(|(_, said)| said.to_owned()))
}

#[test]
#[ignore = "run by the tests of this file"]
fn in_a_process_of_its_own() {
    let Ok(path) = std::env::var("FITWRIGHT_PART") else { return };
    match read(Path::new(&path)) {
        Ok(part) => {
            println!("\nsaid: {} {} {:e}", part.solids, part.closed().is_ok(), part.volume());
        }
        Err(error) => println!("\nsaid: {error}"),
    }
}

/// A file of a head, one text again and again, and an end.
fn file_of(path: &Path, head: &str, unit: impl Fn(usize) -> String, end: &str) -> Outcome {
    let mut out = std::io::BufWriter::new(std::fs::File::create(path)?);
    out.write_all(head.as_bytes())?;
    let (mut written, mut i) = (head.len(), 1);
    while written < SIZE {
        let text = unit(i);
        out.write_all(text.as_bytes())?;
        written += text.len();
        i += 1;
    }
    out.write_all(end.as_bytes())?;
    Ok(())
}

#[test]
fn a_hundred_megabytes_end_in_an_error_that_says_why() -> Outcome {
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("a.step");
    let list = format!("{HEAD}#1=CLOSED_SHELL('',(#1");
    let solid = format!("{HEAD}#2=MANIFOLD_SOLID_BREP('',#1);\n#1=CLOSED_SHELL('',($");
    let nested = format!("{HEAD}#2=MANIFOLD_SOLID_BREP('',#1);\n#1=CLOSED_SHELL('',(($)");
    type Unit = Box<dyn Fn(usize) -> String>;
    let same = |text: &'static str| -> Unit { Box::new(move |_| text.repeat(1000)) };
    let cases: Vec<(&str, &str, Unit, &str, &str)> = vec![
        (
            "points",
            HEAD,
            Box::new(|i| format!("#{i}=CARTESIAN_POINT('',(1.,2.,{i}.));\n")),
            END,
            "without a solid",
        ),
        ("short ones", HEAD, Box::new(|i| format!("#{i}=A();")), END, "without a solid"),
        (
            "shells",
            HEAD,
            Box::new(|i| format!("#{i}=MANIFOLD_SOLID_BREP('',#{i});\n")),
            END,
            "over the limit",
        ),
        ("zeros", HEAD, same("\0"), END, "DATA section"),
        ("no more", HEAD, same("#1=("), "", "line "),
        ("comments", HEAD, same("/* */"), END, "DATA section"),
        ("a comment", HEAD, same("/* "), END, "line 6"),
        ("quotes", HEAD, same("'"), "", "line 6"),
        ("a list", &list, same(",#1"), "));\nENDSEC;\n", "without a solid"),
        ("values", &solid, same(",$"), "));\nENDSEC;\n", "2 million values"),
        ("lists", &nested, same(",($)"), "));\nENDSEC;\n", "2 million values"),
    ];
    for (what, head, unit, end, expected) in cases {
        file_of(&path, head, unit, end)?;
        let start = Instant::now();
        let Some(said) = said_of(&path)? else { return Ok(()) };
        println!("{what}: {:.1} s, {said}", start.elapsed().as_secs_f64());
        assert!(said.contains(expected), "{what}: {said}");
    }
    Ok(())
}

/// A sound file as large: the plate placed five hundred times among points that nothing uses.
#[test]
fn a_hundred_megabytes_of_placed_parts_come_in_whole() -> Outcome {
    let text = plate()?;
    let at = text.find("MANIFOLD_SOLID_BREP").ok_or("a solid")?;
    let id = text[..at].rsplit('#').next().and_then(|t| t.split(' ').next()).ok_or("its number")?;
    let end = text.rfind("ENDSEC;").ok_or("an end")?;
    let copies = 500;
    let mut head = text[..end].to_owned();
    head.push_str(&format!(
        "#100001=CARTESIAN_POINT('',(0.,0.,0.));\n#100002=AXIS2_PLACEMENT_3D('',#100001,$,$);\n\
         #100003=ADVANCED_BREP_SHAPE_REPRESENTATION('',(#{id}),$);\n\
         #100004=REPRESENTATION_MAP(#100002,#100003);\n"
    ));
    let mut items = Vec::new();
    for i in 1..copies {
        let n = 200_000 + 3 * i;
        head.push_str(&format!(
            "#{n}=CARTESIAN_POINT('',(0.,0.,{}.));\n#{}=AXIS2_PLACEMENT_3D('',#{n},$,$);\n\
             #{}=MAPPED_ITEM('',#100004,#{});\n",
            10 * i,
            n + 1,
            n + 2,
            n + 1
        ));
        items.push(format!("#{}", n + 2));
    }
    head.push_str(&format!("#100005=SHAPE_REPRESENTATION('',({}),$);\n", items.join(",")));
    let folder = tempfile::tempdir()?;
    let (path, one) = (folder.path().join("a.step"), folder.path().join("one.step"));
    let unused = |i: usize| format!("#{}=CARTESIAN_POINT('',(1.,2.,{i}.));\n", 1_000_000 + i);
    file_of(&path, &head, unused, END)?;
    std::fs::write(&one, &text)?;
    let Some(said) = said_of(&path)? else { return Ok(()) };
    let words: Vec<&str> = said.split(' ').collect();
    assert_eq!(words[..2], [copies.to_string().as_str(), "true"], "{said}");
    let volume: f64 = words[2].parse()?;
    let meant = f64::from(copies as u32) * read(&one)?.volume();
    assert!((volume / meant - 1.0).abs() < 1e-9, "{said}, {meant} meant");
    Ok(())
}
