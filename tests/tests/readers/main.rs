//! Readers of meshes and points: what is right arrives whole, what is wrong is an error that names its place.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use fitwright_tests::shared;

use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::scan::{
    Column, Precision, RawMesh, ReadOptions, Scan, read_mesh, write_ply, write_stl_binary,
};
use fitwright::units::LengthUnit;
use fitwright::{Context, Error};

mod open_data;
mod ply;
mod stl;
mod text;

use stl::{CORNER, FACET, binary_stl};

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
