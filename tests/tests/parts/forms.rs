//! The rarer forms of curves and surfaces (data/parts/forms.py), against plain geometry; what the
//! kernel reads of them is checked with the other parts.

use std::f64::consts::PI;

use super::{CHORD, Outcome, data, read, read_text};

/// Millimetre and metre, radian and degree; rational Bezier arcs without knots.
#[test]
fn every_form_of_curve_and_surface_encloses_the_same_prism() -> Outcome {
    // A rectangle of 40 x 30 less two rounded corners of radius 10, 12 high.
    let section = 40.0 * 30.0 - 2.0 * (1.0 - PI / 4.0) * 100.0;
    for name in ["f_forms.step", "f_forms_metre.step"] {
        let part = read(&data().join(name))?;
        assert_eq!((part.closed(), part.faces.len(), part.solids), (Ok(()), 8, 1), "{name}");
        // The chords of the arcs are inside, up to two thirds of the chord error along both arcs.
        let short = 12.0 * section - part.volume();
        assert!(short > -1e-6 && short < CHORD * 10.0 * PI * 12.0, "{name}: {short}");
        let (low, high) = part.bounding_box().ok_or("a box")?;
        for (found, meant) in low.iter().chain(high.iter()).zip([0.0, 0.0, 0.0, 40.0, 30.0, 12.0]) {
            assert!((found - meant).abs() < 1e-9, "{name}: {low} {high}");
        }
    }
    Ok(())
}

/// Arcs of radius 10 as offsets of arcs of radius 7: along z x tangent, which is inward, by -3
/// (ISO 10303-42, offset_curve_3d). The wrong side would lie 6 mm off the cylinder.
#[test]
fn an_offset_curve_bounds_the_same_face() -> Outcome {
    let text = std::fs::read_to_string(data().join("f_forms.step"))?;
    let (mut changed, mut added, mut count) = (String::new(), String::new(), 0);
    for line in text.lines() {
        let circle = line
            .split_once("=CIRCLE('',")
            .and_then(|(id, rest)| Some((id, rest.split_once(',')?.0)));
        match circle {
            Some((id, placement)) => {
                let basis = 900_000 + count;
                changed.push_str(&format!("{id}=OFFSET_CURVE_3D('',#{basis},-3.,.F.,#800000);\n"));
                added.push_str(&format!("#{basis}=CIRCLE('',{placement},7.);\n"));
                count += 1;
            }
            None if line == "ENDSEC;" && count > 0 => {
                changed.push_str(&format!("{added}#800000=DIRECTION('',(0.,0.,1.));\nENDSEC;\n"));
            }
            None => changed.push_str(&format!("{line}\n")),
        }
    }
    assert_eq!(count, 2);
    let (part, plain) = (read_text(changed.as_bytes())??, read_text(text.as_bytes())??);
    assert_eq!(part.closed(), Ok(()));
    assert!((part.volume() - plain.volume()).abs() < CHORD * 10.0 * PI * 12.0);
    for p in part.points.iter().filter(|p| p.x < 10.0 - 1e-9 && p.y > 20.0 + 1e-9) {
        assert!(((p.x - 10.0).hypot(p.y - 20.0) - 10.0).abs() < 1e-9, "{p}");
    }
    Ok(())
}

/// The offset of a cylinder by 3 mm is a cylinder and says so.
#[test]
fn an_offset_of_an_ideal_shape_is_one() -> Outcome {
    let part = read(&data().join("f_forms.step"))?;
    let radii: Vec<f64> = part
        .faces
        .iter()
        .filter_map(|face| match &face.shape {
            Some(fitwright::primitive::Primitive::Cylinder(c)) => Some(c.radius),
            _ => None,
        })
        .collect();
    assert_eq!(radii, [10.0]);
    Ok(())
}

/// A slot of 60 x 20 x 8 whose outline is two composite curves, nested, trimmed by points and by
/// degrees, run against their own sense.
#[test]
fn composite_curves_bound_and_sweep_a_slot() -> Outcome {
    let part = read(&data().join("f_composite.step"))?;
    assert_eq!((part.closed(), part.faces.len()), (Ok(()), 4));
    let short = 8.0 * (40.0 * 20.0 + PI * 100.0) - part.volume();
    assert!(short > 0.0 && short < CHORD * 20.0 * PI * 8.0, "{short}");
    // Every corner lies on the outline: on a straight side or on an end of radius 10.
    for p in &part.points {
        let along = (p.x.abs() - 20.0).max(0.0);
        let off = along.hypot(p.y) - 10.0;
        assert!(off.abs() < 1e-9 || (along == 0.0 && p.y.abs() < 10.0), "{p}");
    }
    Ok(())
}

