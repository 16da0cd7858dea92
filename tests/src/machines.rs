//! Simulated machines other than the demo's, scanned with the exact surface of each point known, and how a
//! survey is judged against them. Everything is invented.

use fitwright::error::Result;
use fitwright::primitive::{
    Cone, Cylinder, Kind, Plane, Point3, Pose, Primitive, Sphere, Torus, Vec3, frame_from_axis,
    unit,
};
use fitwright::simulate::{Machine, Pipe, Scanner, SimulatedScan, Solid, Surface, Viewpoint, scan};
use fitwright::survey::Survey;
use nalgebra::{Translation3, UnitQuaternion};

/// A machine's scan with the surface of each point.
pub struct Labelled {
    /// The machine.
    pub machine: Machine,
    /// Its scan.
    pub scan: SimulatedScan,
    /// Index of the machine's surface that each point lies on; `None` on roundings and elsewhere.
    pub labels: Vec<Option<u32>>,
    /// The same, and of those the surface that lies nearer than the noise: where one bends away from it
    /// slowly, no one can tell.
    pub within_noise: Vec<Option<u32>>,
}

/// How a survey compares with the truth.
#[derive(Debug, Clone, Default)]
pub struct Score {
    /// Large primitives found, and of these the right ones: the same kind, four fifths of the points on
    /// one surface (or nearer to it than the noise) that no other claims.
    pub found: usize,
    /// See `found`.
    pub right: usize,
    /// Large surfaces there are, and of these those found.
    pub wanted: usize,
    /// See `wanted`.
    pub hit: usize,
    /// What was wrong or missing, one line each.
    pub faults: Vec<String>,
    /// Surface and position in [`Survey::primitives`] of each match.
    pub matches: Vec<(usize, usize)>,
}

/// Points from which on a surface is large: those of a disc 30 spacings across.
pub const LARGE: usize = 707;

/// A pump on its base: housing with a bore, cone, ball, bent pipe, rib, four holes.
#[must_use]
pub fn pump() -> Machine {
    let mut m = Builder::default();
    let base = m.block("base", [-120.0, -90.0, -30.0], [120.0, 90.0, 0.0]);
    let housing = Point3::new(-40.0, 0.0, 0.0);
    m.round("housing", housing, Vec3::z(), 52.0, (0.0, 75.0));
    m.plane("housing top", housing + Vec3::z() * 75.0, Vec3::z(), 54.0);
    let cone = Point3::new(70.0, -40.0, 0.0);
    let half_angle = (18.0f64 / 55.0).atan();
    let middle = cone + Vec3::z() * 22.5;
    let slope = Cone { point: middle, axis: -Vec3::z_axis(), radius: 25.0, half_angle };
    m.surfaces.push(Surface::new("cone", slope, middle, 50.0));
    m.plane("cone top", cone + Vec3::z() * 50.0, Vec3::z(), 18.0);
    let ball = Point3::new(75.0, 50.0, 12.0);
    m.surfaces.push(Surface::new("ball", Sphere { centre: ball, radius: 26.0 }, ball, 27.0));
    let path = [[-40.0, 0.0, 40.0], [-40.0, 95.0, 40.0], [60.0, 140.0, 70.0], [60.0, 140.0, 150.0]];
    let path = path.map(Point3::from);
    let pipe = Pipe::new(&path, 38.0, 14.0);
    m.surfaces.extend(Surface::of_pipe("pipe", &pipe, 130.0));
    let end = Sphere { centre: path[3], radius: 14.0 };
    m.surfaces.push(Surface::new("pipe end", end, path[3], 15.0));
    let turn = UnitQuaternion::from_scaled_axis(Vec3::new(0.0, 0.0, 0.5));
    let rib = Pose::from_parts(Translation3::new(20.0, -10.0, 20.0), turn);
    for (name, to) in [
        ("rib end", Vec3::x() * 40.0),
        ("rib front", -Vec3::y() * 7.0),
        ("rib back", Vec3::y() * 7.0),
        ("rib top", Vec3::z() * 25.0),
    ] {
        m.plane(name, rib * Point3::from(to), rib * to, 60.0);
    }
    let parts = vec![
        base,
        Solid::cylinder(&along(housing, Vec3::z()), 52.0, -10.0, 75.0, 1.0),
        Solid::turned(&along(cone, Vec3::z()), &[[34.0, -5.0], [16.0, 50.0]], 1.0),
        Solid::ball(ball, 26.0),
        Solid::pipe(&pipe),
        Solid::cuboid(&rib, Vec3::new(80.0, 14.0, 50.0), 1.0),
    ];
    let mut solid = Solid::union(parts, 1.0);
    solid = m.bore(&solid, "bore", housing + Vec3::z() * 75.0, Vec3::z(), 36.0, 55.0);
    m.plane("bore floor", housing + Vec3::z() * 20.0, Vec3::z(), 37.0);
    for (n, [x, y]) in
        [[-105.0, -75.0], [105.0, -75.0], [105.0, 75.0], [-105.0, 75.0]].into_iter().enumerate()
    {
        let mouth = Point3::new(x, y, 0.0);
        solid = m.bore(&solid, &format!("hole {}", n + 1), mouth, Vec3::z(), 9.0, 40.0);
    }
    m.machine(solid)
}

