//! STEP parts in by the built-in road, against the OCCT kernel's own values: data/parts/README.md
//! says where the parts and the values come from.

#[path = "parts/forms.rs"]
mod forms;
#[path = "parts/hostile.rs"]
mod hostile;
#[path = "parts/large.rs"]
mod large;
#[path = "parts/placed.rs"]
mod placed;

use std::path::{Path, PathBuf};
use std::time::Instant;

use fitwright::Error;
use fitwright::exchange::{Part, PartOptions};
use fitwright::primitive::Point3;
use fitwright_tests::shared;
use serde_json::Value;

type Outcome = Result<(), Box<dyn std::error::Error>>;

fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data/parts")
}

fn read(path: &Path) -> fitwright::Result<Part> {
    Part::read(path, &PartOptions { chord_error_mm: CHORD, ..PartOptions::default() })
}

fn references() -> Result<Vec<Value>, Box<dyn std::error::Error>> {
    let text = std::fs::read_to_string(data().join("kernel.json"))?;
    let list: Value = serde_json::from_str(&text)?;
    Ok(list.as_array().ok_or("a list")?.clone())
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or(f64::NAN)
}

fn point(value: &Value) -> Point3 {
    Point3::new(number(&value[0]), number(&value[1]), number(&value[2]))
}

/// The copied file, or the one in the shared folder.
fn file_of(name: &str) -> Option<PathBuf> {
    let copied = data().join(name);
    if copied.exists() {
        return Some(copied);
    }
    let folders = [
        "exchange/parts",
        "exchange/parts/nist",
        "data/scanner_sim_targets",
        "data/trimesh_models",
    ];
    let all = shared("")?;
    let found = folders.iter().map(|folder| all.join(folder).join(name)).find(|p| p.exists());
    if found.is_none() {
        fitwright_tests::skipped(&format!("no {name} in shared/"));
    }
    found
}

fn check_against_kernel(part: &Part, kernel: &Value, name: &str) {
    assert!(part.closed().is_ok(), "{name}: {:?}", part.closed());
    assert_eq!(Some(part.solids as u64), kernel["solids"].as_u64(), "{name}");
    assert_eq!(Some(part.faces.len() as u64), kernel["faces"].as_u64(), "{name}");
    let volume = number(&kernel["volume"]);
    // The g parts are so small that the chords, all on one side, cost more than a thousandth.
    let allowed = if name.starts_with('g') { CHORD * part.area() } else { 1e-3 * volume };
    assert!((part.volume() - volume).abs() < allowed, "{name}: {} of {volume}", part.volume());
    let area = number(&kernel["area"]);
    assert!((part.area() / area - 1.0).abs() < 1e-3, "{name}: {} of {area}", part.area());
    let (low, high) = part.bounding_box().expect("triangles");
    for axis in 0..3 {
        // The kernel widens its boxes by its own tolerance of 1e-7.
        let allowed = CHORD + 2e-7;
        assert!((low[axis] - number(&kernel["box"][axis])).abs() < allowed, "{name}");
        assert!((high[axis] - number(&kernel["box"][axis + 3])).abs() < allowed, "{name}");
    }
}

/// The kernel's full inward cylinders and the holes are the same.
fn check_holes(part: &Part, kernel: &Value, name: &str) {
    let bores = kernel["holes"].as_array().expect("a list");
    assert_eq!(part.holes.len(), bores.len(), "{name}");
    for bore in bores {
        let (on_axis, along) = (point(&bore["point"]), point(&bore["axis"]).coords);
        let matching = part.holes.iter().any(|hole| {
            (hole.radius - number(&bore["radius"])).abs() < 1e-9
                && hole.axis.cross(&along).norm() < 1e-9
                && (hole.point - on_axis).cross(&along).norm() < 1e-9
                && hole.depth > 0.0
        });
        assert!(matching, "{name}: {bore} is not among {:?}", part.holes);
    }
}

