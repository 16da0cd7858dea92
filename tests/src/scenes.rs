//! Small scenes for the fit check, exact by construction.

use fitwright::associate::Covariance;
use fitwright::exchange::{Part, PartHole};
use fitwright::feature::{Feature, FeatureKind};
use fitwright::fitcheck::{Finding, Limits, Mount, Scene, SceneFeature, SceneScan, all};
use fitwright::primitive::{Cylinder, Direction, Plane, Point3, Pose, Primitive, Vec3};
use fitwright::scan::Scan;
use fitwright::{Context, Result};

/// Corners and triangles, outward counter-clockwise.
#[derive(Debug, Clone, Default)]
pub struct Mesh(pub Vec<Point3>, pub Vec<[u32; 3]>);

impl Mesh {
    /// Box between two corners.
    #[must_use]
    pub fn cuboid(low: [f64; 3], high: [f64; 3]) -> Self {
        let pick = |i: usize, k: usize| if i >> k & 1 == 1 { high[k] } else { low[k] };
        let points = (0..8).map(|i| Point3::new(pick(i, 0), pick(i, 1), pick(i, 2))).collect();
        let quads =
            [[0, 4, 6, 2], [1, 3, 7, 5], [0, 1, 5, 4], [2, 6, 7, 3], [0, 2, 3, 1], [4, 5, 7, 6]];
        let triangles = quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]);
        Mesh(points, triangles.collect())
    }

    /// Parallelogram from a corner along two edges in a grid of cells.
    #[must_use]
    pub fn sheet(corner: [f64; 3], along: [[f64; 3]; 2], cells: [u32; 2]) -> Self {
        let [u, v] = along.map(Vec3::from);
        let mut mesh = Mesh::default();
        for j in 0..=cells[1] {
            for i in 0..=cells[0] {
                let (s, t) =
                    (f64::from(i) / f64::from(cells[0]), f64::from(j) / f64::from(cells[1]));
                mesh.0.push(Point3::from(corner) + u * s + v * t);
            }
        }
        let row = cells[0] + 1;
        for j in 0..cells[1] {
            for i in 0..cells[0] {
                let a = j * row + i;
                mesh.1.extend([[a, a + 1, a + row], [a + 1, a + row + 1, a + row]]);
            }
        }
        mesh
    }

    /// Both in one.
    #[must_use]
    pub fn and(mut self, other: &Mesh) -> Self {
        let base = self.0.len() as u32;
        self.0.extend_from_slice(&other.0);
        self.1.extend(other.1.iter().map(|t| t.map(|i| i + base)));
        self
    }

    /// As a scan.
    ///
    /// # Panics
    /// If it is no mesh.
    #[must_use]
    pub fn scan(&self) -> Scan {
        Scan::from_mesh(self.0.clone(), self.1.clone()).expect("a mesh")
    }

    /// As a part.
    ///
    /// # Panics
    /// If it is no mesh.
    #[must_use]
    pub fn part(&self) -> Part {
        Part::from_mesh(self.0.clone(), self.1.clone(), "part.stl", "STL").expect("a mesh")
    }
}

/// A feature that is exactly known.
#[must_use]
pub fn feature(name: &str, kind: FeatureKind, shape: impl Into<Primitive>) -> Feature {
    let shape = shape.into();
    let at = shape.point();
    Feature {
        noise: None,
        name: name.into(),
        kind,
        fitter: "test".into(),
        shape,
        pieces: vec![],
        covariance: Covariance::zero(at),
        quality: None,
        notes: vec![],
    }
}

/// The plane z = 0, facing up.
#[must_use]
pub fn deck() -> Feature {
    feature("deck", FeatureKind::Plane, Plane { point: Point3::origin(), normal: Vec3::z_axis() })
}

/// A hole in the deck at x, y, and the mount of a part's hole of radius 4.5 over it, `depth` deep.
#[must_use]
pub fn hole(name: &str, [x, y]: [f64; 2], depth: f64, index: usize) -> (Feature, Mount) {
    let near = Point3::new(x, y, 0.0);
    let cylinder = Cylinder { point: near, axis: -Vec3::z_axis(), radius: 3.4 };
    let point = near + Vec3::z() * (0.5 * depth);
    let part_hole = PartHole { point, axis: Vec3::z_axis(), radius: 4.5, depth };
    let mount = Mount { hole: index, seat: Some(0), near, part_hole };
    (feature(name, FeatureKind::Hole, cylinder), mount)
}

/// Scans at their own places, the deck as the first feature with the points of its surface in the
/// first scan, then holes for M8 bolts.
#[must_use]
pub fn scene<'a>(
    scans: &[&'a Scan],
    deck: &'a Feature,
    surface: &'a [u32],
    holes: &'a [Feature],
) -> Scene<'a> {
    let of = |feature: &'a Feature, surface: &'a [u32], bolt: Option<&'a str>| SceneFeature {
        feature,
        scan: Some(0),
        surface,
        keep_clear: None,
        is_seat: bolt.is_none(),
        bolt,
    };
    let holes = holes.iter().map(|h| of(h, &[], Some("M8")));
    Scene {
        scans: scans.iter().map(|scan| placed("front", scan)).collect(),
        features: std::iter::once(of(deck, surface, None)).chain(holes).collect(),
        ..Scene::default()
    }
}

/// A scan that is in machine coordinates.
#[must_use]
pub fn placed<'a>(name: &'a str, scan: &'a Scan) -> SceneScan<'a> {
    SceneScan {
        name,
        scan,
        machine_from_scan: Pose::identity(),
        join_covariance: None,
        length_error: None,
    }
}

/// A further number of a finding.
///
/// # Panics
/// If it has none of this name.
#[must_use]
pub fn number(found: &Finding, name: &str) -> f64 {
    let number = found.numbers.iter().find(|n| n.name == name);
    number.unwrap_or_else(|| panic!("no {name} in {found:?}")).value
}

/// All findings, on a number of threads.
///
/// # Errors
/// As the check.
pub fn checked(
    part: &Part,
    scene: &Scene<'_>,
    mounts: &[Mount],
    limits: &Limits,
    threads: usize,
) -> Result<Vec<Finding>> {
    Ok(all(part, scene, mounts, limits, &Context::new(threads)?)?.findings)
}

/// The only finding of a kind and name.
///
/// # Panics
/// If there is none, or more than one.
#[must_use]
pub fn one<'a>(findings: &'a [Finding], kind: &str, name: &str) -> &'a Finding {
    let found: Vec<_> = findings.iter().filter(|f| f.kind == kind && f.name == name).collect();
    assert!(found.len() == 1, "{} of {kind} {name} in {findings:#?}", found.len());
    found[0]
}

/// A direction.
#[must_use]
pub fn along(v: [f64; 3]) -> Direction {
    Direction::new_normalize(Vec3::from(v))
}
