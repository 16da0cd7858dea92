//! The designed part.

use std::path::Path;

use engine::exchange::{Part, PartHole, PartOptions};
use engine::primitive::Point3;

use crate::call::call;
use crate::callback::FITW_LOG_NOTE;
use crate::context::{fitw_context, no_flags};
use crate::error::fitw_status;
use crate::handle::{self, Handle};
use crate::kind;
use crate::memory::{Held, bytes_of};
use crate::mesh::{FITW_MESH_BORROW, Given, Shared, fitw_mesh};
use crate::pointer::{self, Out, SizedOut, View, grows};
use crate::shape::{fitw_shape, of_primitive};
use crate::text::{self, Text, fitw_str};

/// The designed part in machine coordinates. Immutable. [any-thread]
pub struct fitw_part;

/// How a part is read. All zero is the default.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_part_options {
    /// sizeof(fitw_part_options).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// FITW_UNIT_… of a mesh file; STEP, GLB and 3MF name their own. 0: mm.
    pub unit: i32,
    /// 0.
    pub reserved: i32,
    /// Largest distance of a STEP part's mesh from its exact surfaces, mm, 1e-5 to 100; 0: 0.01.
    pub chord_error_mm: f64,
    /// Since 1.3: id of a loaded plug-in's importer that is to read it, see fitw_importer_describe; empty: the
    /// library itself.
    pub reader: fitw_str,
}

/// What a part consists of.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_part_info {
    /// sizeof(fitw_part_info), set by the caller.
    pub struct_size: u32,
    /// 1 if it is a closed solid, which the checks need; else 0.
    pub closed: i32,
    /// Separate closed solids.
    pub solid_count: u64,
    /// Corners of its mesh.
    pub point_count: u64,
    /// Triangles of its mesh.
    pub triangle_count: u64,
    /// Analytic faces, see fitw_part_face; 0 for a mesh.
    pub face_count: u64,
    /// Round holes known, see fitw_part_hole.
    pub hole_count: u64,
    /// Notes, see fitw_part_note.
    pub note_count: u64,
    /// Enclosed volume, mm³; positive when the triangles face outwards.
    pub volume_mm3: f64,
    /// Area of all triangles, mm².
    pub area_mm2: f64,
    /// Smallest coordinates, mm.
    pub low_mm: [f64; 3],
    /// Largest coordinates, mm.
    pub high_mm: [f64; 3],
    /// Largest distance of the mesh from the exact surfaces, mm; 0 for a mesh.
    pub chord_error_mm: f64,
    /// "AP203", "AP214", "AP242", "STL", "PLY", "OBJ", "GLB", "3MF" or "arrays"; valid until the part is released.
    pub schema: fitw_str,
}

/// A round hole of the part.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_part_hole_info {
    /// sizeof(fitw_part_hole_info), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Middle of the axis inside the material, mm.
    pub point_mm: [f64; 3],
    /// Unit axis.
    pub axis: [f64; 3],
    /// Radius, mm.
    pub radius_mm: f64,
    /// Length of the wall along the axis, mm.
    pub depth_mm: f64,
}

grows! { fitw_part_options 24, fitw_part_info 144, fitw_part_hole_info 72 }

