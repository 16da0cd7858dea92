//! Files that lie: an error that names the place, within seconds and without wild allocation.

use std::io::{Cursor, Write as _};
use std::time::{Duration, Instant};

use fitwright::scan::{ReadOptions, read_mesh};
use fitwright::units::LengthUnit;
use serde_json::{Value, json};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::{error_of, write_file};

/// GLB of a JSON text and a binary chunk.
fn glb(json: &str, binary: &[u8]) -> Vec<u8> {
    let mut text = json.as_bytes().to_vec();
    text.resize(text.len().next_multiple_of(4), b' ');
    let total = 12 + 8 + text.len() + 8 + binary.len();
    let mut file = b"glTF".to_vec();
    for word in [2, total as u32, text.len() as u32] {
        file.extend(word.to_le_bytes());
    }
    file.extend(b"JSON");
    file.extend(text);
    file.extend((binary.len() as u32).to_le_bytes());
    file.extend(b"BIN\0");
    file.extend(binary);
    file
}

/// One triangle: three positions, three corner numbers.
fn triangle() -> (Value, Vec<u8>) {
    let mut binary = Vec::new();
    for x in [0.0f32, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0] {
        binary.extend(x.to_le_bytes());
    }
    for id in [0u32, 1, 2] {
        binary.extend(id.to_le_bytes());
    }
    let gltf = json!({
        "asset": { "version": "2.0" },
        "scene": 0,
        "scenes": [{ "nodes": [0] }],
        "nodes": [{ "mesh": 0 }],
        "meshes": [{ "primitives": [{ "attributes": { "POSITION": 0 }, "indices": 1 }] }],
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3" },
            { "bufferView": 1, "componentType": 5125, "count": 3, "type": "SCALAR" },
        ],
        "bufferViews": [
            { "buffer": 0, "byteOffset": 0, "byteLength": 36 },
            { "buffer": 0, "byteOffset": 36, "byteLength": 12 },
        ],
        "buffers": [{ "byteLength": 48 }],
    });
    (gltf, binary)
}

#[test]
fn glb_that_lies() {
    let folder = tempfile::tempdir().expect("a folder");
    let (sound, binary) = triangle();
    let path = write_file(folder.path(), "sound.glb", &glb(&sound.to_string(), &binary));
    let mesh = read_mesh(&path, LengthUnit::Millimetre, &ReadOptions::default()).expect("sound");
    // One metre along glTF's x and y: a thousand millimetres along x and z here.
    assert_eq!(mesh.triangles, [[0, 1, 2]]);
    let points: Vec<[f64; 3]> = mesh.points.iter().map(|p| [p.x, p.y, p.z]).collect();
    assert_eq!(points, [[0.0; 3], [1000., 0., 0.], [0., 0., 1000.]]);
    // What is changed, and what the error must say.
    let cases: [(&str, Value, &str); 21] = [
        ("/accessors/1/componentType", json!(5126), "accessors[1]"),
        ("/accessors/0/componentType", json!(5121), "accessors[0]"),
        ("/accessors/0/type", json!("SCALAR"), "accessors[0]"),
        ("/accessors/0/count", json!(1u64 << 62), "points"),
        ("/accessors/0/count", json!(4), "accessors[0]"),
        ("/accessors/1/count", json!(4_000_000_000u64), "triangles"),
        ("/accessors/1/count", json!(2), "three corners"),
        ("/accessors/0/byteOffset", json!(u64::MAX), "accessors[0]"),
        ("/accessors/0/bufferView", json!(7), "bufferView"),
        ("/accessors/0/sparse", json!({ "count": 4_000_000_000u64 }), "sparse"),
        ("/bufferViews/0/byteLength", json!(u64::MAX), "accessors[0]"),
        ("/bufferViews/0/byteStride", json!(1), "stride"),
        ("/bufferViews/0/buffer", json!(1), "buffer 1"),
        ("/buffers/0/byteLength", json!(1u64 << 40), "buffers[0]"),
        ("/buffers/0/uri", json!("/dev/zero"), "buffers[0].uri"),
        ("/nodes/0/children", json!([0]), "two parents"),
        ("/nodes/0/mesh", json!(9), "nodes[0].mesh"),
        ("/nodes/0/rotation", json!([0, 0, 0, 0]), "rotation"),
        ("/nodes/0/matrix", json!([1, 0, 0, 1, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]), "affine"),
        ("/meshes/0/primitives/0/mode", json!(9), "mode 9"),
        ("/extensionsRequired", json!(["KHR_draco_mesh_compression"]), "KHR_draco"),
    ];
    for (place, value, said) in cases {
        let mut gltf = sound.clone();
        let (parent, key) = place.rsplit_once('/').expect("a path");
        gltf.pointer_mut(parent).expect("a place")[key] = value;
        let error = error_of(folder.path(), "a.glb", &glb(&gltf.to_string(), &binary));
        assert!(error.contains(said), "{place}: {error}");
    }
    // A corner past the last, positions that are no numbers.
    for (at, four, said) in
        [(44, 9u32.to_le_bytes(), "below 3"), (4, f32::NAN.to_le_bytes(), "finite")]
    {
        let mut wrong = binary.clone();
        wrong[at..at + 4].copy_from_slice(&four);
        let error = error_of(folder.path(), "a.glb", &glb(&sound.to_string(), &wrong));
        assert!(error.contains(said), "{error}");
    }
    let whole = glb(&sound.to_string(), &binary);
    for length in [4, 11, 19, 40, whole.len() - 1] {
        error_of(folder.path(), "a.glb", &whole[..length]);
    }
    for (at, word) in [(4, 1u32), (8, u32::MAX), (12, u32::MAX), (12, 3)] {
        let mut wrong = whole.clone();
        wrong[at..at + 4].copy_from_slice(&word.to_le_bytes());
        error_of(folder.path(), "a.glb", &wrong);
    }
    let deep = format!("{}{}", "[".repeat(200_000), "]".repeat(200_000));
    assert!(error_of(folder.path(), "a.glb", &glb(&deep, &binary)).contains("JSON chunk"));
}

