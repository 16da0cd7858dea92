//! What moves, and what machine and part are warmed to: parts of a scene.

use engine::fitcheck::{Guide, Material, Motion, Move, Moving, Temperature, Warming, Within};
use engine::primitive::{Line, Point3, Vec3, unit};

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::pointer::{self, Array, Out, grows, items};
use crate::text::{self, fitw_str};

/// Movement: a turn about an axis, by the right hand, rad.
pub const FITW_MOVE_TURN: i32 = 10;
/// Movement: a shift along a direction, mm.
pub const FITW_MOVE_SHIFT: i32 = 20;

/// What moves: the surface of a feature.
pub const FITW_MOVING_FEATURE: i32 = 10;
/// What moves: a scan.
pub const FITW_MOVING_SCAN: i32 = 20;
/// What moves: points of a scan in a box.
pub const FITW_MOVING_BOX: i32 = 30;
/// What moves: points of a scan in a sphere.
pub const FITW_MOVING_SPHERE: i32 = 40;
/// What moves: another part. Since 1.5.
pub const FITW_MOVING_PART: i32 = 50;

/// Flag of fitw_temperature: `fixed_mm` is given.
pub const FITW_TEMPERATURE_FIXED: u32 = 1;

/// One movement between limits; 0 is where it was scanned. Machine coordinates.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_scene_move {
    /// FITW_MOVE_….
    pub kind: i32,
    /// Place in `features` of the one whose axis (of a plane, to shift along: its normal) it goes by, and
    /// whose uncertainty counts; -1: by `point_mm` and `direction`.
    pub feature: i32,
    /// A point on the axis, mm.
    pub point_mm: [f64; 3],
    /// Direction of any length but zero.
    pub direction: [f64; 3],
    /// Lower limit, rad or mm.
    pub from: f64,
    /// Upper limit.
    pub to: f64,
}

/// Something that moves while the part stays. Seats and mounting holes never do: the part would move with
/// them.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_scene_motion {
    /// Name for its finding.
    pub name: fitw_str,
    /// FITW_MOVING_….
    pub moving: i32,
    /// Place in `features`, `scans` or `other_parts` of what moves.
    pub place: i32,
    /// Lower corner of the box, or the sphere's centre, of points at rest, mm.
    pub low_mm: [f64; 3],
    /// Upper corner of the box; its first is the sphere's radius.
    pub high_mm: [f64; 3],
    /// Clearance asked for, mm; 0: that of the feature or other part, else the general one; negative: none.
    pub clearance_mm: f64,
    /// Movements, the first acting first; one to four. Their axes and directions stand still.
    pub moves: *const fitw_scene_move,
    /// Number of movements.
    pub move_count: usize,
    /// Stride of moves.
    pub move_stride: usize,
}

/// Change of a body's temperature.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_warming {
    /// Coefficient of linear expansion, 1/K.
    pub expansion: f64,
    /// Half the range that it is known to lie in, 1/K.
    pub expansion_within: f64,
    /// Temperature before, °C: of the machine, that of the scan; of the part, 20 (ISO 1).
    pub from_celsius: f64,
    /// Temperature after, °C.
    pub to_celsius: f64,
    /// Half the range that it is known to lie in, K.
    pub to_within: f64,
}

/// What machine and part are warmed to. Both grow evenly from one point that stays.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_temperature {
    /// sizeof(fitw_temperature).
    pub struct_size: u32,
    /// 0 or FITW_TEMPERATURE_FIXED.
    pub flags: u32,
    /// The machine.
    pub machine: fitw_warming,
    /// The part.
    pub part: fitw_warming,
    /// The point that stays, machine coordinates, mm; else where the first mount's bolt passes its seat.
    pub fixed_mm: [f64; 3],
}

items! { fitw_scene_move, 72; fitw_scene_motion, 104 }
grows! { fitw_temperature 112 }

