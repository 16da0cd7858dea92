//! The part that an importer builds, as the functions of its table find it.

#![allow(unsafe_code)]

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard};

use fitwright_plugin_abi as abi;

use super::raw::{MOST_FACES, MOST_HOLES, MOST_TRIANGLES, RawFace, RawHole, RawPart, too_many};
use crate::plugin::host::text_of;

/// A part while it is built.
pub(in crate::plugin) struct Building {
    closed: AtomicBool,
    state: Mutex<State>,
}

/// Takes a part piece by piece.
pub(in crate::plugin) type Sink = Box<dyn Fn(RawPart) + Send>;

#[derive(Default)]
struct State {
    part: RawPart,
    points: usize,
    triangles: usize,
    faces: usize,
    holes: usize,
    solids: usize,
    with_faces: Option<bool>,
    fault: Option<String>,
    sink: Option<Sink>,
}

impl Building {
    /// With a sink, what has come is passed on now and then and not kept.
    pub(in crate::plugin) fn new(sink: Option<Sink>) -> Self {
        let state = State { sink, ..State::default() };
        Building { closed: AtomicBool::new(false), state: Mutex::new(state) }
    }

    /// The table that goes to the plug-in.
    pub(in crate::plugin) fn table(&self) -> abi::fitw_plugin_part {
        abi::fitw_plugin_part {
            struct_size: size_of::<abi::fitw_plugin_part>() as u32,
            reserved: 0,
            host: std::ptr::from_ref(self).cast_mut().cast(),
            schema,
            solid,
            face,
            points,
            triangles,
            hole,
            chord_error,
        }
    }

    /// Ends the call: the rest of the part, and what was done that no importer may do.
    pub(in crate::plugin) fn close(&self) -> (RawPart, Option<String>) {
        self.closed.store(true, Ordering::Release);
        let mut state = std::mem::take(&mut *self.lock());
        (std::mem::take(&mut state.part), state.fault.take())
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(|e| e.into_inner())
    }

    /// Adds to the part, unless the call is over or something was wrong before.
    ///
    /// # Safety
    /// `part` is a table made by [`Building::table`] whose `Building` is alive.
    unsafe fn add(
        part: *const abi::fitw_plugin_part,
        work: impl FnOnce(&mut State) -> std::result::Result<(), Refusal>,
    ) -> i32 {
        // SAFETY: as the caller says.
        let building = unsafe { part.as_ref().and_then(|p| p.host.cast::<Building>().as_ref()) };
        let Some(building) = building.filter(|b| !b.closed.load(Ordering::Acquire)) else {
            return abi::FITW_PLUGIN_E_INTERNAL;
        };
        let mut state = building.lock();
        if state.fault.is_some() {
            return abi::FITW_PLUGIN_E_INTERNAL;
        }
        match work(&mut state) {
            Ok(()) => {
                if state.part.weight() > PIECE
                    && let State { sink: Some(pass_on), part, .. } = &mut *state
                {
                    pass_on(std::mem::take(part));
                }
                abi::FITW_PLUGIN_OK
            }
            Err(refusal) => {
                state.fault = Some(refusal.1);
                refusal.0
            }
        }
    }
}

/// State that a function answers, and the fault that is kept.
struct Refusal(i32, String);

fn wrong(reason: impl Into<String>) -> Refusal {
    Refusal(abi::FITW_PLUGIN_E_INTERNAL, reason.into())
}

/// A count that grew, if it may.
fn grown(count: usize, more: usize, what: &str, most: usize) -> Result<usize, Refusal> {
    let total = count.saturating_add(more);
    if total <= most {
        return Ok(total);
    }
    Err(Refusal(abi::FITW_PLUGIN_E_LIMIT, too_many(what, most)))
}

type Part = *const abi::fitw_plugin_part;

unsafe extern "C" fn schema(part: Part, name: abi::fitw_plugin_text) -> i32 {
    // SAFETY: a plug-in's text.
    let name = unsafe { text_of(name) };
    // SAFETY: the plug-in hands back the table that it was given.
    unsafe {
        Building::add(part, |state| {
            state.part.schema = Some(name.ok_or_else(|| wrong("a schema's name is NULL"))?);
            Ok(())
        })
    }
}