/// Strips, fans, short and missing corner numbers, two scenes: the same square.
#[test]
fn glb_forms_of_a_square() {
    let folder = tempfile::tempdir().expect("a folder");
    let corners = [[0.0f32, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]];
    let positions: Vec<u8> =
        corners.iter().flat_map(|[x, y]| [*x, *y, 0.0]).flat_map(f32::to_le_bytes).collect();
    for (mode, ids, component) in [
        (5, vec![0u8, 1, 2, 3], 5121),
        (6, vec![0, 1, 3, 2], 5121),
        (4, vec![0, 1, 2, 1, 3, 2], 5121),
        (4, vec![0, 0, 1, 0, 2, 0, 1, 0, 3, 0, 2, 0], 5123),
    ] {
        let count = if component == 5123 { ids.len() / 2 } else { ids.len() };
        let mut binary = positions.clone();
        binary.extend(&ids);
        let gltf = json!({
            "asset": { "version": "2.0" }, "scene": 1,
            "scenes": [{ "nodes": [] }, { "nodes": [0] }],
            "nodes": [{ "mesh": 0 }],
            "meshes": [{ "primitives": [
                { "attributes": { "POSITION": 0 }, "indices": 1, "mode": mode },
                { "attributes": { "POSITION": 0 }, "mode": 1 },
            ] }],
            "accessors": [
                { "bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3" },
                { "bufferView": 1, "componentType": component, "count": count, "type": "SCALAR" },
            ],
            "bufferViews": [
                { "buffer": 0, "byteLength": 48 },
                { "buffer": 0, "byteOffset": 48, "byteLength": ids.len() },
            ],
            "buffers": [{ "byteLength": 48 + ids.len() }],
        });
        let path = write_file(folder.path(), "a.glb", &glb(&gltf.to_string(), &binary));
        let mesh =
            read_mesh(&path, LengthUnit::Millimetre, &ReadOptions::default()).expect("a square");
        assert_eq!(mesh.triangles.len(), 2, "{mode}");
        for t in &mesh.triangles {
            let [a, b, c] = t.map(|i| mesh.points[i as usize]);
            // Half a square metre that faces glTF's +z, which is -y here.
            let area = (b - a).cross(&(c - a)) / 2.0;
            assert!((area.y + 5e5).abs() < 1e-6, "{mode}: {area}");
        }
        assert!(mesh.notes.iter().any(|n| n.contains("1 line")), "{:?}", mesh.notes);
    }
}

