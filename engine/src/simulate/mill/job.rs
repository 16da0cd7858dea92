//! The demo's job file, with its picks read off the first scan as a person would click them.

use std::fmt::Write as _;

use super::super::machine::{Machine, Surface};
use super::super::scanner::SimulatedScan;
use super::truth::HoleTruth;
use crate::error::{Error, Result};
use crate::primitive::Point3;

/// A feature of the job: its name, the keys besides name and pick, and a place near which to pick,
/// machine coordinates, mm.
struct Wanted {
    name: &'static str,
    keys: &'static str,
    near: [f64; 3],
}

/// Names of the features in the job, in its order.
pub(super) fn feature_names() -> impl Iterator<Item = &'static str> {
    WANTED.iter().map(|w| w.name)
}

/// Text of the job file.
pub(super) fn text(
    machine: &Machine,
    front: &SimulatedScan,
    holes: &[HoleTruth],
) -> Result<String> {
    let mut text = String::from(HEAD);
    for wanted in &WANTED {
        let surface = machine
            .surface(wanted.name)
            .ok_or_else(|| Error::Internal(format!("the mill has no {}", wanted.name)))?;
        let at = pick(front, surface, &Point3::from(wanted.near))?;
        let _ = write!(
            text,
            "\n[[feature]]\nname = \"{}\"\n{}\nat = [{:.1}, {:.1}, {:.1}]\n",
            wanted.name, wanted.keys, at.x, at.y, at.z
        );
    }
    text.push_str(DATUM);
    let mounts: Vec<String> = holes.iter().map(mount).collect();
    let _ = write!(text, "mount = [\n{}]\n", mounts.concat());
    text.push_str(CHECK);
    Ok(text)
}

fn mount(hole: &HoleTruth) -> String {
    let p = hole.part_point;
    format!("    {{ hole = \"{}\", near = [{:.1}, {:.1}, {:.1}] }},\n", hole.name, p.x, p.y, p.z)
}

/// A point near a clean place of a surface, scanner coordinates, to a tenth of a millimetre.
fn pick(scan: &SimulatedScan, surface: &Surface, near: &Point3) -> Result<Point3> {
    let mut ids = scan.points_on(surface);
    let distance = |i: u32| (scan.exact[i as usize] - near).norm_squared();
    ids.sort_by(|a, b| distance(*a).total_cmp(&distance(*b)).then(a.cmp(b)));
    let id =
        ids.into_iter().take(CANDIDATES).find(|&i| clean(scan, surface, i)).ok_or_else(|| {
            Error::Internal(format!("the front scan shows no clean place of {}", surface.name))
        })? as usize;
    let off = scan.exact[id] + scan.normals[id] * LIFT;
    let at = scan.machine_from_scan.inverse_transform_point(&off);
    Ok(at.map(|x| (x * 10.0).round() / 10.0))
}

/// Whether all that was seen close to a point lies on its surface, and enough was seen.
fn clean(scan: &SimulatedScan, surface: &Surface, id: u32) -> bool {
    let p = scan.exact[id as usize];
    let around = scan.exact.iter().filter(|q| (*q - p).norm() < AROUND);
    let (on, all) = around.fold((0, 0), |(on, all), q| (on + u32::from(surface.holds(q)), all + 1));
    all >= FEWEST && on == all
}

const WANTED: [Wanted; 15] = [
    Wanted { name: "deck", keys: "fit = \"plane\"", near: [-100.0, 20.0, 0.0] },
    Wanted { name: "side", keys: "fit = \"plane\"", near: [116.0, 20.0, -80.0] },
    Wanted { name: "boss A", keys: "fit = \"plane\"", near: [7.0, -5.0, 2.0] },
    Wanted { name: "boss B", keys: "fit = \"plane\"", near: [91.0, 9.0, 9.5] },
    Wanted { name: "boss C", keys: "fit = \"plane\"", near: [33.0, 71.0, 5.2] },
    Wanted {
        name: "hole A",
        keys: "fit = \"hole\"\non = \"boss A\"\nbolt = \"M8\"",
        near: [0.0, 4.5, -1.5],
    },
    Wanted {
        name: "hole B",
        keys: "fit = \"hole\"\non = \"boss B\"\nbolt = \"M8\"",
        near: [84.0, 18.5, 6.0],
    },
    Wanted {
        name: "hole C",
        keys: "fit = \"hole\"\non = \"boss C\"\nbolt = \"M8\"",
        near: [26.0, 80.5, 1.7],
    },
    Wanted {
        name: "lube filter",
        keys: "fit = \"cylinder\"\nkeep_clear = 3.0",
        near: [70.0, -138.0, 40.0],
    },
    Wanted { name: "guard cone", keys: "fit = \"cone\"", near: [-90.0, -120.0, -58.0] },
    Wanted { name: "tie bar", keys: "fit = \"cylinder\"", near: [80.0, 39.0, 96.0] },
    Wanted { name: "pipe 1", keys: "fit = \"cylinder\"", near: [88.0, 120.0, 25.0] },
    Wanted { name: "pipe 3", keys: "fit = \"cylinder\"", near: [-20.0, 124.0, 90.0] },
    Wanted { name: "post front face", keys: "fit = \"plane\"", near: [230.0, 16.0, 30.0] },
    Wanted { name: "rail top", keys: "fit = \"plane\"", near: [175.0, -30.0, -189.0] },
];

const HEAD: &str = r#"# Made-up data: no real machine stands behind it.
[job]
name = "Speed sensor bracket, grain mill"
length = "mm"
angle = "deg"

[[scan]]
name = "front"
file = "front.ply"
targets = "front-targets.csv"

[[scan]]
name = "rear"
file = "rear.ply"
join = { to = "front", by = "targets", targets = "rear-targets.csv" }
"#;

const DATUM: &str = r#"
[datum]
primary = { feature = "deck", axis = "+z" }
secondary = { feature = "side", axis = "+x" }
tertiary = { feature = "hole A", sets = "origin" }

[part]
file = "bracket.stl"
"#;

const CHECK: &str = r#"
# The sensor's nuts clamp the bracket's upright between them.
[[other_part]]
name = "speed sensor"
file = "sensor.stl"
touches = true

[check]
clearance = 3.0
tool_access = true
# The filter hangs on rubber and rocks by half a degree either way.
motion = [
    { feature = "lube filter", about = { point = [0.0, -66.0, 90.0], direction = [1.0, 0.0, 0.0] }, by = 0.5, clearance = 2.0 },
]

# Beside features.step, to be looked at in any viewer of GLB files.
[[output.mesh]]
file = "bracket-and-features.glb"
of = ["part", "features"]
"#;

/// Height of a pick above the surface, mm: a click is never exactly on it.
const LIFT: f64 = 0.3;
/// Radius of the clean surroundings of a pick, mm, and the fewest points in it.
const AROUND: f64 = 2.0;
const FEWEST: u32 = 5;
/// Candidates tried before a surface counts as unseen.
const CANDIDATES: usize = 400;
