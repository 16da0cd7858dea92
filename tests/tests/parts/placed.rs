//! Bodies that are no boundary representations, and placements that move no rigid body.

use super::{Outcome, data, plate, read, read_text};

/// A plate placed once more through a mapped item under an operator.
fn mapped(operator: &str) -> Result<String, Box<dyn std::error::Error>> {
    let text = plate()?;
    let at = text.find("MANIFOLD_SOLID_BREP").ok_or("a solid")?;
    let id = text[..at].rsplit('#').next().and_then(|t| t.split(' ').next()).ok_or("its number")?;
    let added = format!(
        "#90001=CARTESIAN_POINT('',(0.,0.,0.));\n#90002=AXIS2_PLACEMENT_3D('',#90001,$,$);\n\
         #90003=DIRECTION('',(1.,0.,0.));\n#90004=DIRECTION('',(0.,1.,0.));\n\
         #90005=DIRECTION('',(0.,0.,1.));\n#90006=DIRECTION('',(0.,0.,-1.));\n\
         #90007=CARTESIAN_POINT('',(10.,20.,30.));\n#90008=DIRECTION('',(0.,-1.,0.));\n\
         #90010=ADVANCED_BREP_SHAPE_REPRESENTATION('',(#{id}),$);\n\
         #90011=REPRESENTATION_MAP(#90002,#90010);\n\
         #90012=CARTESIAN_TRANSFORMATION_OPERATOR_3D('','','',{operator});\n\
         #90013=MAPPED_ITEM('',#90011,#90012);\n\
         #90014=SHAPE_REPRESENTATION('',(#90013),$);\nENDSEC;\nEND-ISO-10303-21;\n"
    );
    let end = text.rfind("ENDSEC;").ok_or("an end")?;
    Ok(format!("{}{added}", &text[..end]))
}

/// Axis 1, axis 2, origin, scale, axis 3: what is given and what follows from the rest
/// (ISO 10303-42, base_axis).
#[test]
fn operators_turn_and_move_and_never_mirror_or_scale_unseen() -> Outcome {
    let plate = read(&data().join("p10_inch_plate.step"))?;
    let (low, high) = plate.bounding_box().ok_or("a box")?;
    let still = [
        "#90003,#90004,#90007,1.,#90005",
        "$,$,#90007,$,$",
        "$,$,#90007,1.,#90005",
        "#90003,$,#90007,$,$",
    ];
    for operator in still {
        let part = read_text(mapped(operator)?.as_bytes())?.map_err(|e| e.to_string())?;
        assert_eq!((part.solids, part.closed()), (2, Ok(())), "{operator}");
        let (l, h) = part.bounding_box().ok_or("a box")?;
        let moved = nalgebra::Vector3::new(10.0, 20.0, 30.0);
        assert!(
            (l - low).norm() < 1e-9 && (h - (high + moved)).norm() < 1e-9,
            "{operator} {l} {h}"
        );
    }
    // Half a turn about x: what was up is down.
    let part = read_text(mapped("#90003,#90008,#90007,1.,#90006")?.as_bytes())??;
    let (_, h) = part.bounding_box().ok_or("a box")?;
    assert!((h.z - (30.0 - low.z)).abs() < 1e-9, "{h} {low}");
    for operator in [
        "#90003,#90004,#90007,2.,#90005",
        "#90003,#90008,#90007,1.,#90005",
        "#90003,#90004,#90007,1.,#90006",
    ] {
        let message = read_text(mapped(operator)?.as_bytes())?.err().ok_or(operator)?.to_string();
        assert!(message.contains("mirrored or scaled"), "{message}");
        assert!(message.contains("#90012=") && message.contains(", line "), "{message}");
        assert!(message.contains("export"), "{message}");
    }
    Ok(())
}

/// Alone or beside a solid: a body left out without a word would be a clearance that is not there.
#[test]
fn bodies_of_other_kinds_are_named_with_line_and_remedy() -> Outcome {
    let head = "ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('AP242'));\nENDSEC;\nDATA;\n";
    let end = text_end();
    let plate = plate()?;
    for body in [
        "TESSELLATED_SOLID('',(#90002),$)",
        "TESSELLATED_SHELL('',(#90002),$)",
        "EXTRUDED_AREA_SOLID('',#90002,#90002,5.)",
        "CSG_SOLID('',#90002)",
        "BLOCK('',#90002,1.,2.,3.)",
    ] {
        let kind = body.split('(').next().ok_or("a kind")?;
        let alone = format!("{head}#90001={body};\n{end}");
        let at = plate.rfind("ENDSEC;").ok_or("an end")?;
        let beside = format!("{}#90001={body};\n{end}", &plate[..at]);
        for text in [alone, beside] {
            let line = 1 + text[..text.find(body).ok_or("the body")?].matches('\n').count();
            let message = read_text(text.as_bytes())?.err().ok_or(body)?.to_string();
            assert!(message.contains(&format!("#90001={kind}, line {line}")), "{message}");
            assert!(message.contains("export the part as a mesh"), "{message}");
        }
    }
    // A mesh that is said to be a copy of the solid beside it is no second body.
    let at = plate.rfind("ENDSEC;").ok_or("an end")?;
    let copy = format!("{}#90001=TESSELLATED_SOLID('',(#90002),#15);\n{end}", &plate[..at]);
    assert_eq!(read_text(copy.as_bytes())??.solids, 1);
    Ok(())
}

/// Faces of one connected set are a surface model like any other.
#[test]
fn a_face_based_model_is_read_as_its_faces() -> Outcome {
    let text = plate()?;
    let changed = text
        .replace("#15 = MANIFOLD_SOLID_BREP('',#16)", "#15 = FACE_BASED_SURFACE_MODEL('',(#16))")
        .replace("#16 = CLOSED_SHELL('',", "#16 = CONNECTED_FACE_SET('',");
    let (part, plate) = (read_text(changed.as_bytes())??, read_text(text.as_bytes())??);
    assert_eq!((part.closed(), part.volume()), (Ok(()), plate.volume()));
    Ok(())
}

fn text_end() -> &'static str {
    "ENDSEC;\nEND-ISO-10303-21;\n"
}