/// Corners, middles of sides and of triangles lie within the chord error of the exact surface.
fn check_chord_error(part: &Part, file: &str) {
    let mut corners_off: f64 = 0.0;
    for (index, face) in part.face_of_triangle.iter().enumerate() {
        let Some(shape) = &part.faces[*face as usize].shape else { continue };
        let [a, b, c] = part.corners(index).expect("a triangle");
        for corner in [a, b, c] {
            corners_off = corners_off.max(shape.distance(&corner).abs());
        }
        for (wa, wb, wc) in [
            (1.0, 0.0, 0.0),
            (0.5, 0.5, 0.0),
            (0.0, 0.5, 0.5),
            (0.5, 0.0, 0.5),
            (1.0 / 3.0, 1.0 / 3.0, 1.0 / 3.0),
            (0.6, 0.2, 0.2),
        ] {
            let p = Point3::from(a.coords * wa + b.coords * wb + c.coords * wc);
            let off = shape.distance(&p).abs();
            assert!(off <= part.chord_error + 1e-9, "{file}: {off} off {shape:?} at {p}");
        }
    }
    // Two of the NIST files have edges 2e-3 and 1.4e-2 mm off their own surfaces, and say so.
    assert!(part.chord_error <= CHORD + corners_off + 1e-9, "{file}: {}", part.chord_error);
    let said = part.notes.iter().any(|note| note.contains("off their surfaces"));
    assert_eq!(said, part.chord_error > CHORD, "{file}: {:?}", part.notes);
}

#[test]
fn parts_agree_with_the_kernel() -> Outcome {
    let mut read_count = 0;
    for kernel in references()? {
        let name = kernel["file"].as_str().ok_or("a name")?;
        let Some(path) = file_of(name) else { continue };
        let start = Instant::now();
        let part = read(&path).map_err(|e| format!("{name}: {e}"))?;
        println!(
            "{name}: {:.3} s, {} triangles",
            start.elapsed().as_secs_f64(),
            part.triangles.len()
        );
        check_against_kernel(&part, &kernel, name);
        check_holes(&part, &kernel, name);
        check_chord_error(&part, name);
        read_count += 1;
    }
    assert!(read_count >= 10, "the copied parts are always there");
    Ok(())
}

/// The same part saved under two schemas by one program.
#[test]
fn two_schemas_give_the_same_part() -> Outcome {
    let file = |schema: &str| shared(&format!("data/trimesh_models/base_interface_{schema}.STEP"));
    let (Some(a), Some(b)) = (file("AP203"), file("AP214")) else {
        return Ok(());
    };
    let (a, b) = (read(&a)?, read(&b)?);
    assert_eq!((a.schema.as_str(), b.schema.as_str()), ("AP203", "AP214"));
    assert_eq!((a.closed(), b.closed()), (Ok(()), Ok(())));
    assert!((a.volume() / b.volume() - 1.0).abs() < 1e-12);
    assert_eq!(a.holes.len(), b.holes.len());
    for hole in &a.holes {
        let (other, distance) = b.hole_near(&hole.point).ok_or("a hole")?;
        assert!(distance < 1e-9 && (other.radius - hole.radius).abs() < 1e-9);
    }
    Ok(())
}

/// A model whose writer rounded copies of a corner differently (trimesh models, MIT: watertight,
/// 3476 triangles, 5.0 x 2.5 x 1.375 inch): as a part it is closed all the same.
#[test]
fn an_stl_of_rounded_corners_is_a_closed_part() -> Outcome {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/trimesh/featuretype.STL");
    let unit = fitwright::units::LengthUnit::Inch;
    let part = Part::read(&file, &PartOptions { unit, ..PartOptions::default() })?;
    assert_eq!(part.closed(), Ok(()));
    assert_eq!((part.triangles.len(), part.solids), (3476, 1));
    assert!(part.notes.iter().any(|n| n.contains("rounding")), "{:?}", part.notes);
    let (low, high) = part.bounding_box().ok_or("a box")?;
    let size = (high - low) / 25.4;
    for (found, stated) in size.iter().zip([5.0, 2.5, 1.375]) {
        assert!((found - stated).abs() < 1e-5, "{size:?}");
    }
    Ok(())
}

/// An inch part beside the mesh that its own CAD program wrote, in inch too.
#[test]
fn inch_part_agrees_with_the_mesh_of_its_own_program() -> Outcome {
    let (Some(step), Some(stl)) = (
        shared("data/trimesh_models/featuretype.STEP"),
        shared("data/trimesh_models/featuretype.STL"),
    ) else {
        return Ok(());
    };
    let part = read(&step)?;
    assert_eq!(part.closed(), Ok(()));
    let bytes = std::fs::read(stl)?;
    let corner = |at: usize| -> [f64; 3] {
        [0, 4, 8].map(|i| {
            let four = [0, 1, 2, 3].map(|k| bytes[at + i + k]);
            f64::from(f32::from_le_bytes(four)) * 25.4
        })
    };
    let volume: f64 = (0..(bytes.len() - 84) / 50)
        .map(|t| [12, 24, 36].map(|i| nalgebra::Vector3::from(corner(84 + 50 * t + i))))
        .map(|[a, b, c]| a.dot(&b.cross(&c)) / 6.0)
        .sum();
    // The mesh is the coarser of the two: its own chords make about a thousandth.
    assert!((part.volume() / volume - 1.0).abs() < 2e-3, "{} {volume}", part.volume());
    Ok(())
}