const MODEL: &str = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";

fn package(model: &[u8]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default();
    zip.start_file("_rels/.rels", options).expect("a part");
    let rels = format!(
        "<Relationships><Relationship Type=\"{MODEL}\" Target=\"/3D/m.model\"/></Relationships>"
    );
    zip.write_all(rels.as_bytes()).expect("written");
    zip.start_file("3D/m.model", options.large_file(true)).expect("a part");
    zip.write_all(model).expect("written");
    zip.finish().expect("a package").into_inner()
}

fn model(resources: &str, build: &str) -> Vec<u8> {
    package(
        format!(
            "<model unit=\"inch\"><resources>{resources}</resources><build>{build}</build></model>"
        )
        .as_bytes(),
    )
}

const CORNERS: &str = "<vertices><vertex x=\"0\" y=\"0\" z=\"0\"/><vertex x=\"1\" y=\"0\" z=\"0\"/>\
    <vertex x=\"0\" y=\"1\" z=\"0\"/></vertices>";

fn object(id: u32, body: &str) -> String {
    format!("<object id=\"{id}\">{body}</object>")
}

fn one(triangles: &str) -> String {
    object(1, &format!("<mesh>{CORNERS}<triangles>{triangles}</triangles></mesh>"))
}

const SOUND: &str = "<triangle v1=\"0\" v2=\"1\" v3=\"2\"/>";

#[test]
fn threemf_places_and_units() {
    let folder = tempfile::tempdir().expect("a folder");
    let parts = object(
        2,
        "<components><component objectid=\"1\"/>\
         <component objectid=\"1\" transform=\"0 1 0 -1 0 0 0 0 1 10 0 0\"/></components>",
    );
    let bytes = model(
        &(one(SOUND) + &parts),
        "<item objectid=\"2\" transform=\"1 0 0 0 1 0 0 0 -1 0 0 5\"/>",
    );
    let path = write_file(folder.path(), "a.3mf", &bytes);
    let mesh = read_mesh(&path, LengthUnit::Millimetre, &ReadOptions::default()).expect("sound");
    // Row vectors: x goes to y, y to -x, then ten inches along x; then mirrored in z and five inches up.
    let inches: Vec<[f64; 3]> =
        mesh.points.iter().map(|p| [p.x / 25.4, p.y / 25.4, p.z / 25.4]).collect();
    let due =
        [[0., 0., 5.], [1., 0., 5.], [0., 1., 5.], [10., 0., 5.], [10., 1., 5.], [9., 0., 5.]];
    for (a, b) in inches.iter().flatten().zip(due.iter().flatten()) {
        assert!((a - b).abs() < 1e-12, "{inches:?}");
    }
    // The mirroring place turns the triangles.
    assert_eq!(mesh.triangles, [[0, 2, 1], [3, 5, 4]]);
}

