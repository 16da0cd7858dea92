//! Formats of lines: OBJ and plain points.

use super::*;

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
