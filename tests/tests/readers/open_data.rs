//! Published models, odd files and real scans.

use super::*;

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
    let Some(folder) = shared("data/trimesh_models") else { return };
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
        let Some(folder) = shared(&format!("data/{folder}")) else { continue };
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
    let Some(folder) = shared("data/stanford_bunny_scans") else { return };
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