/// A turned ellipse and a turned arc that end on their axis: half an ellipsoid, an ogive.
#[test]
fn profiles_that_end_on_their_axis_are_domes() -> Outcome {
    let ellipsoid = 2.0 / 3.0 * PI * 20.0 * 20.0 * 8.0;
    // The arc of radius 40 about (-30, 0): slices across the axis by the midpoint rule.
    let (height, slices) = (700.0_f64.sqrt(), 20_000);
    let ogive: f64 = (0..slices)
        .map(|i| height * (f64::from(i) + 0.5) / f64::from(slices))
        .map(|z| PI * ((1600.0 - z * z).sqrt() - 30.0).powi(2) * height / f64::from(slices))
        .sum();
    for (name, volume) in [("g_dome.step", ellipsoid), ("g_ogive.step", ogive)] {
        let part = read(&data().join(name))?;
        assert_eq!((part.closed(), part.faces.len()), (Ok(()), 2), "{name}");
        let short = volume - part.volume();
        assert!(short > 0.0 && short < CHORD * part.area(), "{name}: {short} of {volume}");
    }
    Ok(())
}

/// With nothing but a vertex for a bound, which arc of the profile is meant stays unknown.
#[test]
fn a_profile_across_its_axis_without_edges_is_refused() -> Outcome {
    let text = std::fs::read_to_string(data().join("g_ogive.step"))?;
    let line = text.lines().find(|l| l.contains(" = EDGE_LOOP(")).ok_or("a loop")?;
    let id = line.split(' ').next().ok_or("a number")?;
    let vertex = text.lines().find(|l| l.contains(" = VERTEX_POINT(")).ok_or("a vertex")?;
    let vertex = vertex.split(' ').next().ok_or("a number")?;
    let end = text.find(line).ok_or("it")?
        + text[text.find(line).ok_or("it")?..].find(';').ok_or("an end")?;
    let start = text.find(line).ok_or("it")?;
    let changed = format!("{}{id} = VERTEX_LOOP('',{vertex}){}", &text[..start], &text[end..]);
    let message = read_text(changed.as_bytes())?.err().ok_or("an error")?.to_string();
    assert!(
        message.contains("profile crosses its axis") && message.contains(", line "),
        "{message}"
    );
    assert!(message.contains("export a mesh"), "{message}");
    Ok(())
}

/// Points of the offset of a paraboloid, each 3 mm along the normal, written without our code.
#[test]
fn an_offset_of_a_spline_surface_lies_where_its_normals_lead() -> Outcome {
    let part = read(&data().join("f_offset.step"))?;
    let lid = part.faces.len() as u32 - 1;
    let mut checked = 0;
    for (triangle, face) in part.triangles.iter().zip(&part.face_of_triangle) {
        if *face != lid {
            continue;
        }
        let corners = triangle.map(|p| part.points[p as usize].coords);
        let middle = (corners[0] + corners[1] + corners[2]) / 3.0;
        // The foot on z = 6 - (x² + y²) / 100, found along the radius by Newton's method.
        let (r, z) = (middle.x.hypot(middle.y), middle.z);
        let mut foot = r;
        for _ in 0..50 {
            let slope = -foot / 50.0;
            let off = (r - foot) + (z - 6.0 + foot * foot / 100.0) * slope;
            foot += off / (1.0 + slope * slope + (z - 6.0 + foot * foot / 100.0) / 50.0);
        }
        let distance = (r - foot).hypot(z - 6.0 + foot * foot / 100.0);
        assert!((distance - 3.0).abs() < CHORD, "{middle}: {distance}");
        checked += 1;
    }
    assert!(checked > 100, "{checked}");
    Ok(())
}

/// Segments that do not meet, trims without order and offsets past the middle are refused by name.
#[test]
fn broken_forms_name_entity_and_line() -> Outcome {
    let composite = std::fs::read_to_string(data().join("f_composite.step"))?;
    let forms = std::fs::read_to_string(data().join("f_forms.step"))?;
    let of = |text: &str, kind: &str| -> Result<(String, String), &'static str> {
        let line = text.lines().find(|l| l.contains(&format!("={kind}("))).ok_or("an instance")?;
        let id = line.split('=').next().ok_or("a number")?;
        Ok((id.to_owned(), line.to_owned()))
    };
    let (curve, line) = of(&composite, "COMPOSITE_CURVE")?;
    let own = format!("{curve}=COMPOSITE_CURVE('',({curve}),.F.);");
    let (segment, segment_line) = of(&composite, "COMPOSITE_CURVE_SEGMENT")?;
    let of_itself = format!("{segment}=COMPOSITE_CURVE_SEGMENT(.CONTINUOUS.,.T.,{curve});");
    let (offset, offset_line) = of(&forms, "OFFSET_SURFACE")?;
    let inward = offset_line.replace(",3.0,", ",-7.5,");
    let cases = [
        (&composite, &line, own, "COMPOSITE_CURVE_SEGMENT"),
        (&composite, &line, format!("{curve}=COMPOSITE_CURVE('',(),.F.);"), "at least one"),
        (&composite, &segment_line, of_itself, "refer to each other"),
        (&forms, &offset_line, inward, "inside out"),
        (
            &forms,
            &offset_line,
            format!("{offset}=OFFSET_SURFACE('',{offset},1.,.F.);"),
            "each other",
        ),
    ];
    for (text, from, to, expected) in cases {
        let message = read_text(text.replace(from, &to).as_bytes())?.err().ok_or("an error")?;
        let message = message.to_string();
        assert!(message.contains(expected) && message.contains(", line "), "{to}: {message}");
    }
    Ok(())
}