/// PART. Reads a part in machine coordinates: STEP (.step, .stp, .p21), STL, PLY, OBJ, GLB or 3MF, by the
/// extension. Release it with fitw_part_release.
///
/// The part may be open: fitw_part_describe tells. `options` may be NULL. Errors: FITW_E_IO, FITW_E_FORMAT
/// with entity and line, FITW_E_UNKNOWN_FORMAT, FITW_E_UNSUPPORTED, FITW_E_LIMIT, FITW_E_ARGUMENT,
/// FITW_E_CANCELLED; of an importer also FITW_E_PLUGIN. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_read(
    context: *const fitw_context,
    path: fitw_str,
    options: *const fitw_part_options,
    out: *mut *mut fitw_part,
) -> fitw_status {
    call(context, "fitw_part_read", |c| {
        let path = text::given(path, "path")?;
        let given = pointer::read_optional(options, "options")?;
        no_flags(given.flags, 0, "options.flags")?;
        let unit = kind::unit(given.unit, true, "options.unit")?;
        let mut options = PartOptions { unit, ..PartOptions::default() };
        crate::region::limit(
            &mut options.chord_error_mm,
            given.chord_error_mm,
            "options.chord_error_mm",
        )?;
        let out = Out::new(out, "out")?;
        c.engine.check()?;
        // The text of a part is never much smaller than the mesh it becomes; what it really takes is
        // counted when it is known.
        let size = std::fs::metadata(&path).map_or(0, |m| m.len());
        drop(c.memory.hold(size)?);
        let part = match text::optional(given.reader, "options.reader")? {
            None => c.engine.run(|| Part::read(&path, &options))?,
            Some(id) => {
                let importer = c.plugins.registry().importer(&id)?;
                c.engine.run(|| Part::read_with(&path, &options, &importer, Some(&c.engine)))?
            }
        };
        let held = c.memory.hold(bytes_of(part.points.len(), part.triangles.len(), 0))?;
        for note in &part.notes {
            c.log(FITW_LOG_NOTE, &format!("{path}: {note}"));
        }
        out.set(handle::insert(PartBox::new(part, held))?);
        Ok(())
    })
}

/// Makes a part of the host's triangles, whose corners are shared by number; copied, machine coordinates.
///
/// `name` stands for the file in messages; may be empty. Normals are not used. With FITW_MESH_BORROW the
/// arrays are copied too and `release` is called before the call returns. A mesh that is inside out is
/// turned, with a note. Errors: FITW_E_FORMAT for a number past the points, coordinates that are not
/// finite or no triangle, FITW_E_LIMIT, FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_create(
    context: *const fitw_context,
    mesh: *const fitw_mesh,
    name: fitw_str,
    out: *mut *mut fitw_part,
) -> fitw_status {
    call(context, "fitw_part_create", |c| {
        let mesh = pointer::read_sized(mesh, "mesh")?;
        let name = text::optional(name, "name")?.unwrap_or_else(|| "part".into());
        let out = Out::new(out, "out")?;
        c.engine.check()?;
        let copying = fitw_mesh { flags: mesh.flags & !FITW_MESH_BORROW, ..mesh };
        let given = Given::new(&copying, "mesh")?;
        no_flags(mesh.flags, FITW_MESH_BORROW, "mesh.flags")?;
        let held = c.memory.hold(given.bytes())?;
        let (points, triangles) = given.copied()?;
        let part =
            c.engine.run(|| Part::from_mesh(points, triangles, Path::new(&name), "arrays"))?;
        let part = handle::insert(PartBox::new(part, held))?;
        if mesh.flags & FITW_MESH_BORROW != 0 {
            Shared::give_back(&mesh);
        }
        out.set(part);
        Ok(())
    })
}

/// What the part consists of. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_describe(
    context: *const fitw_context,
    part: *const fitw_part,
    out: *mut fitw_part_info,
) -> fitw_status {
    call(context, "fitw_part_describe", |_| {
        let part = handle::get(part, "part")?;
        SizedOut::new(out, "out").map(|out| out.set(part.info()))
    })
}

/// Corners of the part's mesh: x, y, z side by side, mm, `*count` corners. Not a copy; valid until the part
/// is released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_points_view(
    context: *const fitw_context,
    part: *const fitw_part,
    xyz_mm: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_part_points_view", |_| {
        let part = handle::get(part, "part")?;
        View::new(xyz_mm, count).map(|view| view.set(&part.part.points))
    })
}

/// Triangles of the part's mesh: three corner numbers each. As above. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_triangles_view(
    context: *const fitw_context,
    part: *const fitw_part,
    corners: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_part_triangles_view", |_| {
        let part = handle::get(part, "part")?;
        View::new(corners, count).map(|view| view.set(&part.part.triangles))
    })
}

/// Number of the face of each triangle; NULL and 0 for a part without faces. As above. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_face_of_triangle_view(
    context: *const fitw_context,
    part: *const fitw_part,
    faces: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_part_face_of_triangle_view", |_| {
        let part = handle::get(part, "part")?;
        View::new(faces, count).map(|view| view.set(&part.part.face_of_triangle))
    })
}

