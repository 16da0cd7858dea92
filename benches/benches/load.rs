//! Reading and writing a mesh of a million triangles, and what is computed from it at once.
//!
//! Beside each time stands the reference: the same file read as plain bytes in the same run. Memory is the
//! growth of a fresh process's high-water mark over one load, against the mesh itself.

use std::path::{Path, PathBuf};

use criterion::Criterion;
use fitwright::exchange::{MeshBody, write_meshes};
use fitwright::primitive::Point3;
use fitwright::scan::{Precision, Scan, write_ply, write_stl_binary};
use fitwright::units::LengthUnit;

fn main() {
    if let Some(path) = std::env::var_os(MEMORY_OF) {
        return measure_memory(Path::new(&path));
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (ply, stl) = (folder.path().join("mesh.ply"), folder.path().join("mesh.stl"));
    write(&ply, &stl);
    let others =
        ["glb", "3mf", "obj"].map(|format| folder.path().join("mesh").with_extension(format));
    let scan = read(&ply);
    others.iter().for_each(|path| write_as(path, &scan));
    for path in [&ply, &stl].into_iter().chain(&others) {
        print_memory(path);
    }
    let mut criterion = Criterion::default().sample_size(20).configure_from_args();
    let [glb, threemf, obj] = &others;
    let files = [("ply", &ply), ("stl_welded", &stl), ("glb", glb), ("3mf", threemf), ("obj", obj)];
    loading(&mut criterion, &files);
    let mut group = criterion.benchmark_group("write_1M_triangles");
    group.sample_size(10);
    for path in [&ply, &stl].into_iter().chain(&others) {
        let format = path.extension().unwrap_or_default().to_string_lossy();
        group.bench_function(format, |b| b.iter(|| write_as(path, &scan)));
    }
    group.finish();
    derived(&mut criterion, &ply);
    criterion.final_summary();
}

/// A wavy sheet of 707 × 708 cells, 0.5 mm apart, its triangles in the order of the rows.
fn write(ply: &Path, stl: &Path) {
    let (columns, rows) = (708u32, 709u32);
    let point = |i: u32, j: u32| {
        let (x, y) = (f64::from(j) * 0.5, f64::from(i) * 0.5);
        Point3::new(x, y, 5.0 * (x / 20.0).sin() * (y / 30.0).cos())
    };
    let points: Vec<_> = (0..rows).flat_map(|i| (0..columns).map(move |j| point(i, j))).collect();
    let cell = |i: u32, j: u32| {
        let a = i * columns + j;
        [[a, a + 1, a + columns], [a + 1, a + columns + 1, a + columns]]
    };
    let triangles: Vec<_> =
        (0..rows - 1).flat_map(|i| (0..columns - 1).flat_map(move |j| cell(i, j))).collect();
    write_ply(ply, &points, &triangles, &[], Precision::Single).expect("written");
    write_stl_binary(stl, &points, &triangles).expect("written");
}

fn write_as(path: &Path, scan: &Scan) {
    let (points, triangles) = (scan.points(), scan.triangles());
    let body = MeshBody { name: "sheet", points, triangles, colour: None };
    write_meshes(path, &[body]).expect("written");
}

fn read(path: &Path) -> Scan {
    Scan::read(path, LengthUnit::Millimetre).expect("the file just written")
}

/// Normals, adjacency and boundary of a scan.
fn derive(scan: &Scan) {
    std::hint::black_box((scan.normals(), scan.neighbours(0), scan.boundary_loops()));
}

fn loading(criterion: &mut Criterion, files: &[(&str, &PathBuf)]) {
    let mut group = criterion.benchmark_group("load_1M_triangles");
    for (name, path) in files {
        group.bench_function(format!("{name}/bytes_only"), |b| {
            b.iter(|| std::fs::read(path).expect("the file just written"));
        });
        group.bench_function(*name, |b| b.iter(|| read(path)));
    }
    group.finish();
}

fn derived(criterion: &mut Criterion, path: &Path) {
    let scan = read(path);
    // A copy of the parts has nothing computed yet.
    let fresh = || {
        let (points, triangles) = (scan.points().to_vec(), scan.triangles().to_vec());
        Scan::from_mesh(points, triangles).expect("a sound mesh")
    };
    let mut group = criterion.benchmark_group("derive_1M_triangles");
    group.bench_function("normals_adjacency_boundary", |b| {
        b.iter_batched_ref(fresh, |s| derive(s), criterion::BatchSize::PerIteration);
    });
    group.bench_function("spatial_index", |b| {
        b.iter_batched_ref(
            fresh,
            |s| std::hint::black_box(s.nearest(&Point3::origin())),
            criterion::BatchSize::PerIteration,
        );
    });
    group.bench_function("noise_and_resolution", |b| {
        b.iter_batched_ref(
            || {
                let s = fresh();
                derive(&s);
                s
            },
            |s| std::hint::black_box((s.noise(), s.resolution())),
            criterion::BatchSize::PerIteration,
        );
    });
    group.finish();
}

/// Asks a process of its own, whose memory holds nothing else, for its high-water mark (Linux only).
fn print_memory(path: &Path) {
    let child = std::env::current_exe()
        .and_then(|exe| std::process::Command::new(exe).env(MEMORY_OF, path).output());
    if let Ok(output) = child {
        print!("{}", String::from_utf8_lossy(&output.stdout));
    }
}

fn measure_memory(path: &Path) {
    let Some(before) = status("VmHWM:") else { return };
    let scan = read(path);
    let Some(after) = status("VmHWM:") else { return };
    let mesh = (scan.points().len() * 24 + scan.triangles().len() * 12) / 1024;
    let grown = after.saturating_sub(before);
    println!(
        "memory {}: {} triangles, mesh {mesh} KiB, peak {grown} KiB, {:.2} times the mesh",
        path.extension().unwrap_or_default().display(),
        scan.triangles().len(),
        grown as f64 / mesh as f64,
    );
}

fn status(field: &str) -> Option<usize> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with(field))?;
    line.split_ascii_whitespace().nth(1)?.parse().ok()
}

const MEMORY_OF: &str = "FITWRIGHT_MEMORY_OF";
