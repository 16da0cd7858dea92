//! Readers of meshes and points: what is right arrives whole, what is wrong is an error that names its place.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use fitwright_tests::open_data;

use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::scan::{
    Column, Precision, RawMesh, ReadOptions, Scan, read_mesh, write_ply, write_stl_binary,
};
use fitwright::units::LengthUnit;
use fitwright::{Context, Error};

/// A folder of files made by a test.
struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Folder(tempfile::tempdir().expect("a temporary folder"))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn read(&self, name: &str, content: impl AsRef<[u8]>) -> Result<RawMesh, Error> {
        self.read_as(name, content, &ReadOptions::default())
    }

    fn read_as(
        &self,
        name: &str,
        content: impl AsRef<[u8]>,
        options: &ReadOptions,
    ) -> Result<RawMesh, Error> {
        let path = self.path(name);
        std::fs::write(&path, content).expect("written");
        read_mesh(&path, LengthUnit::Millimetre, options)
    }

    /// The error's message without the folder.
    fn error(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        match self.read(name, content) {
            Ok(mesh) => panic!(
                "{name}: accepted {} points, {} triangles",
                mesh.points.len(),
                mesh.triangles.len()
            ),
            Err(e) => e.to_string().replace(&format!("{}/", self.0.path().display()), ""),
        }
    }
}

/// Coordinates that single precision holds exactly, so that every format gives the same bits.
fn wavy_sheet() -> (Vec<Point3>, Vec<[u32; 3]>) {
    let point = |i: u32, j: u32| {
        let z = (f64::from(i) * 0.7).sin() + (f64::from(j) * 0.3).cos();
        Point3::new(f64::from(j) * 0.5, f64::from(i) * 0.5, f64::from(z as f32))
    };
    let points = (0..40).flat_map(|i| (0..50).map(move |j| point(i, j))).collect();
    let cell = |i: u32, j: u32| {
        let a = i * 50 + j;
        [[a, a + 1, a + 50], [a + 1, a + 51, a + 50]]
    };
    // Point 50 is met before point 2: first appearance is not the order of the grid.
    let triangles = (0..39).flat_map(|i| (0..49).flat_map(move |j| cell(i, j))).collect();
    (points, triangles)
}

/// Renumbers by first appearance in the triangles, as a format without shared points must.
fn by_appearance(points: &[Point3], triangles: &[[u32; 3]]) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let mut new = vec![None; points.len()];
    let mut ordered = Vec::new();
    let mut id = |old: u32| {
        *new[old as usize].get_or_insert_with(|| {
            ordered.push(points[old as usize]);
            ordered.len() as u32 - 1
        })
    };
    let triangles = triangles.iter().map(|t| t.map(&mut id)).collect();
    (ordered, triangles)
}

fn ascii_stl(points: &[Point3], triangles: &[[u32; 3]]) -> String {
    let mut text = "solid sheet\n".to_owned();
    for t in triangles {
        text += " facet normal 0 0 1\n  outer loop\n";
        for i in t {
            let p = points[*i as usize];
            writeln!(text, "   vertex {} {} {:e}", p.x, p.y, p.z).expect("text");
        }
        text += "  endloop\n endfacet\n";
    }
    text + "endsolid sheet\n"
}

fn ascii_ply(points: &[Point3], triangles: &[[u32; 3]]) -> String {
    let mut text = format!(
        "ply\nformat ascii 1.0\nelement vertex {}\nproperty double x\nproperty double y\nproperty double z\n\
         element face {}\nproperty list uchar int vertex_indices\nend_header\n",
        points.len(),
        triangles.len()
    );
    points.iter().for_each(|p| writeln!(text, "{} {} {}", p.x, p.y, p.z).expect("text"));
    triangles.iter().for_each(|t| writeln!(text, "3 {} {} {}", t[0], t[1], t[2]).expect("text"));
    text
}

fn big_endian_ply(points: &[Point3], triangles: &[[u32; 3]]) -> Vec<u8> {
    let mut bytes = format!(
        "ply\r\nformat binary_big_endian 1.0\r\ncomment caf\u{e9}\r\nelement vertex {}\r\n\
         property uchar flag\r\nproperty float x\r\nproperty float y\r\nproperty float z\r\nelement face {}\r\n\
         property list ushort ushort vertex_index\r\nproperty short group\r\nend_header\r\n",
        points.len(),
        triangles.len()
    )
    .into_bytes();
    for p in points {
        bytes.push(10);
        p.iter().for_each(|v| bytes.extend((*v as f32).to_be_bytes()));
    }
    for t in triangles {
        bytes.extend(3u16.to_be_bytes());
        t.iter().for_each(|i| bytes.extend((*i as u16).to_be_bytes()));
        bytes.extend((-1i16).to_be_bytes());
    }
    bytes
}