/// Surface of face `index`, from 0: `shape->kind` is 0 for one that is no ideal shape; `*reversed` (may be
/// NULL) is 1 if the material's outside is against the shape's own normal, as in a bore. Error:
/// FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_face(
    context: *const fitw_context,
    part: *const fitw_part,
    index: usize,
    shape: *mut fitw_shape,
    reversed: *mut i32,
) -> fitw_status {
    call(context, "fitw_part_face", |_| {
        let part = handle::get(part, "part")?;
        let (shape, reversed) =
            (SizedOut::new(shape, "shape")?, Out::optional(reversed, "reversed")?);
        let faces = &part.part.faces;
        let face = faces.get(index).ok_or_else(|| text::past(index, faces.len()))?;
        shape.set(face.shape.as_ref().map_or(NO_SHAPE, of_primitive));
        if let Some(reversed) = reversed {
            reversed.set(i32::from(face.reversed));
        }
        Ok(())
    })
}

/// Hole `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_hole(
    context: *const fitw_context,
    part: *const fitw_part,
    index: usize,
    out: *mut fitw_part_hole_info,
) -> fitw_status {
    call(context, "fitw_part_hole", |_| {
        let part = handle::get(part, "part")?;
        let out = SizedOut::new(out, "out")?;
        let holes = &part.part.holes;
        let hole = holes.get(index).ok_or_else(|| text::past(index, holes.len()))?;
        out.set(of_hole(hole));
        Ok(())
    })
}

/// The round hole at a place (three numbers, mm), looked for among the known ones and then in the facets.
///
/// Error: FITW_E_UNDETERMINED if there is none. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_hole_at(
    context: *const fitw_context,
    part: *const fitw_part,
    place_mm: *const f64,
    out: *mut fitw_part_hole_info,
) -> fitw_status {
    call(context, "fitw_part_hole_at", |c| {
        let part = handle::get(part, "part")?;
        let place = Point3::from(pointer::three(place_mm, "place_mm")?);
        let out = SizedOut::new(out, "out")?;
        c.engine.check()?;
        out.set(of_hole(&c.engine.run(|| part.part.hole_at(&place))?));
        Ok(())
    })
}

/// What was met or healed when the part was read, one sentence; valid until the part is released. Error:
/// FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_note(
    context: *const fitw_context,
    part: *const fitw_part,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_part_note", |_| text::nth(&handle::get(part, "part")?.notes, index, out))
}

/// Releases a part. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_part_release(part: *mut fitw_part) -> fitw_status {
    handle::release(part)
}

impl Handle for fitw_part {
    type Inner = PartBox;
    const NAME: &'static str = "fitw_part";
}

/// What stands behind a part.
pub(crate) struct PartBox {
    pub(crate) part: Part,
    closed: bool,
    schema: Text,
    notes: Vec<Text>,
    _held: Held,
}

impl PartBox {
    fn new(part: Part, held: Held) -> Self {
        PartBox {
            closed: part.closed().is_ok(),
            schema: Text::new(&part.schema),
            notes: Text::all(&part.notes),
            part,
            _held: held,
        }
    }

    fn info(&self) -> fitw_part_info {
        let part = &self.part;
        let (low, high) = part.bounding_box().unwrap_or_default();
        fitw_part_info {
            struct_size: 0,
            closed: i32::from(self.closed),
            solid_count: part.solids as u64,
            point_count: part.points.len() as u64,
            triangle_count: part.triangles.len() as u64,
            face_count: part.faces.len() as u64,
            hole_count: part.holes.len() as u64,
            note_count: self.notes.len() as u64,
            volume_mm3: part.volume(),
            area_mm2: part.area(),
            low_mm: low.into(),
            high_mm: high.into(),
            chord_error_mm: part.chord_error,
            schema: self.schema.view(),
        }
    }
}

fn of_hole(hole: &PartHole) -> fitw_part_hole_info {
    fitw_part_hole_info {
        struct_size: 0,
        reserved: 0,
        point_mm: hole.point.into(),
        axis: hole.axis.into_inner().into(),
        radius_mm: hole.radius,
        depth_mm: hole.depth,
    }
}

const NO_SHAPE: fitw_shape = fitw_shape {
    struct_size: 0,
    kind: 0,
    point_mm: [0.0; 3],
    direction: [0.0; 3],
    size_1: 0.0,
    size_2: 0.0,
};