/// Reads a text as a STEP file.
fn read_text(text: &[u8]) -> Result<fitwright::Result<Part>, std::io::Error> {
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("part.step");
    std::fs::write(&path, text)?;
    Ok(read(&path))
}

fn plate() -> Result<String, std::io::Error> {
    std::fs::read_to_string(data().join("p10_inch_plate.step"))
}

/// The same bits for any number of threads.
#[test]
fn threads_do_not_change_the_part() -> Outcome {
    let path = data().join("p05_torus_fillets.step");
    let read_with = |threads: usize| -> fitwright::Result<Part> {
        fitwright::Context::new(threads)?.run(|| read(&path))
    };
    let (one, four) = (read_with(1)?, read_with(4)?);
    assert_eq!((&one.points, &one.triangles), (&four.points, &four.triangles));
    // The file's own defect: a fillet whose bounds run against all its neighbours.
    assert_eq!(one.notes.len(), 1);
    Ok(())
}

#[test]
fn broken_files_are_refused_with_entity_and_line() -> Outcome {
    let text = plate()?;
    let line_of = |needle: &str| {
        let at = text.find(needle).expect("the plate holds it");
        1 + text[..at].matches('\n').count()
    };
    let at = text.find("CYLINDRICAL_SURFACE").ok_or("a cylinder")?;
    let cylinder = text[at..].split(';').next().ok_or("an end")?.to_owned();
    let radius = cylinder.rsplit(',').next().ok_or("a radius")?.to_owned();
    let cases: Vec<(&str, String, String, &str)> = vec![
        (
            "missing reference",
            "#15 = MANIFOLD_SOLID_BREP('',#16)".into(),
            "#15 = MANIFOLD_SOLID_BREP('',#999999)".into(),
            "#999999",
        ),
        (
            "cyclic reference",
            "#26 = SURFACE_CURVE('',#27,".into(),
            "#26 = SURFACE_CURVE('',#26,".into(),
            "refer to each other",
        ),
        (
            "wrong arity",
            "#15 = MANIFOLD_SOLID_BREP('',#16)".into(),
            "#15 = MANIFOLD_SOLID_BREP('')".into(),
            "#15=MANIFOLD_SOLID_BREP",
        ),
        ("wrong type", "#16 = CLOSED_SHELL('',".into(), "#16 = PLANE('',".into(), "CLOSED_SHELL"),
        (
            "huge number",
            cylinder.clone(),
            cylinder.replace(&radius, "1.E300)"),
            "CYLINDRICAL_SURFACE",
        ),
        ("twice", "#16 = CLOSED_SHELL('',".into(), "#15 = CLOSED_SHELL('',".into(), "#15"),
        (
            "face that cannot be read",
            cylinder.clone(),
            "SURFACE_REPLICA('',#45,#45)".into(),
            "SURFACE_REPLICA",
        ),
        (
            "shell as its own face",
            "#16 = CLOSED_SHELL('',(#17,".into(),
            "#16 = CLOSED_SHELL('',(#16,".into(),
            "CLOSED_SHELL",
        ),
    ];
    for (what, from, to, expected) in cases {
        assert!(text.contains(&from), "{what}: {from}");
        let error = read_text(text.replace(&from, &to).as_bytes())?.err().ok_or(what)?;
        let message = error.to_string();
        assert!(message.contains(expected), "{what}: {message}");
        assert!(message.contains("line") || message.contains("DATA"), "{what}: {message}");
    }
    let broken = text.replace("#16 = CLOSED_SHELL('',(", "#16 = CLOSED_SHELL('',(,");
    let message = read_text(broken.as_bytes())?.err().ok_or("an error")?.to_string();
    assert!(message.contains(&format!("line {}", line_of("#16 = CLOSED_SHELL"))), "{message}");
    Ok(())
}