unsafe extern "C" fn solid(part: Part) -> i32 {
    // SAFETY: as above.
    unsafe {
        Building::add(part, |state| {
            state.solids = grown(state.solids, 1, "solids", MOST_FACES)?;
            state.part.solids += 1;
            Ok(())
        })
    }
}

unsafe extern "C" fn face(part: Part, face: *const abi::fitw_plugin_face) -> i32 {
    // SAFETY: as above; the plug-in's struct.
    unsafe {
        Building::add(part, |state| {
            let raw = face.as_ref().ok_or_else(|| wrong("a face is NULL"))?;
            whole::<abi::fitw_plugin_face>(raw.struct_size, "face")?;
            state.faces = grown(state.faces, 1, "faces", MOST_FACES)?;
            state.part.faces.push(RawFace {
                shape: raw.shape,
                reversed: raw.reversed,
                point: raw.point_mm,
                direction: raw.direction,
                sizes: [raw.size_1, raw.size_2],
            });
            Ok(())
        })
    }
}

unsafe extern "C" fn hole(part: Part, hole: *const abi::fitw_plugin_hole) -> i32 {
    // SAFETY: as above; the plug-in's struct.
    unsafe {
        Building::add(part, |state| {
            let raw = hole.as_ref().ok_or_else(|| wrong("a hole is NULL"))?;
            whole::<abi::fitw_plugin_hole>(raw.struct_size, "hole")?;
            state.holes = grown(state.holes, 1, "holes", MOST_HOLES)?;
            state.part.holes.push(RawHole {
                point: raw.point_mm,
                axis: raw.axis,
                radius: raw.radius_mm,
                depth: raw.depth_mm,
            });
            Ok(())
        })
    }
}

fn whole<T>(size: u32, what: &str) -> Result<(), Refusal> {
    if size as usize >= size_of::<T>() {
        return Ok(());
    }
    Err(wrong(format!("a {what} says that it has {size} bytes")))
}

unsafe extern "C" fn points(part: Part, xyz: *const f64, count: usize) -> i32 {
    // SAFETY: as above; three numbers a point, as said.
    unsafe {
        Building::add(part, |state| {
            if xyz.is_null() && count > 0 {
                return Err(wrong("points are NULL"));
            }
            state.points = grown(state.points, count, "points", MOST_TRIANGLES)?;
            let at = xyz.cast::<[f64; 3]>();
            state.part.points.extend((0..count).map(|i| at.add(i).read_unaligned()));
            Ok(())
        })
    }
}

unsafe extern "C" fn triangles(
    part: Part,
    corners: *const u32,
    faces: *const u32,
    count: usize,
) -> i32 {
    // SAFETY: as above; three numbers a triangle and one a face, as said.
    unsafe {
        Building::add(part, |state| {
            if corners.is_null() && count > 0 {
                return Err(wrong("the corners of triangles are NULL"));
            }
            if state.solids == 0 {
                return Err(wrong("triangles come before the first solid"));
            }
            let begin = state.triangles;
            state.triangles = grown(begin, count, "triangles", MOST_TRIANGLES)?;
            if count > 0 && *state.with_faces.get_or_insert(!faces.is_null()) == faces.is_null() {
                return Err(wrong("the faces of some triangles are given, of others not"));
            }
            for i in 0..count {
                let corners = corners.cast::<[u32; 3]>().add(i).read_unaligned();
                if let Some(bad) = corners.iter().find(|c| **c as usize >= state.points) {
                    let reason = format!("point {bad} of {}", state.points);
                    return Err(wrong(format!("triangle {}: {reason}", begin + i)));
                }
                state.part.triangles.push(corners);
                if faces.is_null() {
                    continue;
                }
                let face = faces.add(i).read_unaligned();
                if face as usize >= state.faces {
                    let reason = format!("face {face} of {}", state.faces);
                    return Err(wrong(format!("triangle {}: {reason}", begin + i)));
                }
                state.part.face_of_triangle.push(face);
            }
            Ok(())
        })
    }
}

unsafe extern "C" fn chord_error(part: Part, mm: f64) -> i32 {
    // SAFETY: as above.
    unsafe {
        Building::add(part, |state| {
            state.part.chord_error = Some(mm);
            Ok(())
        })
    }
}

/// Numbers from which on a part is passed on.
const PIECE: usize = 1 << 18;