#[test]
fn every_format_gives_the_same_bits() {
    let folder = Folder::new();
    let (points, triangles) = wavy_sheet();
    let expected = (points.clone(), triangles.clone());
    let read = |name: &str, content: Vec<u8>| {
        let mesh = folder.read(name, content).unwrap_or_else(|e| panic!("{e}"));
        assert!(mesh.notes.is_empty(), "{name}: {:?}", mesh.notes);
        (mesh.points, mesh.triangles)
    };
    let written = |name: &str| std::fs::read(folder.path(name)).expect("the file just written");
    for precision in [Precision::Single, Precision::Double] {
        write_ply(folder.path("w.ply"), &points, &triangles, &[], precision).expect("written");
        assert_eq!(read("little.ply", written("w.ply")), expected);
    }
    assert_eq!(read("big.ply", big_endian_ply(&points, &triangles)), expected);
    assert_eq!(read("ascii.ply", ascii_ply(&points, &triangles).into()), expected);
    let mut obj = "o sheet\n".to_owned();
    points.iter().for_each(|p| writeln!(obj, "v {} {} {}", p.x, p.y, p.z).expect("text"));
    for t in &triangles {
        writeln!(obj, "f {}/1/1 {}//2 {}", t[0] + 1, t[1] + 1, t[2] + 1).expect("text");
    }
    assert_eq!(read("sheet.obj", obj.into()), expected);
    let welded = by_appearance(&points, &triangles);
    write_stl_binary(folder.path("w.stl"), &points, &triangles).expect("written");
    assert_eq!(read("binary.stl", written("w.stl")), welded);
    let ascii = ascii_stl(&points, &triangles);
    assert_eq!(read("ascii.stl", ascii.clone().into()), welded);
    assert_eq!(read("cr.stl", ascii.replace('\n', "\r").into()), welded);
    assert_eq!(read("upper.STL", format!("\u{feff}{}", ascii.to_uppercase()).into()), welded);
    for (name, separator) in [("a.xyz", " "), ("a.csv", ","), ("a.txt", "; "), ("a.asc", "\t")] {
        let mut text = String::new();
        for p in &points {
            writeln!(text, "{}{separator}{}{separator}{}", p.x, p.y, p.z).expect("text");
        }
        assert_eq!(read(name, text.into()), (points.clone(), Vec::new()));
    }
}

/// Also with corners in no helpful order: a weld must not lean on the order of a file.
#[test]
fn the_weld_is_the_same_for_any_thread_count_and_order() {
    let folder = Folder::new();
    let (points, mut triangles) = wavy_sheet();
    // Enough for several chunks, each triangle many times over in a scattered order.
    triangles = triangles.repeat(40);
    let count = triangles.len();
    triangles = (0..count).map(|i| triangles[i * 48_611 % count]).collect();
    let path = folder.path("shuffled.stl");
    write_stl_binary(&path, &points, &triangles).expect("written");
    let expected = by_appearance(&points, &triangles);
    for threads in [1, 2, 8] {
        let context = Context::new(threads).expect("threads");
        let options = ReadOptions::default();
        let scan =
            Scan::read_with(&path, LengthUnit::Millimetre, &options, &context).expect("read");
        assert!(scan.points() == expected.0 && scan.triangles() == expected.1, "{threads} threads");
    }
}

#[test]
fn lengths_become_millimetres() {
    let folder = Folder::new();
    let path = folder.path("a.xyz");
    std::fs::write(&path, "1 2 3\n4 5 6\n").expect("written");
    // 25.4 mm: ISO 31-1 and the international inch of 1959.
    let scan = Scan::read(&path, LengthUnit::Inch).expect("read");
    assert_eq!(scan.points()[0], Point3::new(25.4, 50.8, 3.0 * 25.4));
    let scan = Scan::read(&path, LengthUnit::Metre).expect("read");
    assert_eq!(scan.points()[1], Point3::new(4000.0, 5000.0, 6000.0));
}

#[test]
fn cancelled_reading_stops() {
    let folder = Folder::new();
    let (points, triangles) = wavy_sheet();
    let path = folder.path("w.stl");
    write_stl_binary(&path, &points, &triangles).expect("written");
    let context = Context::new(2).expect("threads");
    context.cancel();
    let read = Scan::read_with(&path, LengthUnit::Millimetre, &ReadOptions::default(), &context);
    assert_eq!(read.err(), Some(Error::Cancelled));
}

fn ply(header: &str, body: &[u8]) -> Vec<u8> {
    [format!("ply\n{header}\nend_header\n").as_bytes(), body].concat()
}

const XYZ: &str = "property float x\nproperty float y\nproperty float z";
const FACES: &str = "property list uchar int vertex_indices";

/// Three points of a little-endian file.
fn three_points() -> Vec<u8> {
    let values = [0f32, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0];
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}

#[test]
fn ply_headers_that_lie_are_refused() {
    let folder = Folder::new();
    for kind in ["ascii", "binary_little_endian", "binary_big_endian"] {
        let error = |rest: &str| {
            folder.error("a.ply", ply(&format!("format {kind} 1.0\n{rest}"), b"0 0 0\n"))
        };
        for count in ["4294967295", "18446744073709551615", "2"] {
            let found = error(&format!("element vertex {count}\n{XYZ}"));
            assert!(
                found.contains(&format!("element vertex: found {count} rows"))
                    || found.contains("limit"),
                "{found}"
            );
        }
        for count in ["1000000000000000000000000000000", "-1", "1.5", "x"] {
            let found = error(&format!("element vertex {count}\n{XYZ}"));
            assert!(found.contains("line 3") && found.contains(count), "{found}");
        }
        let found = error(&format!("element vertex 0\n{XYZ}\nelement empty 4294967295"));
        assert!(found.contains("element empty: found 4294967295 rows"), "{found}");
        let found = error(&format!("element vertex 0\n{XYZ}\nelement face 1000000000\n{FACES}"));
        assert!(found.contains("limit") || found.contains("element face"), "{found}");
        let found = error(&format!("{XYZ}\nelement vertex 1"));
        assert!(found.contains("line 3"), "{found}");
        let found = error("element vertex 1\nproperty float x\nproperty float x");
        assert!(found.contains("line 5") && found.contains("once"), "{found}");
        let found = error("element vertex 1\nproperty float x");
        assert!(found.contains("x, y and z"), "{found}");
        let found = error("element vertex 1\nproperty quad x");
        assert!(found.contains("line 4"), "{found}");
        let found = error("element vertex 1\nproperty list float int x");
        assert!(found.contains("integer type"), "{found}");
        let many: String = (0..200_000).fold(String::new(), |mut s, i| {
            let _ = writeln!(s, "property float p{i}");
            s
        });
        let found = error(&format!("element vertex 1\n{many}"));
        assert!(
            found.contains("over the limit of 1024") || found.contains("end_header"),
            "{found}"
        );
        let many: String = (0..2000).map(|i| format!("element e{i} 0\n")).collect();
        assert!(error(&many).contains("over the limit of 64"));
    }
    assert!(folder.error("a.ply", "ply\nelement vertex 1\n").contains("end_header"));
    assert!(folder.error("a.ply", ply("element vertex 0", b"")).contains("format"));
    assert!(folder.error("a.ply", ply("format ascii 2.0", b"")).contains("line 2"));
    assert!(folder.error("a.ply", ply("format ascii 1.0", b"")).contains("element vertex"));
    let comment = [b"ply\ncomment ".to_vec(), vec![b'x'; 3 << 20]].concat();
    assert!(folder.error("a.ply", comment).contains("end_header"));
    assert!(folder.error("a.ply", "no mesh").contains("\"ply\""));
}