/// A valve block: slanted sides, a stepped bore along it, a round cap with a blind bore, a bent handle.
#[must_use]
pub fn valve() -> Machine {
    let mut m = Builder::default();
    let corners =
        [[-80.0, -50.0], [80.0, -50.0], [80.0, 20.0], [40.0, 60.0], [-50.0, 60.0], [-80.0, 30.0]];
    m.sides(&corners, 0.0);
    m.plane("top", Point3::new(0.0, 0.0, 35.0), Vec3::z(), 120.0);
    m.plane("bottom", Point3::new(0.0, 0.0, -35.0), -Vec3::z(), 120.0);
    let cap = Point3::new(-35.0, 5.0, 35.0);
    m.round("cap", cap, Vec3::z(), 30.0, (0.0, 22.0));
    m.plane("cap top", cap + Vec3::z() * 22.0, Vec3::z(), 31.0);
    let path = [[20.0, 30.0, 20.0], [20.0, 30.0, 95.0], [20.0, -30.0, 95.0], [20.0, -30.0, 20.0]];
    let pipe = Pipe::new(&path.map(Point3::from), 22.0, 7.0);
    m.surfaces.extend(Surface::of_pipe("handle", &pipe, 80.0));
    let parts = vec![
        Solid::extruded(&Pose::identity(), &corners, 70.0, 1.0),
        Solid::cylinder(&along(cap, Vec3::z()), 30.0, -5.0, 22.0, 1.0),
        Solid::pipe(&pipe),
    ];
    let mut solid = Solid::union(parts, 1.0);
    let mouth = Point3::new(80.0, -10.0, 0.0);
    solid = m.bore(&solid, "main bore", mouth, Vec3::x(), 18.0, 200.0);
    solid = m.bore(&solid, "counterbore", mouth, Vec3::x(), 26.0, 25.0);
    m.plane("shoulder", Point3::new(55.0, -10.0, 0.0), Vec3::x(), 28.0);
    solid = m.bore(&solid, "cap bore", cap + Vec3::z() * 22.0, Vec3::z(), 14.0, 45.0);
    m.plane("cap bore floor", cap - Vec3::z() * 23.0, Vec3::z(), 15.0);
    m.machine(solid)
}

