//! The speed sensor's bracket: welded plates that bolt to the three bosses and nearly fit.
//!
//! Three feet lie exactly on the true boss faces and carry the bolt holes; a base joins them; an
//! upright holds the sensor and runs into the tie bar; an arm ends just short of the lube filter.
//! Plates overlap where they are welded: the part is several closed shells.

use nalgebra::{Rotation3, Translation3, UnitQuaternion};

use super::super::plate::{Plate, TriangleMesh, rounded};
use super::casting::{BAR_RADIUS, BAR_Y, BOSSES, bar, boss_frame, filter_axis};
use super::truth::{ClearanceTruth, HoleTruth, InterferenceTruth, MotionTruth};
use crate::error::Result;
use crate::primitive::{Point3, Pose, Vec3};

/// Radius of the bracket's bolt holes: ISO 273 medium for M8.
pub const PART_HOLE_RADIUS: f64 = 4.5;
/// Radius of an M8 bolt.
pub const BOLT_RADIUS: f64 = 4.0;
/// Air required round the lube filter.
pub const FILTER_LIMIT: f64 = 3.0;
/// How far the lube filter rocks on its rubber, either way, degrees, and the air that it must keep then.
const FILTER_SWING: f64 = 0.5;
const SWING_LIMIT: f64 = 2.0;

/// The bracket and what is true of it.
pub(super) struct Bracket {
    pub(super) mesh: TriangleMesh,
    pub(super) holes: Vec<HoleTruth>,
    pub(super) interference: InterferenceTruth,
    pub(super) filter: ClearanceTruth,
    pub(super) swing: MotionTruth,
}

/// Builds the bracket onto the true machine.
pub(super) fn bracket() -> Result<Bracket> {
    let mut mesh = TriangleMesh::default();
    let mut holes = Vec::new();
    for index in 0..BOSSES.len() {
        let (plate, hole) = foot(index);
        mesh.append(&plate.mesh(CHORD)?);
        holes.push(hole);
    }
    for plate in [base(), upright(), gusset()] {
        mesh.append(&plate.mesh(CHORD)?);
    }
    let (arm, filter) = arm()?;
    let swing = swing(&arm);
    mesh.append(&arm);
    Ok(Bracket { mesh, holes, interference: interference(), filter, swing })
}

/// Foot on a boss: origin at the boss' hole, y towards the middle of the three.
fn foot(index: usize) -> (Plate, HoleTruth) {
    let boss = boss_frame(index);
    let inward = boss.inverse_transform_point(&Point3::new(MIDDLE[0], MIDDLE[1], 0.0));
    let turn = Rotation3::from_axis_angle(&Vec3::z_axis(), inward.y.atan2(inward.x) - QUARTER);
    let frame = boss * UnitQuaternion::from_rotation_matrix(&turn);
    let off = OFFSETS[index];
    let corners = [[-16.0, -16.0], [16.0, -16.0], [16.0, 27.0], [-16.0, 27.0]];
    let plate = Plate {
        machine_from_local: frame,
        outline: rounded(&corners, 6.0),
        holes: vec![(off, PART_HOLE_RADIUS)],
        z: (0.0, FOOT),
    };
    let offset = off[0].hypot(off[1]);
    let hole = HoleTruth {
        name: format!("hole {}", BOSSES[index].0),
        offset,
        angle: 0.0,
        margin: PART_HOLE_RADIUS - BOLT_RADIUS - offset,
        part_point: frame * Point3::new(off[0], off[1], FOOT / 2.0),
    };
    (plate, hole)
}

/// Base over the inner ends of the feet, clear of bolt heads.
fn base() -> Plate {
    let mut corners = Vec::new();
    for (_, [x, y], ..) in [BOSSES[0], BOSSES[1], BOSSES[2]] {
        let (ux, uy) = (MIDDLE[0] - x, MIDDLE[1] - y);
        let length = ux.hypot(uy);
        let (ux, uy) = (ux / length, uy / length);
        for side in [13.0, -13.0] {
            corners.push([x + 15.0 * ux - side * uy, y + 15.0 * uy + side * ux]);
        }
    }
    Plate {
        machine_from_local: Pose::identity(),
        outline: rounded(&corners, 4.0),
        holes: Vec::new(),
        z: (10.4, 16.4),
    }
}

/// Upright with the sensor's hole: the tie bar's front side lies inside its rear face.
fn upright() -> Plate {
    let corners =
        [[14.0, 12.0], [62.0, 12.0], [62.0, 96.0], [50.0, 112.0], [26.0, 112.0], [14.0, 96.0]];
    // Local x, y are the machine's x, z; local z is -y.
    Plate {
        machine_from_local: Pose::rotation(Vec3::x() * QUARTER),
        outline: rounded(&corners, 4.0),
        holes: vec![(SENSOR, 9.0)],
        z: (-UPRIGHT_REAR, -(UPRIGHT_REAR - PLATE)),
    }
}

