//! Known shapes on known pixels; the same bits for any number of threads.

use super::*;
use crate::primitive::{Point3, Pose, Vec3};

/// One pixel a millimetre, seen from above, the origin in the middle.
fn above(width: usize, height: usize) -> Camera {
    look(&Vec3::z_axis(), width, height)
}

fn mesh<'a>(points: &'a [Point3], triangles: &'a [[u32; 3]], paint: Paint<'a>) -> Mesh<'a> {
    Mesh {
        points,
        triangles,
        normals: None,
        machine_from_mesh: Pose::identity(),
        paint,
        point_radius: 0.0,
    }
}

fn alpha(image: &Image, x: usize, y: usize) -> u8 {
    image.rgba[(y * image.width + x) * 4 + 3]
}

fn rgb(image: &Image, x: usize, y: usize) -> [u8; 3] {
    let at = (y * image.width + x) * 4;
    [image.rgba[at], image.rgba[at + 1], image.rgba[at + 2]]
}

fn square(side: f64, z: f64) -> ([Point3; 4], [[u32; 3]; 2]) {
    let corner = |x: f64, y: f64| Point3::new(x * side, y * side, z);
    let points = [corner(-0.5, -0.5), corner(0.5, -0.5), corner(0.5, 0.5), corner(-0.5, 0.5)];
    (points, [[0, 1, 2], [0, 2, 3]])
}

/// The triangle (-40, -30), (40, -30), (-40, 30): half of an 80 by 60 box, 2400 mm².
#[test]
fn a_triangle_covers_its_pixels() {
    let points =
        [(-40.0, -30.0), (40.0, -30.0), (-40.0, 30.0)].map(|(x, y)| Point3::new(x, y, 0.0));
    let triangles = [[0, 1, 2]];
    let scene = Scene { meshes: vec![mesh(&points, &triangles, Paint::Scan)], strokes: vec![] };
    let image = draw(&scene, &above(200, 100));
    let area: f64 = (0..200 * 100).map(|i| f64::from(image.rgba[i * 4 + 3]) / 255.0).sum();
    assert!((area - 2400.0).abs() < 100.0 / 2.0, "{area}");
    // The box is 60 to 140 across and 20 to 80 down; +y is up, so the right angle is lower left.
    for (x, y, covered) in [
        (60, 79, true),
        (59, 79, false),
        (60, 80, false),
        (61, 23, true),
        (134, 78, true),
        (138, 22, false),
        (100, 55, true),
        (100, 45, false),
    ] {
        assert_eq!(alpha(&image, x, y), if covered { 255 } else { 0 }, "({x}, {y})");
    }
}

#[test]
fn the_nearer_surface_is_seen() {
    let (low, faces) = square(80.0, 0.0);
    let (high, _) = square(40.0, 5.0);
    let low = mesh(&low, &faces, Paint::Scan);
    let high = mesh(&high, &faces, Paint::Solid);
    let camera = above(100, 100);
    let image = draw(&Scene { meshes: vec![high, low], strokes: vec![] }, &camera);
    let other = draw(&Scene { meshes: vec![low, high], strokes: vec![] }, &camera);
    assert!(image == other);
    let alone = draw(&Scene { meshes: vec![low], strokes: vec![] }, &camera);
    assert_ne!(rgb(&image, 50, 50), rgb(&alone, 50, 50));
    assert_eq!(rgb(&image, 12, 12), rgb(&alone, 12, 12));
}

#[test]
fn clearance_is_coloured_by_its_band() {
    let (points, faces) = square(80.0, 0.0);
    let values = [1.0, 1.0, 4.0, 4.0];
    let bands = Bands::new(Some(3.0), &values);
    let part = mesh(&points, &faces, Paint::Clearance(&values, &bands));
    let image = draw(&Scene { meshes: vec![part], strokes: vec![] }, &above(100, 100));
    // From 1 mm at the lower edge (row 90) to 4 mm at the upper (row 10): the limit is at row 36.7.
    let warm = |y| rgb(&image, 50, y)[0] > rgb(&image, 50, y)[2];
    assert!(warm(80) && warm(40) && !warm(34) && !warm(15));
    assert!(rgb(&image, 50, 36).into_iter().all(|c| c < 90), "the limit is a dark line");
}

