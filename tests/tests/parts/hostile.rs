//! Small files made to break a reader: each ends soon, in an error that names its place.

use std::time::Instant;

use super::{Outcome, plate, read_text};

/// The plate with one text for another.
fn changed(from: &str, to: &str) -> Result<String, Box<dyn std::error::Error>> {
    let text = plate()?;
    assert!(text.contains(from), "{from}");
    Ok(text.replacen(from, to, 1))
}

/// A surface for the plate's bore.
fn bore_as(surface: &str) -> Result<String, Box<dyn std::error::Error>> {
    let text = plate()?;
    let at = text.find("CYLINDRICAL_SURFACE").ok_or("a cylinder")?;
    let end = at + text[at..].find(';').ok_or("an end")?;
    Ok(format!("{}{surface}{}", &text[..at], &text[end..]))
}

#[test]
fn numbers_beyond_all_measure_are_refused_where_they_stand() -> Outcome {
    let net = "((#19,#19),(#19,#19))";
    let cases = [
        ("2147483647 knots", bore_as(&spline(1, net, "(2147483647,2)"))?),
        ("2147483648 knots", bore_as(&spline(1, net, "(2147483648,2)"))?),
        ("4294967296 knots", bore_as(&spline(1, net, "(4294967296,2)"))?),
        ("-1 knots", bore_as(&spline(1, net, "(-1,2)"))?),
        ("degree", bore_as(&spline(1_000_000_000, net, "(2,2)"))?),
        ("an empty net", bore_as(&spline(1, "()", "(2,2)"))?),
        ("a ragged net", bore_as(&spline(1, "((#19),(#19,#19))", "(2,2)"))?),
        ("1E400", bore_as("CYLINDRICAL_SURFACE('',#19,1.E400)")?),
        ("1E300", bore_as("CYLINDRICAL_SURFACE('',#19,1.E300)")?),
        ("0", bore_as("CYLINDRICAL_SURFACE('',#19,0.)")?),
        (
            "no end of digits",
            bore_as(&format!("CYLINDRICAL_SURFACE('',#19,{}.)", "9".repeat(400)))?,
        ),
        ("an instance number", bore_as("CYLINDRICAL_SURFACE('',#99999999999999999999,1.)")?),
        ("a missing one", bore_as("CYLINDRICAL_SURFACE('',#9999999999999999999,1.)")?),
        ("itself", bore_as("OFFSET_SURFACE('',#9999999,1.,.F.)")?),
    ];
    for (what, text) in cases {
        let start = Instant::now();
        let message = read_text(text.as_bytes())?.err().ok_or(what)?.to_string();
        assert!(start.elapsed().as_secs_f64() < 5.0, "{what}");
        assert!(message.contains("line ") && message.contains('#'), "{what}: {message}");
        assert!(message.contains("allowed"), "{what}: {message}");
    }
    Ok(())
}

fn spline(degree: usize, net: &str, multiplicities: &str) -> String {
    format!(
        "B_SPLINE_SURFACE_WITH_KNOTS('',{degree},1,{net},.UNSPECIFIED.,.F.,.F.,.F.,\
         {multiplicities},(2,2),(0.,1.),(0.,1.),.UNSPECIFIED.)"
    )
}

/// A reference to nothing is named by the instance that makes it, with its line.
#[test]
fn a_missing_instance_is_named_by_who_refers_to_it() -> Outcome {
    let from = "#15 = MANIFOLD_SOLID_BREP('',#16)";
    let text = changed(from, "#15 = MANIFOLD_SOLID_BREP('',#999999)")?;
    let line = 1 + text[..text.find("#999999").ok_or("it")?].matches('\n').count();
    let message = read_text(text.as_bytes())?.err().ok_or("an error")?.to_string();
    assert!(message.contains(&format!("#15=MANIFOLD_SOLID_BREP, line {line}")), "{message}");
    assert!(message.contains("no instance #999999") && message.contains("export"), "{message}");
    Ok(())
}