#[test]
fn ply_bodies_that_lie_are_refused() {
    let folder = Folder::new();
    let header = |list: &str, count: u32| {
        format!(
            "format binary_little_endian 1.0\nelement vertex 3\n{XYZ}\nelement face {count}\nproperty list {list} \
             vertex_indices"
        )
    };
    let error = |list: &str, face: &[u8]| {
        folder.error("a.ply", ply(&header(list, 1), &[three_points(), face.to_vec()].concat()))
    };
    let ids = |ids: [i32; 3]| ids.iter().flat_map(|i| i.to_le_bytes()).collect::<Vec<u8>>();
    for bad in [-1, 3, 99, i32::MAX, i32::MIN] {
        let found = error("uchar int", &[vec![3], ids([0, 1, bad])].concat());
        assert!(found.contains("face 0") && found.contains(&format!("point {bad}")), "{found}");
        assert!(found.contains("0 to 2"), "{found}");
    }
    let found = error("uchar uint", &[vec![3], ids([0, 1, -1])].concat());
    assert!(found.contains("point 4294967295"), "{found}");
    assert!(error("uchar int", &[vec![255], ids([0, 1, 2])].concat()).contains("a list of 255"));
    assert!(error("char int", &[vec![255], ids([0, 1, 2])].concat()).contains("a list of -1"));
    for count in [i32::MAX, i32::MIN, -1] {
        let face = [count.to_le_bytes().to_vec(), ids([0, 1, 2])].concat();
        assert!(error("int int", &face).contains(&format!("a list of {count}")));
    }
    let face = [u32::MAX.to_le_bytes().to_vec(), ids([0, 1, 2])].concat();
    assert!(error("uint int", &face).contains("a list of 4294967295"));
    assert!(error("uchar float", &[vec![3], ids([0, 1, 2])].concat()).contains("integer type"));
    assert!(error("uchar int", &[3, 0, 0]).contains("found"));
    // A quad first sends all faces through the slow road; the bad id behind it must not be lost.
    let faces = [vec![4], ids([0, 1, 2]), vec![0; 4], vec![3], ids([0, 1, 7])].concat();
    let found =
        folder.error("a.ply", ply(&header("uchar int", 2), &[three_points(), faces].concat()));
    assert!(found.contains("face 1") && found.contains("point 7"), "{found}");
}

#[test]
fn ply_ascii_bodies_that_lie_are_refused() {
    let folder = Folder::new();
    let header = format!("format ascii 1.0\nelement vertex 3\n{XYZ}\nelement face 1\n{FACES}");
    let error = |body: &str| folder.error("a.ply", ply(&header, body.as_bytes()));
    let points = "0 0 0\n1 0 0\n0 1 0\n";
    assert!(error(&format!("{points}3 0 1 3\n")).contains("face 0: found point 3"));
    assert!(error(&format!("{points}3 0 1 -1\n")).contains("face 0: found point -1"));
    assert!(error(&format!("{points}3 0 1 1.5\n")).contains("line 13: found \"1.5\""));
    assert!(error(&format!("{points}4000000000 0 1 2\n")).contains("a list of 4000000000"));
    assert!(error(&format!("{points}3 0 1\n")).contains("face 0: found a list of 3"));
    assert!(error(&format!("{points}3 0 1 2 3\n")).contains("too many numbers"));
    assert!(error("0 0 0\n1 0 0\n0 1\n3 0 1 2\n").contains("line 12"));
    assert!(error("0 0 0\n1 0,5 0\n0 1 0\n3 0 1 2\n").contains("\"0,5\""));
    assert!(error("0 0 0\n1 0 0\n0 1 0\n\n\n\n\n\n\n").contains("end of the file"));
    for bad in ["nan", "inf", "-inf", "1e400"] {
        let found = error(&format!("0 0 0\n1 0 0\n0 {bad} 0\n3 0 1 2\n"));
        assert!(found.contains("vertex 2") && found.contains("finite"), "{found}");
    }
    let good = |body: &str| folder.read("a.ply", ply(&header, body.as_bytes())).expect("sound");
    assert_eq!(good(&format!("\n{points}\n\n3 0 1 2")).triangles, [[0, 1, 2]]);
    assert_eq!(good(&format!("{points}3 0 1 2\n").replace('\n', "\r\n")).triangles, [[0, 1, 2]]);
}