#[test]
fn threemf_that_lies() {
    let folder = tempfile::tempdir().expect("a folder");
    let item = "<item objectid=\"1\"/>";
    let instances: String = (2..60)
        .map(|id| {
            let part = format!("<component objectid=\"{}\"/>", id - 1);
            object(id, &format!("<components>{part}{part}</components>"))
        })
        .collect();
    let deep = "<a>".repeat(300_000);
    let cases: Vec<(Vec<u8>, &str)> = vec![
        (model(&one(SOUND), ""), "item"),
        (model(&one(SOUND), "<item objectid=\"7\"/>"), "objectid 7"),
        (model(&one("<triangle v1=\"0\" v2=\"1\" v3=\"9\"/>"), item), "below 3"),
        (model(&one("<triangle v1=\"-1\" v2=\"1\" v3=\"2\"/>"), item), "v1"),
        (model(&one("<triangle v1=\"0\" v2=\"1\"/>"), item), "without v3"),
        (model(&one("<triangle v1=\"4294967299\" v2=\"1\" v3=\"2\"/>"), item), "below 3"),
        (
            model(
                &object(1, "<mesh><vertices><vertex x=\"nan\" y=\"0\" z=\"0\"/></vertices></mesh>"),
                item,
            ),
            "x =",
        ),
        (
            model(
                &object(
                    1,
                    "<mesh><vertices><vertex x=\"1e400\" y=\"0\" z=\"0\"/></vertices></mesh>",
                ),
                item,
            ),
            "x =",
        ),
        (
            model(&object(1, &format!("<mesh><triangles>{SOUND}</triangles></mesh>")), item),
            "below 0",
        ),
        (model(&(one(SOUND) + &one(SOUND)), item), "object 1 again"),
        (model(&one(SOUND), "<item objectid=\"1\" transform=\"1 0 0\"/>"), "transform"),
        (model(&one(SOUND), "<item objectid=\"1\" p:path=\"/3D/other.model\"/>"), "another part"),
        (
            model(&object(1, "<components><component objectid=\"1\"/></components>"), item),
            "contains itself",
        ),
        (model(&(one(SOUND) + &instances), "<item objectid=\"59\"/>"), "over the limit"),
        (package(b"<model unit=\"furlong\"></model>"), "furlong"),
        (package(b"<!DOCTYPE x [<!ENTITY a \"b\">]><model></model>"), "document type"),
        (package(deep.as_bytes()), "64 deep"),
        (package(b"<model><resources>"), "end"),
        (package(b"\xff\xfe\x00\x01"), ""),
        (package(b""), "item"),
        (b"PK\x03\x04 and no more".to_vec(), "archive"),
    ];
    for (bytes, said) in cases {
        let start = Instant::now();
        let error = error_of(folder.path(), "a.3mf", &bytes);
        assert!(error.contains(said), "{said}: {error}");
        assert!(start.elapsed() < Duration::from_secs(10), "{said}: {:?}", start.elapsed());
    }
    let whole = model(&one(SOUND), item);
    for length in [10, whole.len() / 2, whole.len() - 3] {
        error_of(folder.path(), "a.3mf", &whole[..length]);
    }
}

/// Packed a thousandfold: blanks, one attribute, vertices. Each is told at once, not unpacked.
#[test]
fn threemf_bombs() {
    let folder = tempfile::tempdir().expect("a folder");
    let vertex = "<vertex x=\"0\" y=\"0\" z=\"0\"/>";
    let many = 200_000_000 / vertex.len();
    for (head, piece, count) in [
        ("<model>", "          ", 20_000_000),
        ("<model x=\"", "aaaaaaaaaa", 20_000_000),
        ("<model><resources><object id=\"1\"><mesh><vertices>", vertex, many),
    ] {
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        let options = SimpleFileOptions::default().compression_level(Some(9));
        zip.start_file("_rels/.rels", options).expect("a part");
        let rels = format!("<R><Relationship Type=\"{MODEL}\" Target=\"3D/m.model\"/></R>");
        zip.write_all(rels.as_bytes()).expect("written");
        zip.start_file("3D/m.model", options.large_file(true)).expect("a part");
        zip.write_all(head.as_bytes()).expect("written");
        let block = piece.repeat(10_000);
        for _ in 0..count / 10_000 {
            zip.write_all(block.as_bytes()).expect("written");
        }
        let bytes = zip.finish().expect("a package").into_inner();
        assert!(bytes.len() < 2_000_000, "{}", bytes.len());
        let start = Instant::now();
        let error = error_of(folder.path(), "a.3mf", &bytes);
        assert!(start.elapsed() < Duration::from_secs(20), "{:?}", start.elapsed());
        assert!(error.contains("megabyte") || error.contains("swells"), "{error}");
    }
}

/// Pages of an E57 file hold 1020 bytes and their CRC-32C, which is put right after each lie.
mod e57_file {
    use super::*;

