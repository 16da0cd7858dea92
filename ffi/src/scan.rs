//! Scans.

use engine::primitive::Point3;
use engine::scan::{ReadOptions, Scan};

use crate::call::call;
use crate::callback::FITW_LOG_NOTE;
use crate::context::{ContextBox, fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::handle::{self, Handle};
use crate::kind;
use crate::memory::{Held, bytes_of};
use crate::mesh::{Given, Shared, fitw_mesh};
use crate::pointer::{self, Out, SizedOut, View, grows};
use crate::shape::fitw_pose;
use crate::text::{self, Text, fitw_str};

/// A scan: points with optional triangles and normals, in its scanner's coordinates, mm. Immutable; what
/// follows from it (normals, neighbours, noise) is computed once, when first asked for. [any-thread]
pub struct fitw_scan;

/// Flag of fitw_scan_options: drop points that are not finite, with their triangles, instead of failing.
pub const FITW_SCAN_DROP_INVALID: u32 = 1;

/// How a scan is read from a file. All zero is the default.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_scan_options {
    /// sizeof(fitw_scan_options).
    pub struct_size: u32,
    /// 0 or FITW_SCAN_DROP_INVALID.
    pub flags: u32,
    /// Most points the file may hold; 0: 200 million.
    pub max_points: u64,
    /// Most triangles the file may hold; 0: 400 million.
    pub max_triangles: u64,
}

/// In fitw_scan_info.borrows: the points lie in the host's memory.
pub const FITW_SCAN_BORROWS_POINTS: u32 = 1;
/// In fitw_scan_info.borrows: the triangles lie in the host's memory.
pub const FITW_SCAN_BORROWS_TRIANGLES: u32 = 2;

/// What a scan consists of.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_scan_info {
    /// sizeof(fitw_scan_info), set by the caller.
    pub struct_size: u32,
    /// FITW_SCAN_BORROWS_… of what lies in the host's memory.
    pub borrows: u32,
    /// Points.
    pub point_count: u64,
    /// Triangles; 0 for a point cloud.
    pub triangle_count: u64,
    /// Notes, see fitw_scan_note.
    pub note_count: u64,
}

grows! { fitw_scan_options 24, fitw_scan_info 32 }

/// SCAN. Makes a scan of the host's arrays; release it with fitw_scan_release.
///
/// Errors: FITW_E_ARGUMENT for no points, a coordinate that is not finite or over 1e15 mm, a triangle that
/// names a point past the last, NULL or misaligned arrays, counts that no memory holds; FITW_E_LIMIT over
/// the context's memory limit; FITW_E_CANCELLED. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_create(
    context: *const fitw_context,
    mesh: *const fitw_mesh,
    out: *mut *mut fitw_scan,
) -> fitw_status {
    call(context, "fitw_scan_create", |c| {
        let mesh = pointer::read_sized(mesh, "mesh")?;
        let out = Out::new(out, "out")?;
        c.engine.check()?;
        let given = Given::new(&mesh, "mesh")?;
        let held = c.memory.hold(given.bytes())?;
        let shared = given.shared()?;
        let (normals, owner) = (given.normals()?, shared.owner());
        let Shared { points, triangles, .. } = shared;
        let scan = c.engine.run(|| Scan::from_shared(points, triangles, normals))?;
        let scan = handle::insert(ScanBox::new(scan, given.borrows(), held))?;
        Shared::take(&owner);
        out.set(scan);
        Ok(())
    })
}

/// Reads a scan: STL, PLY, OBJ, GLB, 3MF, or points as E57 or text, told apart by extension and content.
///
/// `path` as the system takes it, UTF-8. `unit` is the FITW_UNIT_… of the file's coordinates; GLB, 3MF and
/// E57 name their own. `options` may be NULL. Progress is reported. Release the scan with fitw_scan_release.
/// Errors: FITW_E_IO, FITW_E_FORMAT with line or byte, FITW_E_UNKNOWN_FORMAT, FITW_E_UNSUPPORTED,
/// FITW_E_LIMIT, FITW_E_CANCELLED, FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_read(
    context: *const fitw_context,
    path: fitw_str,
    unit: i32,
    options: *const fitw_scan_options,
    out: *mut *mut fitw_scan,
) -> fitw_status {
    call(context, "fitw_scan_read", |c| {
        let path = text::given(path, "path")?;
        let unit = kind::unit(unit, false, "unit")?;
        let options = read_options(c, &pointer::read_optional(options, "options")?)?;
        let out = Out::new(out, "out")?;
        let scan = Scan::read_with(&path, unit, &options, &c.engine)?;
        let bytes = bytes_of(scan.points().len(), scan.triangles().len(), 0);
        let held = c.memory.hold(bytes)?;
        for note in scan.notes() {
            c.log(FITW_LOG_NOTE, &format!("{path}: {note}"));
        }
        out.set(handle::insert(ScanBox::new(scan, 0, held))?);
        Ok(())
    })
}

/// The scan moved by a rigid motion, a scan of its own. Triangles are shared, points copied.
///
/// Errors: FITW_E_ARGUMENT for a pose that is no rigid motion; FITW_E_LIMIT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_move(
    context: *const fitw_context,
    scan: *const fitw_scan,
    pose: *const fitw_pose,
    out: *mut *mut fitw_scan,
) -> fitw_status {
    call(context, "fitw_scan_move", |c| {
        let scan = handle::get(scan, "scan")?;
        let pose = crate::shape::pose(pose, "pose")?;
        let out = Out::new(out, "out")?;
        let held = c.memory.hold(bytes_of(scan.scan.points().len(), 0, 0))?;
        let moved = c.engine.run(|| scan.scan.transformed(&pose));
        let borrows = scan.borrows & FITW_SCAN_BORROWS_TRIANGLES;
        out.set(handle::insert(ScanBox::new(moved, borrows, held))?);
        Ok(())
    })
}