#[test]
fn ply_oddities_are_read() {
    let folder = Folder::new();
    let quad = "0 0 0\n1 0 0\n1 1 0\n0 1 0\n4 0 1 2 3\n2 0 1\n";
    let header = format!("format ascii 1.0\nelement vertex 4\n{XYZ}\nelement face 2\n{FACES}");
    let mesh = folder.read("a.ply", ply(&header, quad.as_bytes())).expect("a quad");
    assert_eq!(mesh.triangles, [[0, 1, 2], [0, 2, 3]]);
    assert!(mesh.notes[0].contains("1 faces of fewer than 3 corners"), "{:?}", mesh.notes);
    // Normals, colours, and a comment that is not UTF-8.
    let header = b"ply\nformat ascii 1.0\ncomment \xff\xfe\nobj_info num_cols 2\nelement vertex 2\nproperty float nx\n\
        property float ny\nproperty float nz\nproperty uchar red\nproperty float x\nproperty float y\nproperty double z\n\
        element range_grid 3\nproperty list uchar int vertex_indices\nend_header\n0 0 2 255 1 2 3\n0 1 0 0 4 5 6\n0\n1 1\n0\n";
    let mesh = folder.read("a.ply", header).expect("range scan");
    assert_eq!(mesh.points, [Point3::new(1.0, 2.0, 3.0), Point3::new(4.0, 5.0, 6.0)]);
    assert_eq!(mesh.normals, Some(vec![Vec3::z(), Vec3::y()]));
    assert!(mesh.triangles.is_empty());
    // A face list before the points, and a second list in each row.
    let header = format!(
        "format ascii 1.0\nelement face 1\n{FACES}\nproperty list uchar float texcoord\nelement vertex 3\n{XYZ}"
    );
    let mesh = folder.read("a.ply", ply(&header, b"3 2 1 0 2 0.5 0.5\n0 0 0\n1 0 0\n0 1 0\n"));
    assert_eq!(mesh.expect("faces first").triangles, [[2, 1, 0]]);
    let found = folder.error("a.ply", ply(&header, b"3 2 1 5 0\n0 0 0\n1 0 0\n0 1 0\n"));
    assert!(found.contains("face 0: found point 5"), "{found}");
    let strips = format!(
        "format ascii 1.0\nelement vertex 1\n{XYZ}\nelement tristrips 1\nproperty list int int vertex_indices"
    );
    assert!(folder.error("a.ply", ply(&strips, b"0 0 0\n0\n")).contains("tristrips"));
}

#[test]
fn invalid_points_are_an_error_or_dropped_and_counted() {
    let folder = Folder::new();
    let mut body: Vec<u8> = [0f32, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 1.0, f32::NAN, 0.0]
        .iter()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    for face in [[0i32, 1, 2], [1, 3, 2], [2, 1, 1]] {
        body.push(3);
        face.iter().for_each(|i| body.extend(i.to_le_bytes()));
    }
    let header = format!(
        "format binary_little_endian 1.0\nelement vertex 4\n{XYZ}\nelement face 3\n{FACES}"
    );
    let file = ply(&header, &body);
    assert!(folder.error("a.ply", &file).contains("vertex 3: found coordinates 1 NaN 0"));
    let options = ReadOptions { drop_invalid: true, ..ReadOptions::default() };
    let mesh = folder.read_as("a.ply", &file, &options).expect("dropped");
    assert_eq!((mesh.points.len(), mesh.triangles.as_slice()), (3, &[[0, 1, 2]][..]));
    assert!(
        mesh.notes[0].contains("1 invalid points dropped, and 1 triangles"),
        "{:?}",
        mesh.notes
    );
    assert!(mesh.notes[1].contains("1 degenerate triangles"), "{:?}", mesh.notes);
    let text = "0 0 0\n1 nan 2\n3 4 5\n6 7 1e999\n";
    assert!(folder.error("a.xyz", text).contains("line 2"));
    let mesh = folder.read_as("a.xyz", text, &options).expect("dropped");
    assert_eq!(mesh.points, [Point3::origin(), Point3::new(3.0, 4.0, 5.0)]);
    let mesh = folder.read_as(
        "a.obj",
        "v 0 0 0\nv 1 0 0\nv 0 1 0\nv inf 0 0\nf 1 2 3\nf 1 2 4\n",
        &options,
    );
    assert_eq!(mesh.expect("dropped").triangles, [[0, 1, 2]]);
    assert!(folder.error("a.xyz", "1e16 0 0\n").contains("line 1"));
}

#[test]
fn more_than_the_caller_allows_is_refused() {
    let folder = Folder::new();
    let options = ReadOptions { max_points: 2, max_triangles: 1, ..ReadOptions::default() };
    let limit = |name: &str, content: &[u8]| {
        let error = folder.read_as(name, content, &options).expect_err("over the limit");
        assert!(matches!(error, Error::Limit { .. }), "{error}");
    };
    limit("a.xyz", b"0 0 0\n1 0 0\n0 1 0\n");
    limit("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n");
    limit(
        "a.ply",
        &ply(&format!("format ascii 1.0\nelement vertex 3\n{XYZ}"), b"0 0 0\n1 0 0\n0 1 0\n"),
    );
    limit("a.stl", &binary_stl("x", &[[[0.0; 3]; 3]; 2]));
}

