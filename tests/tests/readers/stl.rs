//! STL: told apart by length, broken and odd files.

use super::*;

pub(crate) fn binary_stl(header: &str, triangles: &[[[f32; 3]; 3]]) -> Vec<u8> {
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

pub(crate) const CORNER: [[[f32; 3]; 3]; 2] = [
    [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
    [[-0.0, 0.0, -0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
];

#[test]
pub(crate) fn binary_stl_is_known_by_its_length() {
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
pub(crate) fn binary_stl_that_lies_is_refused() {
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

pub(crate) const FACET: &str =
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