/// A milk separator: bosses on a six-sided foot, a column that a slanted motor and a ball are cast to with wide
/// free-form blends, a bowl with a spindle, two bent spouts.
#[must_use]
pub fn separator() -> Machine {
    let mut m = Builder::default();
    let corners = [
        [-95.0, -70.0],
        [60.0, -85.0],
        [110.0, -20.0],
        [95.0, 70.0],
        [-40.0, 90.0],
        [-110.0, 20.0],
    ];
    m.sides(&corners, -12.5);
    m.plane("foot top", Point3::origin(), Vec3::z(), 150.0);
    m.plane("foot bottom", Point3::new(0.0, 0.0, -25.0), -Vec3::z(), 150.0);
    let below = Pose::from_parts(Translation3::new(0.0, 0.0, -12.5), UnitQuaternion::identity());
    let mut foot = vec![Solid::extruded(&below, &corners, 25.0, 2.0)];
    let bosses = [[60.0, -60.0], [75.0, 45.0], [-45.0, 65.0], [-75.0, -48.0]];
    let bosses = bosses.map(|[x, y]| Point3::new(x, y, 0.0));
    for (n, at) in bosses.iter().enumerate() {
        foot.push(Solid::cylinder(&along(*at, Vec3::z()), 14.0, -5.0, 16.0, 0.5));
        m.round(&format!("boss {}", n + 1), *at, Vec3::z(), 14.0, (0.0, 16.0));
        m.plane(&format!("boss top {}", n + 1), at + Vec3::z() * 16.0, Vec3::z(), 15.0);
    }
    let base = Point3::new(-20.0, 5.0, 0.0);
    m.round("column", base, Vec3::z(), 40.0, (0.0, 90.0));
    let centre = base + Vec3::z() * 12.0;
    let foot_fillet =
        Torus { centre, axis: Vec3::z_axis(), major_radius: 52.0, minor_radius: 12.0 };
    m.surfaces.push(Surface::new("foot fillet", foot_fillet, centre, 60.0));
    let (hub, out) = (base + Vec3::z() * 45.0, Vec3::new(-0.8, -0.5, 0.33).normalize());
    m.round("motor", hub, out, 30.0, (0.0, 105.0));
    m.plane("motor end", hub + out * 105.0, out, 31.0);
    let ball = Point3::new(-5.0, -22.0, 45.0);
    m.surfaces.push(Surface::new("ball", Sphere { centre: ball, radius: 34.0 }, ball, 35.0));
    let casting = vec![
        Solid::cylinder(&along(base, Vec3::z()), 40.0, -5.0, 90.0, 0.0),
        Solid::cylinder(&along(hub, out), 30.0, 0.0, 105.0, 2.0),
        Solid::ball(ball, 34.0),
    ];
    let slope = Cone {
        point: base + Vec3::z() * 105.0,
        axis: Vec3::z_axis(),
        radius: 62.5,
        half_angle: (45.0f64 / 50.0).atan(),
    };
    m.surfaces.push(Surface::new("bowl cone", slope, slope.point, 95.0));
    m.round("bowl", base, Vec3::z(), 85.0, (130.0, 165.0));
    m.plane("bowl rim", base + Vec3::z() * 165.0, Vec3::z(), 86.0);
    let mut upper = vec![Solid::turned(
        &along(base, Vec3::z()),
        &[[40.0, 80.0], [85.0, 130.0], [85.0, 165.0]],
        1.0,
    )];
    let spouts = [
        ("spout", [[60.0, 5.0, 148.0], [122.0, 5.0, 148.0], [122.0, 5.0, 75.0]]),
        ("overflow", [[-20.0, 85.0, 148.0], [-20.0, 140.0, 148.0], [-80.0, 165.0, 125.0]]),
    ];
    for (name, path) in spouts {
        let path = path.map(Point3::from);
        let pipe = Pipe::new(&path, 26.0, 9.0);
        m.surfaces.extend(Surface::of_pipe(name, &pipe, 80.0));
        let end = Sphere { centre: path[2], radius: 9.0 };
        m.surfaces.push(Surface::new(&format!("{name} end"), end, path[2], 10.0));
        upper.push(Solid::pipe(&pipe));
    }
    let lower = Solid::union(vec![Solid::union(foot, 1.0), Solid::union(casting, 20.0)], 12.0);
    let mut solid = Solid::union(vec![lower, Solid::union(upper, 2.0)], 1.0);
    solid = m.bore(&solid, "bowl wall", base + Vec3::z() * 165.0, Vec3::z(), 74.0, 30.0);
    m.plane("bowl floor", base + Vec3::z() * 135.0, Vec3::z(), 75.0);
    m.round("spindle", base, Vec3::z(), 13.0, (135.0, 172.0));
    let tip = Cone {
        point: base + Vec3::z() * 181.0,
        axis: -Vec3::z_axis(),
        radius: 9.0,
        half_angle: (8.0f64 / 18.0).atan(),
    };
    m.surfaces.push(Surface::new("spindle cone", tip, tip.point, 17.0));
    m.plane("spindle tip", base + Vec3::z() * 190.0, Vec3::z(), 6.0);
    let outline = [[13.0, 130.0], [13.0, 172.0], [5.0, 190.0]];
    let spindle = Solid::turned(&along(base, Vec3::z()), &outline, 0.5);
    solid = Solid::union(vec![solid, spindle], 1.0);
    for (n, at) in bosses.iter().enumerate() {
        let mouth = at + Vec3::z() * 16.0;
        solid = m.bore(&solid, &format!("hole {}", n + 1), mouth, Vec3::z(), 7.0, 30.0);
        m.plane(&format!("hole floor {}", n + 1), mouth - Vec3::z() * 30.0, Vec3::z(), 8.0);
    }
    solid = m.bore(&solid, "motor bore", hub + out * 105.0, out, 13.0, 25.0);
    m.plane("motor bore floor", hub + out * 80.0, out, 14.0);
    m.machine(solid)
}