/// Texts are skipped whatever bytes they hold (ISO 10303-21, and what programs write instead).
#[test]
fn names_in_any_encoding_and_stray_bytes_are_no_obstacle() -> Outcome {
    let whole = read_text(plate()?.as_bytes())??;
    let name = |inner: &[u8]| -> Result<Vec<u8>, Box<dyn std::error::Error>> {
        let text = plate()?;
        let at = text.find("MANIFOLD_SOLID_BREP('").ok_or("a solid")? + 21;
        Ok([&text.as_bytes()[..at], inner, &text.as_bytes()[at..]].concat())
    };
    for inner in [
        &br"\X2\00C400D6\X0\ \X4\0001F600\X0\ \S\D \X\E4"[..],
        br"\X2\unfinished",
        "Gehäuse 外殻 😀".as_bytes(),
        b"Geh\xe4use \xff\xfe",
        b"a\0b",
        b"it''s; #1 = ( /* no comment",
        b"two\nlines",
    ] {
        let part = read_text(&name(inner)?)??;
        assert_eq!(part.triangles, whole.triangles, "{}", inner.escape_ascii());
    }
    let with_nul = changed("#16 = CLOSED_SHELL(", "#16\0=\0CLOSED_SHELL\0(")?;
    assert_eq!(read_text(with_nul.as_bytes())??.triangles, whole.triangles);
    Ok(())
}

#[test]
fn what_has_no_end_is_refused_at_its_beginning() -> Outcome {
    let text = plate()?;
    let line = 1 + text[..text.find("#16 = CLOSED").ok_or("a shell")?].matches('\n').count();
    for (from, to, expected) in [
        ("#16 = CLOSED_SHELL('',", "#16 = /* CLOSED_SHELL('',", "*/"),
        ("#16 = CLOSED_SHELL('',", "#16 = CLOSED_SHELL(\"0F',", "binary"),
        ("#16 = CLOSED_SHELL('',", "#16 = CLOSED_SHELL(.,'',", "enumeration"),
        ("#16 = CLOSED_SHELL('',", "#16 CLOSED_SHELL('',", "= after"),
        ("#16 = CLOSED_SHELL('',", "@16 = CLOSED_SHELL('',", "STEP token"),
    ] {
        let message = read_text(changed(from, to)?.as_bytes())?.err().ok_or(to)?.to_string();
        let found = message.contains(&format!("line {line}")) && message.contains(expected);
        assert!(found, "{to}: {message}");
    }
    // A quote without a partner: the text runs on to the next one, far below.
    let message =
        read_text(changed("#16 = CLOSED_SHELL('',", "#16 = CLOSED_SHELL(''',")?.as_bytes())?;
    assert!(message.is_err_and(|e| e.to_string().contains("line ")));
    Ok(())
}

/// Entities of every kind that refer to themselves.
#[test]
fn circles_of_references_end_in_an_error() -> Outcome {
    let text = plate()?;
    for kind in [
        "EDGE_LOOP",
        "ORIENTED_EDGE",
        "EDGE_CURVE",
        "ADVANCED_FACE",
        "FACE_BOUND",
        "PLANE",
        "AXIS2_PLACEMENT_3D",
        "VERTEX_POINT",
        "LINE",
        "VECTOR",
        "SURFACE_CURVE",
        "CLOSED_SHELL",
    ] {
        let name = format!(" = {kind}(");
        // The first placement is that of the part, which holds it where it is.
        let axes = kind == "AXIS2_PLACEMENT_3D";
        let at = if axes { text.rfind(&name) } else { text.find(&name) }.ok_or(kind)?;
        let start = text[..at].rfind('#').ok_or("a number")?;
        let id = &text[start..at];
        let end = at + text[at..].find(';').ok_or("an end")?;
        let body: String = text[at..end]
            .split_inclusive([',', '(', ')'])
            .map(|piece| {
                if piece.trim_start().starts_with('#') {
                    format!("{id}{}", &piece[piece.len() - 1..])
                } else {
                    piece.to_owned()
                }
            })
            .collect();
        let cyclic = format!("{}{body}{}", &text[..at], &text[end..]);
        let start = Instant::now();
        let message = read_text(cyclic.as_bytes())?.err().ok_or(kind)?.to_string();
        assert!(start.elapsed().as_secs_f64() < 5.0, "{kind}");
        assert!(message.contains(", line "), "{kind}: {message}");
    }
    let oriented =
        changed("ADVANCED_FACE('',", "ORIENTED_FACE('',*,#17,.T.);\n#90000=ADVANCED_FACE('',")?;
    let message = read_text(oriented.as_bytes())?.err().ok_or("an error")?.to_string();
    assert!(message.contains("#17=ORIENTED_FACE, line "), "{message}");
    Ok(())
}
