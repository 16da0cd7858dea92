//! A header that promises more than the file holds allocates nothing for it. Alone in its process, so that
//! the process's own peak of address space is the witness (Linux).

use fitwright::scan::{ReadOptions, read_mesh};
use fitwright::units::LengthUnit;

#[test]
fn promises_allocate_nothing() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("a.ply");
    let options =
        ReadOptions { max_points: usize::MAX, max_triangles: usize::MAX, drop_invalid: true };
    let xyz = "property float x\nproperty float y\nproperty float z\n";
    let list = "property list uchar int vertex_indices\n";
    let one = "element vertex 1\n";
    // Started threads and their stacks are no part of the promise.
    std::fs::write(&path, "ply\nformat ascii 1.0\nelement vertex 1\n").expect("written");
    assert!(read_mesh(&path, LengthUnit::Millimetre, &options).is_err());
    rayon_warm(&path, &options);
    let Some(before) = peak() else { return };
    for kind in ["ascii", "binary_little_endian", "binary_big_endian"] {
        for body in [
            format!("element vertex 4294967290\n{xyz}end_header\n1 2 3\n"),
            format!("{one}{xyz}element face 1400000000\n{list}end_header\n1 2 3 4 5 6\n"),
            format!(
                "{one}{xyz}element other 18446744073709551615\n{list}end_header\n1 2 3 4 5 6\n"
            ),
            format!("{one}{xyz}element other 18446744073709551615\nend_header\n1 2 3 4 5 6\n"),
            format!(
                "{one}{xyz}element face 1\nproperty list uint int vertex_indices\nend_header\n1 2 3\n4294967295 1\n"
            ),
        ] {
            std::fs::write(&path, format!("ply\nformat {kind} 1.0\n{body}")).expect("written");
            let refused = read_mesh(&path, LengthUnit::Millimetre, &options);
            assert!(refused.is_err(), "{kind} {body}");
        }
    }
    let path = folder.path().join("a.stl");
    std::fs::write(&path, [vec![0; 80], vec![0xff; 104]].concat()).expect("written");
    assert!(read_mesh(&path, LengthUnit::Millimetre, &options).is_err());
    let grown = peak().expect("as before") - before;
    // The smallest of the lies above would be 16 GiB.
    assert!(grown < 256 << 10, "address space grew by {grown} KiB");
}

/// A sound file that uses the parallel readers.
fn rayon_warm(path: &std::path::Path, options: &ReadOptions) {
    let points = vec![fitwright::primitive::Point3::origin(); 100_000];
    let precision = fitwright::scan::Precision::Double;
    fitwright::scan::write_ply(path, &points, &[], &[], precision).expect("written");
    assert!(read_mesh(path, LengthUnit::Millimetre, options).is_ok());
}

fn peak() -> Option<usize> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with("VmPeak:"))?;
    line.split_ascii_whitespace().nth(1)?.parse().ok()
}