#[test]
fn what_cannot_be_read_names_entity_line_and_remedy() -> Outcome {
    let text = plate()?;
    let at = text.find("CYLINDRICAL_SURFACE").ok_or("a cylinder")?;
    let line = 1 + text[..at].matches('\n').count();
    let end = at + text[at..].find(';').ok_or("an end")?;
    let changed = format!("{}SURFACE_REPLICA('',#45,#45){}", &text[..at], &text[end..]);
    let error = read_text(changed.as_bytes())?.err().ok_or("an error")?;
    assert!(matches!(error, Error::Unsupported { .. }), "{error}");
    let message = error.to_string();
    assert!(message.contains("=SURFACE_REPLICA") && message.contains(&format!("line {line}")));
    assert!(message.contains("export"), "{message}");
    Ok(())
}

/// Found by damaging files at random: a radius of 1e8 mm on an edge of 10 mm asked for a million points.
#[test]
fn a_surface_far_from_its_edges_is_refused_at_once() -> Outcome {
    let text = plate()?;
    let at = text.find("CYLINDRICAL_SURFACE").ok_or("a cylinder")?;
    let end = at + text[at..].find(')').ok_or("an end")?;
    let comma = at + text[at..end].rfind(',').ok_or("a radius")?;
    let changed = format!("{},1.E5{}", &text[..comma], &text[end..]);
    let start = Instant::now();
    let message = read_text(changed.as_bytes())?.err().ok_or("an error")?.to_string();
    assert!(message.contains("off its surface") && message.contains("ADVANCED_FACE"), "{message}");
    assert!(start.elapsed().as_secs_f64() < 5.0);
    Ok(())
}

#[test]
fn names_of_any_bytes_are_no_obstacle() -> Outcome {
    let text = plate()?;
    let mut bytes =
        text.replace("MANIFOLD_SOLID_BREP('',", "MANIFOLD_SOLID_BREP('@@',").into_bytes();
    for byte in bytes.iter_mut().filter(|b| **b == b'@') {
        *byte = 0xfe;
    }
    assert_eq!(read_text(&bytes)?.map(|p| p.closed()), Ok(Ok(())));
    Ok(())
}

/// An open shell comes in, and says where it is open.
#[test]
fn a_missing_face_is_an_open_part() -> Outcome {
    let text = plate()?;
    let at = text.find("CLOSED_SHELL('',(").ok_or("a shell")? + "CLOSED_SHELL('',(".len();
    let end = at + text[at..].find(',').ok_or("a list")?;
    let changed = format!("{}{}", &text[..at], &text[end + 1..]);
    let part = read_text(changed.as_bytes())??;
    match part.closed() {
        // The first face is the x = -50.8 side of the plate: four edges.
        Err(Error::OpenPart { open_edges, at, .. }) => {
            assert_eq!(open_edges, 4);
            assert!((at[0] + 50.8).abs() < 1e-9, "{at:?}");
        }
        other => return Err(format!("{other:?}").into()),
    }
    Ok(())
}