#[test]
fn a_cut_shows_the_solid_filled_and_the_rest_gone() {
    let (points, triangles) = cube(60.0);
    let mut camera = above(100, 100);
    camera.cut = Some(Cut { point: Point3::origin(), normal: Vec3::z_axis() });
    let solid = mesh(&points, &triangles, Paint::Solid);
    let image = draw(&Scene { meshes: vec![solid], strokes: vec![] }, &camera);
    let yellow = |[r, _, b]: [u8; 3]| r > b + 20;
    assert!(yellow(rgb(&image, 50, 50)) && yellow(rgb(&image, 25, 72)));
    assert_eq!(alpha(&image, 15, 50), 0);
    let lines = section(&solid, &camera.cut.expect("set above"), &camera);
    let length: f64 = lines.iter().map(|l| (l[1] - l[0]).norm()).sum();
    assert!((length - 240.0).abs() < 1e-9, "the cut of a cube of 60 is 240 round: {length}");
}

#[test]
fn creases_of_a_cube_are_its_edges() {
    let (points, triangles) = cube(60.0);
    assert_eq!(creases(&points, &triangles).len(), 12);
}

#[test]
fn a_stroke_is_as_wide_as_asked_and_faint_behind() {
    let (points, faces) = square(60.0, 5.0);
    let roof = mesh(&points, &faces, Paint::Scan);
    let line = Stroke {
        lines: vec![vec![Point3::new(-45.0, 0.0, 0.0), Point3::new(45.0, 0.0, 0.0)]],
        colour: [0, 0, 0],
        width: 6.0,
        hidden: 0.0,
        lift: 0.0,
        seam: false,
        cut: true,
    };
    let strokes = vec![line];
    let image = draw(&Scene { meshes: vec![roof], strokes: strokes.clone() }, &above(800, 800));
    let bare = draw(&Scene { meshes: vec![roof], strokes: vec![] }, &above(800, 800));
    assert_eq!(rgb(&image, 400, 400), rgb(&bare, 400, 400));
    let column: f64 = (300..500).map(|y| f64::from(alpha(&image, 440, y)) / 255.0).sum();
    assert!((column - 6.0).abs() < 0.5, "{column}");
}

#[test]
fn nonsense_draws_nothing_and_does_not_stop() {
    let points = [
        Point3::new(f64::NAN, 0.0, 0.0),
        Point3::new(1e300, 1.0, 0.0),
        Point3::new(0.0, f64::INFINITY, 0.0),
        Point3::origin(),
    ];
    let triangles = [[0, 1, 2], [3, 3, 3], [7, 8, 9], [1, 2, 3]];
    let stroke = Stroke {
        lines: vec![points.to_vec(), vec![]],
        colour: [0; 3],
        width: 3.0,
        hidden: 1.0,
        lift: 0.0,
        seam: true,
        cut: true,
    };
    let meshes = vec![mesh(&points, &triangles, Paint::Scan), mesh(&points, &[], Paint::Scan)];
    let image = draw(&Scene { meshes, strokes: vec![stroke] }, &above(64, 64));
    assert!(image.to_png().is_ok_and(|png| png.starts_with(b"\x89PNG")));
}

#[test]
fn the_file_reads_back_to_the_same_pixels() {
    let (points, faces) = square(40.0, 0.0);
    let meshes = vec![mesh(&points, &faces, Paint::Solid)];
    let image = draw(&Scene { meshes, strokes: vec![] }, &above(70, 50));
    let file = image.to_png().expect("encodes");
    let mut reader = png::Decoder::new(std::io::Cursor::new(&file)).read_info().expect("header");
    let mut pixels = vec![0; reader.output_buffer_size().expect("small")];
    let info = reader.next_frame(&mut pixels).expect("pixels");
    assert_eq!((info.width, info.height, info.color_type), (70, 50, png::ColorType::Rgba));
    assert!(pixels == image.rgba);
}

#[test]
fn same_bits_for_any_number_of_threads() {
    let (points, triangles) = crate::report::sample::surface(1);
    let scan = mesh(&points, &triangles, Paint::Scan);
    let cloud = Mesh { point_radius: 0.5, ..mesh(&points, &[], Paint::Scan) };
    let mut camera = above(500, 400).framed(Point3::new(120.0, 85.0, 10.0), [125.0, 90.0]);
    camera.cut = Some(Cut { point: Point3::new(120.0, 85.0, 15.0), normal: Vec3::z_axis() });
    let run = |threads| {
        let pool = crate::Context::new(threads).expect("threads");
        pool.run(|| draw(&Scene { meshes: vec![scan, cloud], strokes: vec![] }, &camera))
    };
    assert!(run(1) == run(4));
}

fn cube(side: f64) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let h = side / 2.0;
    let points = (0..8)
        .map(|i| [i & 1, i >> 1 & 1, i >> 2].map(|b| if b == 0 { -h } else { h }))
        .map(Point3::from)
        .collect();
    let quads: [[u32; 4]; 6] =
        [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    let triangles = quads.iter().flat_map(|[a, b, c, d]| [[*a, *b, *c], [*a, *c, *d]]).collect();
    (points, triangles)
}