/// TEMPERATURE. Coefficient of linear expansion of a material and half its range over the materials of that
/// name, 1/K: "steel", "stainless steel", "ferritic stainless steel", "cast iron", "aluminium", "brass",
/// "titanium", "printed plastic". Common handbook values. Error: FITW_E_ARGUMENT for another name.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_material_expansion(
    context: *const fitw_context,
    name: fitw_str,
    expansion: *mut f64,
    within: *mut f64,
) -> fitw_status {
    call(context, "fitw_material_expansion", |_| {
        let name = text::given(name, "name")?;
        let expansion = Out::new(expansion, "expansion")?;
        let within = Out::new(within, "within")?;
        let material = Material::parse(&name)?;
        expansion.set(material.expansion);
        within.set(material.half_range);
        Ok(())
    })
}

/// A motion of the caller; what the engine checks is left to it.
pub(crate) fn motion(m: &fitw_scene_motion) -> Result<Motion, Fault> {
    let index = |n: i32, name: &str| {
        usize::try_from(n).map_err(|_| Fault::argument(name, n, "a place, 0 or more"))
    };
    let place = index(m.place, "scene.motions.place")?;
    let low = Point3::from(pointer::three(m.low_mm.as_ptr(), "scene.motions.low_mm")?);
    let high = Point3::from(pointer::three(m.high_mm.as_ptr(), "scene.motions.high_mm")?);
    let moving = match m.moving {
        FITW_MOVING_FEATURE => Moving::Feature(place),
        FITW_MOVING_SCAN => Moving::Scan { scan: place, within: Within::All },
        FITW_MOVING_BOX => Moving::Scan { scan: place, within: Within::Box { low, high } },
        FITW_MOVING_SPHERE => {
            Moving::Scan { scan: place, within: Within::Sphere { centre: low, radius: high.x } }
        }
        FITW_MOVING_PART => Moving::OtherPart(place),
        other => {
            return Err(Fault::argument("scene.motions.moving", other, "FITW_MOVING_…"));
        }
    };
    let guide = |one: &fitw_scene_move| {
        if one.feature != -1 {
            return index(one.feature, "scene.motions.moves.feature").map(Guide::Feature);
        }
        let name = "scene.motions.moves.point_mm";
        let point = Point3::from(pointer::three(one.point_mm.as_ptr(), name)?);
        let name = "scene.motions.moves.direction";
        let direction = pointer::three(one.direction.as_ptr(), name)?;
        let direction = unit(Vec3::from(direction))
            .ok_or_else(|| Fault::argument(name, "zero", "a direction"))?;
        Ok(Guide::Line(Line { point, direction }))
    };
    let one = |one: fitw_scene_move| match one.kind {
        FITW_MOVE_TURN => Ok(Move::Turn { about: guide(&one)?, from: one.from, to: one.to }),
        FITW_MOVE_SHIFT => Ok(Move::Shift { along: guide(&one)?, from: one.from, to: one.to }),
        other => Err(Fault::argument("scene.motions.moves.kind", other, "FITW_MOVE_…")),
    };
    let moves = Array::new(m.moves, m.move_count, m.move_stride, "scene.motions.moves")?;
    Ok(Motion {
        name: text::optional(m.name, "scene.motions.name")?.unwrap_or_else(|| "motion".into()),
        moving,
        moves: moves.iter().map(one).collect::<Result<_, Fault>>()?,
        clearance: match m.clearance_mm {
            0.0 => None,
            none if none < 0.0 => Some(0.0),
            some => Some(some),
        },
    })
}

/// Temperatures of the caller; NULL is none.
pub(crate) fn temperature(t: *const fitw_temperature) -> Result<Option<Temperature>, Fault> {
    if t.is_null() {
        return Ok(None);
    }
    let t = pointer::read_sized(t, "scene.temperature")?;
    no_flags(t.flags, FITW_TEMPERATURE_FIXED, "scene.temperature.flags")?;
    let fixed = if t.flags & FITW_TEMPERATURE_FIXED == 0 {
        None
    } else {
        let fixed = pointer::three(t.fixed_mm.as_ptr(), "scene.temperature.fixed_mm")?;
        Some(Point3::from(fixed))
    };
    // The engine names what is out of range.
    let warming = |w: &fitw_warming| {
        let material =
            Material { name: "", expansion: w.expansion, half_range: w.expansion_within };
        Warming::of(&material, w.from_celsius, w.to_celsius, w.to_within)
    };
    Ok(Some(Temperature { machine: warming(&t.machine), part: warming(&t.part), fixed }))
}