/// Releases a scan; what was made of it keeps what it needs. NULL is allowed; releasing twice is
/// FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_release(scan: *mut fitw_scan) -> fitw_status {
    handle::release(scan)
}

/// Counts of a scan. Errors: FITW_E_HANDLE, FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_describe(
    context: *const fitw_context,
    scan: *const fitw_scan,
    out: *mut fitw_scan_info,
) -> fitw_status {
    call(context, "fitw_scan_describe", |_| {
        let scan = handle::get(scan, "scan")?;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_scan_info {
            struct_size: 0,
            borrows: scan.borrows,
            point_count: scan.scan.points().len() as u64,
            triangle_count: scan.scan.triangles().len() as u64,
            note_count: scan.notes.len() as u64,
        });
        Ok(())
    })
}

/// What was dropped, ignored or healed when the scan was read, one sentence each; `index` from 0. The text
/// is valid until the scan is released. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_note(
    context: *const fitw_context,
    scan: *const fitw_scan,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_scan_note", |_| text::nth(&handle::get(scan, "scan")?.notes, index, out))
}

/// The points: `*xyz_mm` gets x, y, z of each side by side, `*count` the number of points. Not a copy;
/// valid until the scan is released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_points_view(
    context: *const fitw_context,
    scan: *const fitw_scan,
    xyz_mm: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_scan_points_view", |_| {
        let scan = handle::get(scan, "scan")?;
        View::new(xyz_mm, count).map(|view| view.set(scan.scan.points()))
    })
}

/// The triangles: three point numbers each, `*count` the number of triangles. Not a copy; NULL for a point
/// cloud; valid until the scan is released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_triangles_view(
    context: *const fitw_context,
    scan: *const fitw_scan,
    corners: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_scan_triangles_view", |_| {
        let scan = handle::get(scan, "scan")?;
        View::new(corners, count).map(|view| view.set(scan.scan.triangles()))
    })
}

/// Unit normal of each point: given, or from the triangles, or from the neighbours; zero where undefined.
/// Computed when first asked for. Valid until the scan is released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_normals_view(
    context: *const fitw_context,
    scan: *const fitw_scan,
    xyz: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_scan_normals_view", |c| {
        let scan = handle::get(scan, "scan")?;
        let view = View::new(xyz, count)?;
        c.engine.check()?;
        view.set(c.engine.run(|| scan.scan.normals()));
        Ok(())
    })
}

/// Standard deviation of the points normal to the surface, mm, estimated from the scan alone when first
/// asked for; 0 for a scan too small to tell. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_noise(
    context: *const fitw_context,
    scan: *const fitw_scan,
    noise_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_scan_noise", |c| {
        let scan = handle::get(scan, "scan")?;
        let out = Out::new(noise_mm, "noise_mm")?;
        c.engine.check()?;
        out.set(c.engine.run(|| scan.scan.noise()));
        Ok(())
    })
}

/// Median spacing of neighbouring points, mm, computed when first asked for. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_resolution(
    context: *const fitw_context,
    scan: *const fitw_scan,
    resolution_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_scan_resolution", |c| {
        let scan = handle::get(scan, "scan")?;
        let out = Out::new(resolution_mm, "resolution_mm")?;
        c.engine.check()?;
        out.set(c.engine.run(|| scan.scan.resolution()));
        Ok(())
    })
}

/// The scan's point nearest to a place (three numbers, mm): its number and distance. Either result may be
/// NULL. Error: FITW_E_ARGUMENT for a place that is not finite. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_scan_nearest(
    context: *const fitw_context,
    scan: *const fitw_scan,
    place_mm: *const f64,
    id: *mut u32,
    distance_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_scan_nearest", |c| {
        let scan = handle::get(scan, "scan")?;
        let place = Point3::from(pointer::three(place_mm, "place_mm")?);
        let (id, distance) = (Out::optional(id, "id")?, Out::optional(distance_mm, "distance_mm")?);
        c.engine.check()?;
        let found = scan.scan.nearest(&place);
        if let Some(id) = id {
            id.set(found.0);
        }
        if let Some(distance) = distance {
            distance.set(found.1);
        }
        Ok(())
    })
}

impl Handle for fitw_scan {
    type Inner = ScanBox;
    const NAME: &'static str = "fitw_scan";
}

/// What stands behind a scan.
pub(crate) struct ScanBox {
    pub(crate) scan: Scan,
    pub(crate) borrows: u32,
    notes: Vec<Text>,
    _held: Held,
}

impl ScanBox {
    pub(crate) fn new(scan: Scan, borrows: u32, held: Held) -> Self {
        let notes = Text::all(scan.notes());
        ScanBox { scan, borrows, notes, _held: held }
    }
}

/// Reading options that keep the file within the memory that is left.
fn read_options(c: &ContextBox, options: &fitw_scan_options) -> Result<ReadOptions, Fault> {
    no_flags(options.flags, FITW_SCAN_DROP_INVALID, "options.flags")?;
    let default = ReadOptions::default();
    let most = |asked: u64, default: usize, bytes: u64| {
        let asked = if asked == 0 { default as u64 } else { asked };
        usize::try_from(asked.min(c.memory.left() / bytes)).unwrap_or(usize::MAX)
    };
    Ok(ReadOptions {
        drop_invalid: options.flags & FITW_SCAN_DROP_INVALID != 0,
        max_points: most(options.max_points, default.max_points, bytes_of(1, 0, 0)),
        max_triangles: most(options.max_triangles, default.max_triangles, bytes_of(0, 1, 0)),
    })
}
