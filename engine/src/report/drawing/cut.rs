//! Where a plane cuts the bodies of a scene, in places on paper.

use crate::report::picture::{Camera, Cut, Mesh, Paint, section};

use super::hatch::hatch;
use super::label::Room;
use super::outline::{MOST, THIN, flat};
use super::paper::{Sheet, Spot};
use super::thin::{chained, clipped, longest, thinned};

/// What a cut shows of one body.
pub(super) struct Profile {
    kind: Kind,
    /// Outlines within the paper.
    pub lines: Vec<Vec<Spot>>,
    hatching: Vec<[Spot; 2]>,
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Scan,
    Part,
    Other,
}

impl Profile {
    /// Cut of a mesh; of a bare cloud the points near the plane.
    pub(super) fn of(mesh: &Mesh<'_>, cut: &Cut, camera: &Camera) -> Self {
        let kind = match mesh.paint {
            Paint::Other => Kind::Other,
            _ if mesh.paint.is_solid() => Kind::Part,
            _ => Kind::Scan,
        };
        let size = [camera.width as f64, camera.height as f64];
        if mesh.triangles.is_empty() {
            let lines = longest(dots(mesh, cut, camera, size), MOST);
            return Profile { kind, lines, hatching: Vec::new() };
        }
        // The whole cut, as what it encloses depends on lines beyond the paper.
        let far = Camera { scale: camera.scale * 1e-9, ..camera.clone() };
        let pieces: Vec<[Spot; 2]> = section(mesh, cut, &far)
            .iter()
            .filter_map(|l| Some([flat(camera, l.first()?), flat(camera, l.last()?)]))
            .collect();
        let hatching = match kind {
            Kind::Scan => Vec::new(),
            Kind::Part => hatch(&pieces, size, HATCH, true),
            Kind::Other => hatch(&pieces, size, HATCH, false),
        };
        let shown: Vec<[Spot; 2]> =
            pieces.iter().filter_map(|p| clipped(*p, [0.0; 2], size)).collect();
        let lines = longest(chained(&shown).iter().map(|l| thinned(l, THIN)).collect(), MOST);
        Profile { kind, lines, hatching }
    }

    /// Words should not stand on it.
    pub(super) fn keep_clear(&self, room: &mut Room) {
        self.lines.iter().for_each(|l| room.cross(l));
        self.hatching.iter().for_each(|l| room.cross(l));
    }

    pub(super) fn draw(&self, sheet: &mut Sheet) {
        let class = match self.kind {
            Kind::Scan => "scan",
            Kind::Part => "part",
            Kind::Other => "other",
        };
        sheet.lines("thin", self.hatching.iter().map(|l| l.as_slice()));
        sheet.lines(class, self.lines.iter().map(Vec::as_slice));
    }
}

fn dots(mesh: &Mesh<'_>, cut: &Cut, camera: &Camera, size: Spot) -> Vec<Vec<Spot>> {
    let places = mesh.points.iter().map(|p| mesh.machine_from_mesh * p);
    let near = places.filter(|p| cut.normal.dot(&(p - cut.point)).abs() < mesh.point_radius);
    let on_paper = |p: &Spot| p[0] > 0.0 && p[1] > 0.0 && p[0] < size[0] && p[1] < size[1];
    near.map(|p| flat(camera, &p)).filter(on_paper).map(|p| vec![p]).collect()
}

/// Between lines of hatching, mm.
const HATCH: f64 = 2.5;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::primitive::{Direction, Point3, Pose, Vec3};
    use crate::report::picture::look;

    /// A box of 30 x 20 x 10 cut by a slanting plane at z = 2 + x / 10, drawn at 2:1: seen along the plane's normal
    /// its cut is a rectangle of 20 by 30 √1.01, x upwards.
    #[test]
    fn the_cut_of_a_box_is_the_rectangle_it_is_known_to_be() {
        let at = |i: u32| [i & 1, i >> 1 & 1, i >> 2 & 1].map(f64::from);
        let points: Vec<Point3> =
            (0..8).map(at).map(|[x, y, z]| Point3::new(30.0 * x, 20.0 * y, 10.0 * z)).collect();
        let quads: [[u32; 4]; 6] =
            [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
        let triangles: Vec<[u32; 3]> =
            quads.iter().flat_map(|[a, b, c, d]| [[*a, *b, *c], [*a, *c, *d]]).collect();
        let mesh = Mesh {
            points: &points,
            triangles: &triangles,
            normals: None,
            machine_from_mesh: Pose::identity(),
            paint: Paint::Solid,
            point_radius: 0.0,
        };
        let normal = Direction::new_normalize(Vec3::new(-0.1, 0.0, 1.0));
        let mut camera = look(&normal, 100, 100);
        camera.target = Point3::new(15.0, 10.0, 3.5);
        camera.scale = 2.0;
        let cut = Cut { point: Point3::new(0.0, 0.0, 2.0), normal };
        let profile = Profile::of(&mesh, &cut, &camera);
        let [line] = profile.lines.as_slice() else { panic!("{:?}", profile.lines) };
        // Closed, its start perhaps within a side.
        assert!(line.len() <= 6 && line[0] == line[line.len() - 1], "{line:?}");
        let half = [20.0, 30.0 * 1.01f64.sqrt()];
        for x in [-1.0, 1.0] {
            for y in [-1.0, 1.0] {
                let corner = [50.0 + x * half[0], 50.0 + y * half[1]];
                let near = |p: &Spot| (p[0] - corner[0]).hypot(p[1] - corner[1]) < THIN;
                assert!(line.iter().any(near), "{corner:?} of {line:?}");
            }
        }
        let length = |l: &[Spot; 2]| (l[1][0] - l[0][0]).hypot(l[1][1] - l[0][1]);
        let area = profile.hatching.iter().map(length).sum::<f64>() * HATCH;
        assert!((area / (4.0 * half[0] * half[1]) - 1.0).abs() < 0.05, "{area}");
    }
}