/// A scan of a machine from all sides above, with 2 % outliers, flying edges and unseen spots.
///
/// # Errors
/// As [`scan`].
pub fn labelled(machine: Machine, resolution: f64, noise: f64, seed: u64) -> Result<Labelled> {
    let target = Point3::new(0.0, 10.0, 20.0);
    let mut views: Vec<Viewpoint> = Vec::new();
    for height in [-10.0f64, 25.0, 60.0] {
        for k in 0..10 {
            let azimuth = (f64::from(k) * 36.0 + height).to_radians();
            views.push(Viewpoint::around(target, azimuth, height.to_radians(), 480.0));
        }
    }
    views.push(Viewpoint::around(Point3::origin(), 0.0, 89f64.to_radians(), 480.0));
    let scanner = Scanner {
        resolution,
        noise,
        outliers: 0.02,
        outlier_reach: 1.0,
        flying: 0.02,
        spots: 15,
        seed,
        ..Scanner::default()
    };
    let turn = UnitQuaternion::from_scaled_axis(Vec3::new(0.3, -0.8, 0.5));
    let pose = Pose::from_parts(Translation3::new(100.0, -50.0, 30.0), turn);
    let scan = scan(&machine, &views, &scanner, &pose)?;
    let mut labels = vec![None; scan.exact.len()];
    for (k, surface) in (0..).zip(&machine.surfaces) {
        for i in scan.points_on(surface) {
            labels[i as usize].get_or_insert(k);
        }
    }
    let within = |(label, p): (&Option<u32>, &Point3)| {
        label.or_else(|| {
            let holds = |s: &&Surface| (p - s.middle).norm() <= s.reach;
            let off = |s: &Surface| s.shape.distance(p).abs();
            let near = machine.surfaces.iter().zip(0..).filter(|(s, _)| holds(s));
            let nearest = near.min_by(|a, b| off(a.0).total_cmp(&off(b.0)));
            nearest.filter(|(s, _)| off(s) <= noise).map(|(_, k)| k)
        })
    };
    let within_noise = labels.iter().zip(&scan.exact).map(within).collect();
    Ok(Labelled { machine, scan, labels, within_noise })
}

impl Labelled {
    /// Compares a survey of the scan with the truth.
    #[must_use]
    pub fn judge(&self, survey: &Survey) -> Score {
        let found = survey.primitives.iter();
        self.judge_all(found.map(|p| (p.id.clone(), p.feature.shape.kind(), p.region.ids())))
    }

    /// As [`Self::judge`], of primitives by anybody: name, kind and points of each.
    pub fn judge_all<'a>(
        &self,
        primitives: impl Iterator<Item = (String, Kind, &'a [u32])>,
    ) -> Score {
        let surfaces = &self.machine.surfaces;
        let mut there = vec![0usize; surfaces.len()];
        self.labels.iter().flatten().for_each(|&l| there[l as usize] += 1);
        let mut score = Score::default();
        let mut taken = vec![false; surfaces.len()];
        for (k, (name, kind, ids)) in primitives.enumerate() {
            if ids.len() < LARGE {
                continue;
            }
            score.found += 1;
            let mut votes = vec![0usize; surfaces.len()];
            ids.iter()
                .filter_map(|&i| self.within_noise[i as usize])
                .for_each(|l| votes[l as usize] += 1);
            let best = (0..votes.len()).max_by_key(|&l| votes[l]).unwrap_or(0);
            let alike = surfaces[best].shape.kind() == kind;
            if alike && !taken[best] && votes[best] * 5 >= ids.len() * 4 {
                taken[best] = true;
                score.right += 1;
                score.matches.push((best, k));
            } else {
                let (own, of) = (votes[best], &surfaces[best].name);
                score.faults.push(format!("{name}: {own} of {} points on {of}", ids.len()));
            }
        }
        for (l, surface) in surfaces.iter().enumerate().filter(|(l, _)| there[*l] >= LARGE) {
            score.wanted += 1;
            score.hit += usize::from(taken[l]);
            if !taken[l] {
                score.faults.push(format!("missed {}, {} points", surface.name, there[l]));
            }
        }
        score
    }