    fn crc(bytes: &[u8]) -> u32 {
        let step = |crc: u32, byte: &u8| {
            (0..8).fold(crc ^ u32::from(*byte), |c, _| {
                if c & 1 == 1 { c >> 1 ^ 0x82f6_3b78 } else { c >> 1 }
            })
        };
        !bytes.iter().fold(!0, step)
    }

    fn pages(file: &mut [u8]) {
        for page in file.chunks_exact_mut(1024) {
            let sum = crc(&page[..1020]).to_be_bytes();
            page[1020..].copy_from_slice(&sum);
        }
    }

    fn sound(count: usize) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        let mut writer = e57::E57Writer::new(&mut bytes, "file").expect("a writer");
        let prototype = vec![
            e57::Record::CARTESIAN_X_F64,
            e57::Record::CARTESIAN_Y_F64,
            e57::Record::CARTESIAN_Z_F64,
        ];
        let mut cloud = writer.add_pointcloud("scan", prototype).expect("a scan");
        for i in 0..count {
            let values = [i as f64, 0.5, -0.25].map(e57::RecordValue::Double);
            cloud.add_point(values.to_vec()).expect("a point");
        }
        cloud.finalize().expect("a scan");
        writer.finalize().expect("a file");
        drop(writer);
        bytes.into_inner()
    }

    fn replaced(file: &[u8], from: &str, to: &str) -> Vec<u8> {
        assert_eq!(from.len(), to.len());
        let at = file.windows(from.len()).position(|w| w == from.as_bytes()).expect("the text");
        let mut lie = file.to_vec();
        lie[at..at + to.len()].copy_from_slice(to.as_bytes());
        pages(&mut lie);
        lie
    }

    #[test]
    fn e57_that_lies() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = sound(40);
        let mut again = file.clone();
        pages(&mut again);
        assert_eq!(again, file, "the test's own sums are those of the format");
        let path = write_file(folder.path(), "a.e57", &file);
        let mesh = read_mesh(&path, LengthUnit::Inch, &ReadOptions::default()).expect("sound");
        // Metres whatever the caller says: the format's own unit.
        assert_eq!((mesh.points.len(), mesh.points[39].x, mesh.points[0].y), (40, 39_000.0, 500.0));
        let lies = [
            replaced(&file, "recordCount=\"40\"", "recordCount=\"99\""),
            replaced(&file, "fileOffset=\"", "fileOffset='"),
            replaced(&file, "cartesianX", "cartesianQ"),
            replaced(&file, "<e57Root", "<e57Riot"),
        ];
        for lie in &lies {
            let start = Instant::now();
            error_of(folder.path(), "a.e57", lie);
            assert!(start.elapsed() < Duration::from_secs(5));
        }
        // A sum that is not that of its page.
        let mut flipped = file.clone();
        flipped[200] ^= 1;
        error_of(folder.path(), "a.e57", &flipped);
        for length in [8, 48, 1024, file.len() - 1024] {
            error_of(folder.path(), "a.e57", &file[..length]);
        }
        // Header fields: length of the file, of the XML, its place, size of a page.
        for at in [16, 24, 32, 40] {
            for value in [0u64, 1, 1 << 40, u64::MAX] {
                let mut lie = file.clone();
                lie[at..at + 8].copy_from_slice(&value.to_le_bytes());
                pages(&mut lie);
                let path = write_file(folder.path(), "a.e57", &lie);
                let start = Instant::now();
                // The length of the file is not needed to read it.
                let read = read_mesh(&path, LengthUnit::Millimetre, &ReadOptions::default());
                assert!(at == 16 || read.is_err(), "{at} {value}");
                assert!(start.elapsed() < Duration::from_secs(5));
            }
        }
    }

    #[test]
    fn more_points_than_allowed() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = write_file(folder.path(), "a.e57", &sound(40));
        let options = ReadOptions { max_points: 39, ..ReadOptions::default() };
        let error = read_mesh(&path, LengthUnit::Millimetre, &options).expect_err("a limit");
        assert!(error.to_string().contains("over the limit of 39"), "{error}");
    }
}