/// Every kind of damage ends in a part or an error, soon, and never in a panic.
#[test]
fn damaged_files_never_panic_nor_hang() -> Outcome {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut random = move |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % below.max(1) as u64) as usize
    };
    for name in [
        "p06_cone_turned.step",
        "p10_inch_plate.step",
        "p08_two_solids.step",
        "f_composite.step",
        "f_offset.step",
        "a_mixed.step",
    ] {
        let bytes = std::fs::read(data().join(name))?;
        for round in 0..70 {
            let mut damaged = bytes.clone();
            match round % 7 {
                0 => damaged.truncate(random(bytes.len())),
                1 => {
                    for _ in 0..3 {
                        let at = random(damaged.len());
                        damaged[at] = b"0123456789#(),.'$*;=-E"[random(22)];
                    }
                }
                2 => {
                    // One reference or number for another.
                    let digits: Vec<usize> =
                        (0..damaged.len()).filter(|i| damaged[*i].is_ascii_digit()).collect();
                    for _ in 0..4 {
                        damaged[digits[random(digits.len())]] = b'0' + random(10) as u8;
                    }
                }
                3 => {
                    let (from, len) = (random(damaged.len()), random(400));
                    damaged.drain(from..(from + len).min(bytes.len()));
                }
                4 => {
                    let mut lines: Vec<&[u8]> = bytes.split(|b| *b == b'\n').collect();
                    lines.remove(random(lines.len()));
                    damaged = lines.join(&b'\n');
                }
                5 => {
                    // Two references change places.
                    let marks: Vec<usize> =
                        (0..bytes.len()).filter(|i| bytes[*i] == b'#').collect();
                    let number = |at: usize| {
                        let rest = &bytes[at + 1..];
                        let len = rest.iter().take_while(|b| b.is_ascii_digit()).count();
                        at + 1..at + 1 + len
                    };
                    let (a, b) = (random(marks.len()), random(marks.len()));
                    let (a, b) = (number(marks[a.min(b)]), number(marks[a.max(b)]));
                    if a.end <= b.start {
                        damaged = [
                            &bytes[..a.start],
                            &bytes[b.clone()],
                            &bytes[a.end..b.start],
                            &bytes[a],
                            &bytes[b.end..],
                        ]
                        .concat();
                    }
                }
                _ => {
                    // A number becomes another, of any size and sign.
                    let points: Vec<usize> = (1..bytes.len())
                        .filter(|i| {
                            bytes[*i - 1..].starts_with(b",.")
                                || (bytes[*i] == b'.' && bytes[*i - 1].is_ascii_digit())
                        })
                        .collect();
                    let at = points[random(points.len())];
                    let odd = ["0.", "-1.", "1.E-300", "1.E300", "7.E6", "1.E-9", "-0.", "1.E9"];
                    let start =
                        bytes[..at].iter().rposition(|b| b"(,".contains(b)).map_or(0, |i| i + 1);
                    let end = at + bytes[at..].iter().position(|b| b",)".contains(b)).unwrap_or(0);
                    damaged.splice(start..end, odd[random(odd.len())].bytes());
                }
            }
            let start = Instant::now();
            let outcome = read_text(&damaged)?;
            let seconds = start.elapsed().as_secs_f64();
            assert!(
                seconds < MOST_SECONDS,
                "{name} {round}: {seconds} s, {:?}",
                outcome.map(|p| p.triangles.len())
            );
        }
    }
    Ok(())
}

/// An assembly that contains itself, and one that doubles at each of 60 levels.
#[test]
fn assemblies_without_end_are_refused() -> Outcome {
    let head = "ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n\
                #1=CARTESIAN_POINT('',(0.,0.,0.));\n#2=AXIS2_PLACEMENT_3D('',#1,$,$);\n";
    let level = |i: usize, next: usize| {
        let id = 10 * i;
        format!(
            "#{id}=SHAPE_REPRESENTATION('',(#{},#{}),$);\n#{}=REPRESENTATION_MAP(#2,#{});\n\
             #{}=MAPPED_ITEM('',#{},#2);\n#{}=MAPPED_ITEM('',#{},#2);\n",
            id + 2,
            id + 3,
            id + 1,
            10 * next,
            id + 2,
            id + 1,
            id + 3,
            id + 1
        )
    };
    let end = "ENDSEC;\nEND-ISO-10303-21;\n";
    let deep: String = (1..60).map(|i| level(i, i + 1)).collect();
    let deep = format!("{head}{deep}#600=SHAPE_REPRESENTATION('',(#2),$);\n{end}");
    let error = read_text(deep.as_bytes())?.err().ok_or("an error")?;
    assert!(matches!(error, Error::Limit { .. }), "{error}");
    // The loop hangs below a root, so that it is met on the way.
    let cyclic = format!("{head}{}{}{}{end}", level(1, 2), level(2, 3), level(3, 2));
    let message = read_text(cyclic.as_bytes())?.err().ok_or("an error")?.to_string();
    assert!(message.contains("contains itself"), "{message}");
    Ok(())
}

/// Nesting of lists and of entities is bounded, and so is the work a large file asks for.
#[test]
fn deep_and_large_files_end_soon() -> Outcome {
    let head = "ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('X'));\nENDSEC;\nDATA;\n";
    let nested = format!("{head}#1=SHAPE_REPRESENTATION({}", "(".repeat(5_000_000));
    assert!(read_text(nested.as_bytes())?.is_err());
    let closed =
        format!("{head}#1=SHAPE_REPRESENTATION({}{});", "(".repeat(100_000), ")".repeat(100_000));
    assert!(read_text(closed.as_bytes())?.is_err());
    let mut many = head.to_owned();
    for i in 1..600_000 {
        many.push_str(&format!("#{i}=CARTESIAN_POINT('',(1.,2.,{i}.));\n"));
    }
    many.push_str("ENDSEC;\nEND-ISO-10303-21;\n");
    let start = Instant::now();
    let error = read_text(many.as_bytes())?.err().ok_or("an error")?;
    assert!(error.to_string().contains("without a solid"), "{error}");
    assert!(start.elapsed().as_secs_f64() < 20.0);
    Ok(())
}