    /// Points of a surface as scanned, mm: what a careful person would pick.
    #[must_use]
    pub fn points_of(&self, surface: usize) -> Vec<Point3> {
        let own = self.labels.iter().zip(&self.scan.points);
        own.filter(|(l, _)| **l == Some(surface as u32)).map(|(_, p)| *p).collect()
    }

    /// A surface in the scan's coordinates.
    #[must_use]
    pub fn true_shape(&self, surface: usize) -> Primitive {
        let scan_from_machine = self.scan.machine_from_scan.inverse();
        self.machine.surfaces[surface].shape.transformed(&scan_from_machine)
    }
}

#[derive(Default)]
struct Builder {
    surfaces: Vec<Surface>,
}

impl Builder {
    fn machine(self, solid: Solid) -> Machine {
        Machine { solid, surfaces: self.surfaces, holes: Vec::new() }
    }

    fn plane(&mut self, name: &str, point: Point3, normal: Vec3, reach: f64) {
        if let Some(normal) = unit(normal) {
            self.surfaces.push(Surface::new(name, Plane { point, normal }, point, reach));
        }
    }

    /// The sides of an extruded polygon about a height.
    fn sides(&mut self, corners: &[[f64; 2]], height: f64) {
        for (n, a) in corners.iter().enumerate() {
            let b = corners[(n + 1) % corners.len()];
            let middle = Point3::new((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0, height);
            let out = Vec3::new(b[1] - a[1], a[0] - b[0], 0.0);
            self.plane(&format!("side {n}"), middle, out, 120.0);
        }
    }

    /// A cylinder from `ends.0` to `ends.1` along an axis.
    fn round(&mut self, name: &str, from: Point3, axis: Vec3, radius: f64, ends: (f64, f64)) {
        let point = from + axis * (0.5 * (ends.0 + ends.1));
        let reach = (0.5 * (ends.1 - ends.0)).hypot(radius) + 1.0;
        if let Some(axis) = unit(axis) {
            self.surfaces.push(Surface::new(name, Cylinder { point, axis, radius }, point, reach));
        }
    }

    fn block(&mut self, name: &str, low: [f64; 3], high: [f64; 3]) -> Solid {
        let (low, high) = (Vec3::from(low), Vec3::from(high));
        let (middle, size) = (Point3::from((low + high) / 2.0), high - low);
        for k in 0..3 {
            for side in [-1.0, 1.0] {
                let out = Vec3::ith(k, side);
                self.plane(
                    &format!("{name} {k} {side}"),
                    middle + out * (size[k] / 2.0),
                    out,
                    size.norm(),
                );
            }
        }
        Solid::cuboid(&Pose::from_parts(middle.into(), UnitQuaternion::identity()), size, 1.0)
    }

    /// A bore from its mouth against the axis.
    fn bore(
        &mut self,
        solid: &Solid,
        name: &str,
        mouth: Point3,
        axis: Vec3,
        radius: f64,
        depth: f64,
    ) -> Solid {
        self.round(name, mouth, axis, radius, (-depth, 0.0));
        solid.cut(&Solid::cylinder(&along(mouth, axis), radius, -depth, 10.0, 0.0), 0.5)
    }
}

fn along(p: Point3, axis: Vec3) -> Pose {
    let turn = unit(axis).map_or_else(UnitQuaternion::identity, |axis| {
        UnitQuaternion::from_rotation_matrix(&frame_from_axis(&axis))
    });
    Pose::from_parts(Translation3::from(p.coords), turn)
}
