//! PLY: headers and bodies that lie, oddities that are allowed, limits.

use super::*;

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