/// A torus whose tube is wider than its ring: the outer part, dimpled at both poles.
#[test]
fn a_torus_that_meets_its_axis_has_the_volume_of_its_profile() -> Outcome {
    let (major, minor) = (4.5_f64, 7.5_f64);
    let text = std::fs::read_to_string(data().join("p08_two_solids.step"))?;
    let at = text.find("SPHERICAL_SURFACE").ok_or("a sphere")?;
    let end = at + text[at..].find(';').ok_or("an end")?;
    let place = text[at..end].split(',').nth(1).ok_or("a placement")?;
    let apple = format!("DEGENERATE_TOROIDAL_SURFACE('',{place},{major},{minor},.T.)");
    let part = read_text(format!("{}{apple}{}", &text[..at], &text[end..]).as_bytes())??;
    assert_eq!(part.closed(), Ok(()));
    // By slices across the axis: outer disc less the dimple's.
    let slices = 200_000;
    let exact: f64 = (0..slices)
        .map(|i| minor * ((f64::from(i) + 0.5) / f64::from(slices) * 2.0 - 1.0))
        .map(|z| {
            let half = (minor * minor - z * z).sqrt();
            (major + half).powi(2) - (major - half).max(0.0).powi(2)
        })
        .sum::<f64>()
        * std::f64::consts::PI
        * 2.0
        * minor
        / f64::from(slices);
    // The other solid is a box of 30 x 30 x 30; the sphere's centre is 60 from its middle.
    let other = 51429.02447431423 - 4.0 / 3.0 * std::f64::consts::PI * 18.0_f64.powi(3);
    let volume = part.volume() - other;
    assert!((volume / exact - 1.0).abs() < 3e-3, "{volume} {exact}");
    Ok(())
}

/// A small file whose instances multiply: two thousand faces on one surface of 160,000 points.
#[test]
fn shared_geometry_cannot_multiply_the_work() -> Outcome {
    let row = format!("({}#1)", "#1,".repeat(399));
    let net = format!("({}{row})", format!("{row},").repeat(399));
    let faces: Vec<String> = (100..2100).map(|i| format!("#{i}")).collect();
    let mut text = format!(
        "ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('X'));\nENDSEC;\nDATA;\n#1=CARTESIAN_POINT('',(0.,0.,0.));\n\
         #2=QUASI_UNIFORM_SURFACE('',3,3,{net},.UNSPECIFIED.,.F.,.F.,.F.);\n\
         #3=MANIFOLD_SOLID_BREP('',#4);\n#4=CLOSED_SHELL('',({}));\n",
        faces.join(",")
    );
    for face in &faces {
        text.push_str(&format!("{face}=ADVANCED_FACE('',(),#2,.T.);\n"));
    }
    text.push_str("ENDSEC;\nEND-ISO-10303-21;\n");
    let start = Instant::now();
    let error = read_text(text.as_bytes())?.err().ok_or("an error")?;
    assert!(matches!(error, Error::Limit { .. }), "{error}");
    assert!(start.elapsed().as_secs_f64() < 60.0);
    Ok(())
}

#[test]
fn options_and_formats_out_of_range_are_refused() {
    let path = data().join("p10_inch_plate.step");
    for chord_error_mm in [0.0, -1.0, f64::NAN, 1e-9, f64::INFINITY] {
        let options = PartOptions { chord_error_mm, ..PartOptions::default() };
        assert!(matches!(Part::read(&path, &options), Err(Error::Argument { .. })));
    }
    let options = PartOptions::default();
    assert!(matches!(Part::read("part.sldprt", &options), Err(Error::UnknownFormat { .. })));
    assert!(matches!(Part::read("no/such/part.step", &options), Err(Error::Io { .. })));
}

/// Largest distance of the meshes from the exact surfaces, mm.
const CHORD: f64 = 0.01;
/// Far over what any of them takes, 4 s of one unoptimised core, so that a busy machine is no failure.
const MOST_SECONDS: f64 = 90.0;