fn binary_stl(header: &str, triangles: &[[[f32; 3]; 3]]) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes[..header.len()].copy_from_slice(header.as_bytes());
    bytes.extend((triangles.len() as u32).to_le_bytes());
    for t in triangles {
        bytes.extend([0; 12]);
        t.as_flattened().iter().for_each(|v| bytes.extend(v.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

const CORNER: [[[f32; 3]; 3]; 2] = [
    [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
    [[-0.0, 0.0, -0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
];

#[test]
fn binary_stl_is_known_by_its_length() {
    let folder = Folder::new();
    for header in ["x", "solid x", "solid x\nfacet normal 0 0 1\nouter loop\n"] {
        let mesh = folder.read("a.stl", binary_stl(header, &CORNER)).expect("binary");
        // The second triangle begins at -0 0 -0: the same place as 0 0 0.
        assert_eq!(mesh.triangles, [[0, 1, 2], [0, 2, 3]]);
        assert!(mesh.points.iter().flat_map(|p| p.iter()).all(|v| v.is_sign_positive()));
    }
    let mesh = folder.read("no_extension", binary_stl("x", &CORNER)).expect("by its content");
    assert_eq!(mesh.format_name, "STL");
    let mesh = folder.read("a.ply", binary_stl("x", &CORNER)).expect("by its content");
    assert_eq!(mesh.format_name, "STL");
    let longer = [binary_stl("x", &CORNER), vec![1; 7]].concat();
    let mesh = folder.read("a.stl", longer).expect("bytes to spare");
    assert_eq!((mesh.triangles.len(), mesh.notes[0].contains("7 bytes")), (2, true));
}

#[test]
fn binary_stl_that_lies_is_refused() {
    let folder = Folder::new();
    assert!(folder.error("a.stl", binary_stl("x", &[])).contains("0 triangles"));
    for count in [3u32, 100_000_000, u32::MAX] {
        let mut bytes = binary_stl("x", &CORNER);
        bytes[80..84].copy_from_slice(&count.to_le_bytes());
        let found = folder.error("a.stl", bytes);
        assert!(found.contains(&format!("184 bytes for {count} triangles")), "{found}");
    }
    for length in [1, 80, 83, 84, 100, 183] {
        let found = folder.error("a.stl", &binary_stl("x", &CORNER)[..length]);
        assert!(found.contains("byte"), "{found}");
    }
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e30] {
        let mut mesh = CORNER;
        mesh[1][2][1] = bad;
        let found = folder.error("a.stl", binary_stl("x", &mesh));
        assert!(found.contains("triangle 1: found coordinates 0"), "{found}");
    }
    let flat = [[[1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [0.0, 1.0, 0.0]]];
    let found = folder.error("a.stl", binary_stl("x", &flat));
    assert!(found.contains("no usable triangle (1 degenerate"), "{found}");
}

const FACET: &str =
    "facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n";

#[test]
fn ascii_stl_oddities_are_read() {
    let folder = Folder::new();
    let long = "n".repeat(300);
    for head in
        ["\n\n  solid\n", "solid \n", "solid x\n", &format!("solid {long}\n"), "SOLID\tx\r\n"]
    {
        let mesh = folder.read("a.stl", format!("{head}{FACET}endsolid")).expect("odd but sound");
        assert_eq!(mesh.triangles, [[0, 1, 2]]);
    }
    let name = [b"solid \xff\xfe\n".to_vec(), FACET.as_bytes().to_vec(), b"endsolid \xff".to_vec()];
    assert_eq!(
        folder.read("a.stl", name.concat()).expect("a name in no encoding").triangles.len(),
        1
    );
    let two = format!(
        "solid a\n{FACET}endsolid a\nsolid b\n{}endsolid b\n",
        FACET.replace("1 0 0", "5 0 0")
    );
    let mesh = folder.read("a.stl", two).expect("two solids");
    assert_eq!((mesh.triangles.len(), mesh.points.len()), (2, 4));
    assert!(mesh.notes[0].contains("2 solids"));
}

#[test]
fn ascii_stl_that_is_broken_is_refused() {
    let folder = Folder::new();
    let error = |text: String| folder.error("a.stl", text);
    assert!(error(format!("solid x\n{FACET}")).contains("endsolid"));
    assert!(error("solid x\nendsolid x\n".into()).contains("no facet"));
    assert!(error("solid and then words\nwithout a meaning\n".into()).contains("line 2"));
    let four = FACET.replace("endloop", "vertex 1 1 0\nendloop");
    assert!(error(format!("solid\n{four}endsolid")).contains("line 7"));
    let two = FACET.replace("vertex 1 0 0\n", "");
    assert!(error(format!("solid\n{two}endsolid")).contains("line 6: found 2 vertices"));
    assert!(error(format!("solid\n{}endsolid", FACET.replace("1 0 0", "1,5 0 0"))).contains("1,5"));
    assert!(error(format!("solid\n{}endsolid", FACET.replace("1 0 0", "1 0"))).contains("line 5"));
    assert!(
        error(format!("solid\n{}endsolid", FACET.replace("1 0 0", "1e400 0 0"))).contains("inf")
    );
    assert!(error(format!("solid\n{FACET}endsolid\nmore\n")).contains("line 10"));
    assert!(error(format!("solid {}", "x".repeat(20_000_000))).contains("end of the file"));
    assert!(folder.error("a.stl", "\u{1}\u{2}junk").contains("84 bytes"));
}

#[test]
fn obj_oddities_are_read() {
    let folder = Folder::new();
    let read = |text: &str| folder.read("a.obj", text).unwrap_or_else(|e| panic!("{text}: {e}"));
    let v = "v 0 0 0\nv 1 0 0 1 0 0\nv 0 1 0 1.0\nv 0 0 1\n";
    // Groups that share an edge share its points.
    let mesh =
        read(&format!("mtllib /dev/zero\n{v}g a\nf 1 2 3\ng b\nusemtl x\ns 1\nf 1/1 3/2 4/3\n"));
    assert_eq!((mesh.points.len(), mesh.triangles.as_slice()), (4, &[[0, 1, 2], [0, 2, 3]][..]));
    assert_eq!(read(&format!("{v}f -4 -3 -2\n")).triangles, [[0, 1, 2]]);
    assert_eq!(read(&format!("f 1 2 3\n{v}")).triangles, [[0, 1, 2]]);
    assert_eq!(read(&format!("{v}f 1 2 \\\n 3\\\n 4")).triangles, [[0, 1, 2], [0, 2, 3]]);
    assert_eq!(read(&format!("{v}l 1 2\np 1\nf 1//2 2//2 3//2\n")).triangles.len(), 1);
    assert_eq!(read("v 0 0 0\r\nv 1 0 0\r\n").points.len(), 2);
    let cloud = read("vn 0 0 2\nv 1 2 3\nvn 0 3 0\nv 4 5 6\n");
    assert_eq!(cloud.normals, Some(vec![Vec3::z(), Vec3::y()]));
    assert!(read(&format!("{v}frobnicate\nf 1 2 3\n")).notes[0].contains("1 unknown statements"));
    // A polygon of 200,000 corners is as many triangles less two.
    let ring: String = (0..200_000).map(|i| format!("v {i} {} 0\n", i % 7)).collect();
    let face: String = (1..=200_000).map(|i| format!(" {i}")).collect();
    assert_eq!(read(&format!("{ring}f{face}\n")).triangles.len(), 199_998);
}

#[test]
fn obj_that_is_broken_is_refused() {
    let folder = Folder::new();
    let v = "v 0 0 0\nv 1 0 0\nv 0 1 0\n";
    let bad = [
        "f 1//2",
        "f",
        "f 1 2",
        "f /// // /",
        "f 1 2 0",
        "f 1 2 -4",
        "f 1 2 4294967297",
        "f 1 2 x",
        "f 1 2 -9223372036854775808",
        "f 1 2 10000000000000000000000",
        "f 1 2 1.5",
        "f 1 2 \u{fc}",
        "v 1 2",
        "v 1 2 x",
        "v 1,5 2 3",
        "v nan 0 0",
        "v 0 1e400 0",
        "v",
    ];
    for line in bad {
        let found = folder.error("a.obj", format!("{v}{line}\nf 1 2 3\n"));
        assert!(found.starts_with("a.obj: line 4: found"), "{line}: {found}");
    }
    let found = folder.error("a.obj", format!("{v}f 1 2 99\nf 1 2 3\n"));
    assert!(found.contains("line 4: found point 99, allowed a point from 1 to 3"), "{found}");
    assert!(
        folder.error("a.obj", [v.as_bytes(), b"\0\0"].concat()).contains("line 4: found a zero")
    );
    assert!(folder.error("a.obj", "#nothing\n").contains("no point"));
    assert!(folder.error("a.obj", "these are words\nmore\n").contains("line 1"));
}

#[test]
fn text_points_of_every_shape_are_read() {
    let folder = Folder::new();
    let read =
        |name: &str, text: &str| folder.read(name, text).unwrap_or_else(|e| panic!("{text}: {e}"));
    let two = [Point3::new(1.0, 2.5, -3.0), Point3::new(4.0, 5.0, 600.0)];
    for text in [
        "1 2.5 -3\n4 5 6e2",
        "x y z\n1 2.5 -3\n4 5 6e2\n",
        "# made by hand\n\n 1\t2.5  -3 # first\r\n// second\r\n4 +5. 6E2\r\n",
        "X,Y,Z\n1,2.5,-3\n4, 5, 600\n",
        "\"x\";\"y\";\"z\"\n1; 2.5; -3\n4;5;600",
        "2\n1 2.5 -3\n4 5 600\n",
        "z;name;y;x\n-3;7;2.5;1\n600;8;5;4\n",
        "1 2.5 -3 255\n4 5 600 128\n",
        "1 2.5 -3 255 0 7\n4 5 600 128 3 2\n",
    ] {
        let mesh = read("a.txt", text);
        assert_eq!((mesh.points.as_slice(), mesh.normals), (&two[..], None), "{text}");
    }
    let normals = Some(vec![Vec3::z(), Vec3::new(0.6, 0.8, 0.0)]);
    for text in
        ["1 2.5 -3 0 0 1\n4 5 600 .6 .8 0\n", "nx ny nz x y z\n0 0 1 1 2.5 -3\n.6 .8 0 4 5 600\n"]
    {
        let mesh = read("a.pts", text);
        assert_eq!(mesh.points, two);
        let found = mesh.normals.expect("normals");
        let expected = normals.as_ref().expect("normals");
        assert!(found.iter().zip(expected).all(|(a, b)| (a - b).norm() < 1e-15));
    }
    assert!(read("a.txt", "1 2 3 4\n1 2 3 4\n").notes[0].contains("1 further columns ignored"));
}

#[test]
fn text_points_that_are_broken_are_refused() {
    let folder = Folder::new();
    for (text, place) in [
        ("0,5 1,5 2,5\n1,5 2,5 3,5\n", "line 1"),
        ("0,5;1,5;2,5\n", "line 1"),
        ("1 2 3\n1 2\n", "line 2: found 2 columns, allowed 3"),
        ("1 2 3\n1 2 3 4\n", "line 2: found 4 columns, allowed 3"),
        ("1,2,3\n1 2 3\n", "line 2"),
        ("1,2,3\n1,,3\n", "line 2"),
        ("1 2\n", "at least 3"),
        ("x y z\nmore words here\n1 2 3\n", "line 2"),
        ("1 2 3\nx y z\n", "line 2"),
        ("3\n1 2 3\n4 5 6\n", "found 2 points, allowed 3"),
        ("1 2 nan\n", "line 1"),
        ("1 2 inf\n", "line 1"),
        ("1 2 1e400\n", "line 1"),
        ("# nothing\n", "no points"),
        ("", "an empty file"),
    ] {
        let found = folder.error("a.csv", text);
        assert!(found.contains(place), "{text}: {found}");
    }
}

#[test]
fn unknown_formats_name_the_known_ones() {
    let folder = Folder::new();
    for name in ["a.e57", "a.docx", "noextension"] {
        let error = folder.read(name, "what is this?").expect_err("unknown");
        assert!(matches!(error, Error::UnknownFormat { .. }), "{error}");
        assert!(error.to_string().contains("STL, PLY, OBJ"), "{error}");
    }
    assert!(folder.error("a.xyz", b"\0\x01\x02").contains("binary data"));
    assert!(folder.read("noextension", format!("solid\n{FACET}endsolid\n")).is_ok());
    assert!(matches!(
        read_mesh(folder.path("missing.stl"), LengthUnit::Millimetre, &ReadOptions::default()),
        Err(Error::Io { .. })
    ));
    let error = read_mesh(folder.0.path(), LengthUnit::Millimetre, &ReadOptions::default());
    assert!(matches!(error, Err(Error::Io { .. })));
    #[cfg(unix)]
    {
        let endless = read_mesh("/dev/zero", LengthUnit::Millimetre, &ReadOptions::default());
        assert!(endless.is_err_and(|e| e.to_string().contains("not a regular file")));
    }
}

/// Every prefix of a small sound file, and every byte of it changed: an answer or an error, no panic.
#[test]
fn damaged_files_never_panic() {
    let folder = Folder::new();
    let (points, triangles) =
        ([Point3::origin(), Point3::new(1.0, 0.0, 0.0), Point3::new(0.0, 1.0, 0.0)], [[0, 1, 2]]);
    let mut files = vec![
        ("a.stl", binary_stl("x", &CORNER)),
        ("b.stl", ascii_stl(&points, &triangles).into_bytes()),
        ("a.ply", ascii_ply(&points, &triangles).into_bytes()),
        ("b.ply", big_endian_ply(&points, &triangles)),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -1\n".to_vec()),
        ("a.csv", b"x,y,z\n1,2,3\n4,5,6\n".to_vec()),
    ];
    let mut outcomes = [0, 0];
    for (name, file) in &mut files {
        for at in 0..file.len() {
            outcomes[usize::from(folder.read(name, &file[..at]).is_ok())] += 1;
            for change in [0x01, 0x80, 0xff] {
                file[at] ^= change;
                outcomes[usize::from(folder.read(name, &*file).is_ok())] += 1;
                file[at] ^= change;
            }
        }
    }
    assert!(outcomes[0] > 500 && outcomes[1] > 500, "{outcomes:?}");
}

#[test]
fn columns_travel_with_the_points() {
    let folder = Folder::new();
    let (points, triangles) = wavy_sheet();
    let air: Vec<f64> = points.iter().map(|p| p.z * 0.1).collect();
    let hue: Vec<f32> = points.iter().map(|p| p.x as f32).collect();
    let path = folder.path("a.ply");
    let columns = [Column::Double("clearance", &air), Column::Single("hue", &hue)];
    write_ply(&path, &points, &triangles, &columns, Precision::Double).expect("written");
    let scan = Scan::read(&path, LengthUnit::Millimetre).expect("read");
    assert!(scan.points() == points && scan.triangles() == triangles);
    let bytes = std::fs::read(&path).expect("the file just written");
    let header = b"property double clearance\nproperty float hue\n";
    assert!(bytes.windows(header.len()).any(|w| w == header));
    let body = bytes.windows(11).position(|w| w == b"end_header\n").expect("its end") + 11;
    let row = &bytes[body + 36 * 7..body + 36 * 8];
    assert_eq!(row[24..32], air[7].to_le_bytes());
    assert_eq!(row[32..36], hue[7].to_le_bytes());
    for (name, values) in [("x", &air[..]), ("a b", &air[..]), ("", &air[..]), ("short", &air[1..])]
    {
        let columns = [Column::Double(name, values)];
        let wrong = write_ply(&path, &points, &triangles, &columns, Precision::Double);
        assert!(matches!(wrong, Err(Error::Argument { .. })), "{name}");
    }
}

#[test]
fn nothing_half_written_is_left() {
    let folder = Folder::new();
    let (points, triangles) = wavy_sheet();
    std::fs::create_dir(folder.path("taken.stl")).expect("a folder");
    let wrong = write_stl_binary(folder.path("taken.stl"), &points, &triangles);
    assert!(matches!(wrong, Err(Error::Io { .. })));
    assert!(write_stl_binary(folder.path("no/such/a.stl"), &points, &triangles).is_err());
    assert!(write_stl_binary(folder.path("a.stl"), &points, &[]).is_err());
    assert!(write_stl_binary(folder.path("a.stl"), &points, &[[0, 1, 5000]]).is_err());
    assert!(
        write_stl_binary(folder.path("a.stl"), &[Point3::new(1e300, 0.0, 0.0)], &[[0, 0, 0]])
            .is_err()
    );
    let left: Vec<_> = std::fs::read_dir(folder.0.path()).expect("the folder").collect();
    assert_eq!(left.len(), 1, "{left:?}");
}

/// Volume by the divergence theorem.
fn volume(points: &[Point3], triangles: &[[u32; 3]]) -> f64 {
    let part = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|i| points[i as usize].coords);
        a.dot(&b.cross(&c)) / 6.0
    };
    triangles.iter().map(part).sum()
}

/// Reads a closed mesh whose copies of one corner may differ by rounding.
fn read_rounded(path: &Path, precision: f64) -> (Scan, usize) {
    let options = ReadOptions::default();
    let mut mesh = read_mesh(path, LengthUnit::Inch, &options).expect("a published model");
    let joined = mesh.weld_within(precision.max(mesh.single_precision()));
    (Scan::from_raw(mesh).expect("sound"), joined)
}

/// Size and count as the model's README says (trimesh models, MIT): 5.0 x 2.5 x 1.375 inch, watertight,
/// 3476 triangles. Its writer rounded some copies of a corner differently: exact bits alone leave it open.
#[test]
fn a_published_model_is_watertight() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/trimesh/featuretype.STL");
    let exact = Scan::read(&path, LengthUnit::Inch).expect("read");
    assert!(exact.edge_census().open > 0);
    let (scan, joined) = read_rounded(&path, 0.0);
    assert_eq!(exact.points().len() - joined, scan.points().len());
    assert_eq!(scan.triangles().len(), 3476);
    assert!(scan.edge_census().is_watertight() && scan.boundary_loops().is_empty());
    let extent = |axis: usize| {
        let values = || scan.points().iter().map(move |p| p[axis]);
        values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min)
    };
    for (axis, inch) in [5.0, 2.5, 1.375].into_iter().enumerate() {
        assert!((extent(axis) - inch * 25.4).abs() < 1e-4, "axis {axis}: {}", extent(axis));
    }
    assert!(volume(scan.points(), scan.triangles()) > 0.0);
    let pose = Pose::new(Vec3::new(10.0, -20.0, 30.0), Vec3::new(0.1, 0.7, -0.3));
    let moved = scan.transformed(&pose);
    let turned = pose.rotation * scan.normals()[100];
    assert!((moved.normals()[100] - turned).norm() < 1e-12);
    assert_eq!(moved.neighbours(100), scan.neighbours(100));
}

#[test]
fn a_published_model_is_the_same_from_ply() {
    let Some(folder) = open_data("trimesh_models") else { return };
    let (stl, _) = read_rounded(&folder.join("featuretype.STL"), 0.0);
    // Six decimals of an inch are written in this file.
    let (ply, _) = read_rounded(&folder.join("featuretype.ply"), 1e-6 * 25.4);
    assert_eq!((ply.triangles().len(), ply.points().len()), (3476, stl.points().len()));
    assert!(ply.edge_census().is_watertight());
    let volumes = [&stl, &ply].map(|s| volume(s.points(), s.triangles()));
    assert!((volumes[0] / volumes[1] - 1.0).abs() < 1e-6, "{volumes:?}");
}

/// Files that other readers stumbled over: refused are those that are broken, as each was looked at.
#[test]
fn open_odd_files_are_answered() {
    // Empty, UTF-16, a header line without its keyword, more properties than numbers, "3.1+e2" for a number,
    // corners out of range, no mesh at all.
    let hostile = [
        "box_UTF16BE.obj",
        "copyright",
        "empty.obj",
        "empty.ply",
        "issue623.ply",
        "malformed.obj",
        "malformed2.obj",
        "number_formats.obj",
        "Wuson.ply",
    ];
    for (folder, expected) in [("assimp_hostile", &hostile[..]), ("trimesh_models", &["empty.stl"])]
    {
        let Some(folder) = open_data(folder) else { continue };
        let mut files = Vec::new();
        for part in ["", "OBJ", "PLY", "STL", "invalid"] {
            let Ok(entries) = std::fs::read_dir(folder.join(part)) else { continue };
            files.extend(entries.filter_map(|e| e.ok()).map(|e| e.path()));
        }
        files.retain(|f| {
            let end = f.extension().unwrap_or_default().to_ascii_lowercase();
            ["stl", "ply", "obj", ""].contains(&end.to_str().unwrap_or_default()) && f.is_file()
        });
        let name = |f: &PathBuf| f.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let wrong = |f: &&PathBuf| Scan::read(f, LengthUnit::Millimetre).is_err();
        let mut refused: Vec<String> = files.iter().filter(wrong).map(name).collect();
        refused.sort_unstable_by_key(|n| n.to_lowercase());
        assert_eq!(refused, expected);
    }
}

#[test]
fn real_range_scans_are_read() {
    let Some(folder) = open_data("stanford_bunny_scans") else { return };
    let scan = Scan::read(folder.join("bun000.ply"), LengthUnit::Metre).expect("a range scan");
    // Its header: 40256 vertices in a range grid of 512 x 400.
    assert_eq!((scan.points().len(), scan.is_mesh()), (40_256, false));
    assert!(scan.notes()[0].contains("range_grid"));
    let mesh = Scan::read(folder.join("bun_zipper_res2.ply"), LengthUnit::Metre).expect("a mesh");
    assert_eq!((mesh.points().len(), mesh.triangles().len()), (8171, 16_301));
    println!(
        "bunny view: noise {:.3} mm, resolution {:.3} mm; merged: {:.3}, {:.3}",
        scan.noise(),
        scan.resolution(),
        mesh.noise(),
        mesh.resolution()
    );
    // The file's own grid of 512 columns says which points are neighbours.
    let expected = median_grid_edge(&folder.join("bun000.ply"), scan.points());
    println!("median edge of the range grid: {expected:.3} mm");
    assert!(
        (scan.resolution() / expected - 1.0).abs() < 0.05,
        "{} for {expected}",
        scan.resolution()
    );
}

/// Median over the edges to the right, down and across of the grid at the end of a Stanford range scan.
fn median_grid_edge(path: &Path, points: &[Point3]) -> f64 {
    let text = std::fs::read_to_string(path).expect("ascii");
    let rows: Vec<&str> = text.lines().collect();
    let id = |row: &&str| row.strip_prefix("1 ").and_then(|id| id.trim().parse::<usize>().ok());
    let grid: Vec<Option<usize>> = rows[rows.len() - 512 * 400..].iter().map(id).collect();
    let mut edges = Vec::new();
    for at in 0..grid.len() {
        for step in [1, 512, 513] {
            let inside = step == 512 || at % 512 < 511;
            let other = grid.get(at + step).copied().flatten();
            if let Some((a, b)) = grid[at].zip(other).filter(|_| inside) {
                edges.push((points[a] - points[b]).norm());
            }
        }
    }
    edges.sort_by(f64::total_cmp);
    edges[edges.len() / 2]
}