/// The sensor in the upright's hole: a threaded barrel (M18, plain here) with a nut on either side of the plate.
pub(super) fn sensor() -> Result<TriangleMesh> {
    let front = UPRIGHT_REAR - PLATE;
    let mut mesh = TriangleMesh::default();
    for (radius, corners, from, to) in [
        (8.8, 48, front - 22.0, UPRIGHT_REAR + 12.0),
        (NUT, 6, front - NUT_HEIGHT, front),
        (NUT, 6, UPRIGHT_REAR, UPRIGHT_REAR + NUT_HEIGHT),
    ] {
        let corner = |k: usize| {
            let (sin, cos) = (4.0 * QUARTER * k as f64 / corners as f64).sin_cos();
            [SENSOR[0] + radius * cos, SENSOR[1] + radius * sin]
        };
        let piece = Plate {
            machine_from_local: Pose::rotation(Vec3::x() * QUARTER),
            outline: (0..corners).map(corner).collect(),
            holes: Vec::new(),
            z: (-to, -from),
        };
        mesh.append(&piece.mesh(CHORD)?);
    }
    Ok(mesh)
}

/// Triangle between base and upright, before the upright.
fn gusset() -> Plate {
    let front = UPRIGHT_REAR - PLATE;
    // Local x, y are the machine's y, z; local z is x.
    let rotation = Rotation3::from_basis_unchecked(&[Vec3::y(), Vec3::z(), Vec3::x()]);
    Plate {
        machine_from_local: Pose::from_parts(
            Translation3::identity(),
            UnitQuaternion::from_rotation_matrix(&rotation),
        ),
        outline: vec![[front - 24.0, 15.0], [front + 1.0, 15.0], [front + 1.0, 46.0]],
        holes: Vec::new(),
        z: (20.0, 26.0),
    }
}

/// Arm for the cable, long enough to come as near to the filter as wanted.
fn arm() -> Result<(TriangleMesh, ClearanceTruth)> {
    let axis = filter_axis();
    let plate = |end: f64| {
        let outline =
            [[42.0, end], [62.0, end], [62.0, UPRIGHT_REAR - 1.0], [42.0, UPRIGHT_REAR - 1.0]];
        Plate {
            machine_from_local: Pose::identity(),
            outline: outline.to_vec(),
            holes: vec![([52.0, end + 12.0], 3.3)],
            z: (27.0, 33.0),
        }
    };
    // The end is a straight edge, so the distance grows almost exactly as it is drawn back.
    let mut end = axis.point.y + axis.radius + FILTER_AIR;
    for _ in 0..4 {
        let (distance, _) = plate(end).mesh(CHORD)?.nearest_to_line(&axis.axis_line());
        end += FILTER_AIR - (distance - axis.radius);
    }
    let mesh = plate(end).mesh(CHORD)?;
    let (distance, at) = mesh.nearest_to_line(&axis.axis_line());
    let value = distance - axis.radius;
    Ok((mesh, ClearanceTruth { name: "lube filter".into(), limit: FILTER_LIMIT, value, at }))
}

/// The filter rocked about its axis, in steps far below what a step changes.
fn swing(arm: &TriangleMesh) -> MotionTruth {
    let filter = filter_axis();
    let there = Translation3::from(Vec3::from(SWING_AXIS));
    let at = |step: i32| {
        let angle = FILTER_SWING.to_radians() * f64::from(step) / f64::from(STEPS);
        let turn = Pose::rotation(Vec3::x() * angle);
        let swung = filter.transformed(&(there * turn * there.inverse()));
        let (distance, place) = arm.nearest_to_line(&swung.axis_line());
        MotionTruth {
            name: "lube filter".into(),
            limit: SWING_LIMIT,
            value: distance - swung.radius,
            turn: angle,
            at: place,
        }
    };
    let all = (-STEPS..=STEPS).map(at);
    all.reduce(|a, b| if b.value < a.value { b } else { a }).unwrap_or_else(|| at(0))
}

/// The bar runs parallel to the upright's rear face, so the depth is the same all along.
fn interference() -> InterferenceTruth {
    let depth = BAR_RADIUS - (BAR_Y - UPRIGHT_REAR);
    let at = Point3::new(bar().point.x, BAR_Y - BAR_RADIUS, bar().point.z);
    InterferenceTruth { name: "tie bar".into(), depth, at }
}

/// Error in the bracket's bolt holes, in each foot's frame: the second is drilled wrong.
const OFFSETS: [[f64; 2]; 3] = [[0.04, 0.03], [1.2, 0.9], [-0.06, 0.08]];
/// Middle of the three bosses.
const MIDDLE: [f64; 2] = [37.0, 30.0];
/// Thickness of feet and of the other plates.
const FOOT: f64 = 10.0;
const PLATE: f64 = 6.0;
/// Middle of the sensor's hole in the upright, and its nuts: across corners by half, and their height.
const SENSOR: [f64; 2] = [38.0, 62.0];
const NUT: f64 = 13.5;
const NUT_HEIGHT: f64 = 4.0;
/// Rear face of the upright: 2 mm inside the tie bar.
const UPRIGHT_REAR: f64 = 40.0;
/// Air left to the lube filter: within any uncertainty of the limit.
const FILTER_AIR: f64 = 3.01;
/// Largest distance of a hole's polygon from its circle.
const CHORD: f64 = 0.003;
/// A point on the axis, along x, that the filter rocks about.
const SWING_AXIS: [f64; 3] = [0.0, -66.0, 90.0];
/// Steps of the filter's swing to each side.
const STEPS: i32 = 100;
const QUARTER: f64 = std::f64::consts::FRAC_PI_2;
