//! Points, normals and triangles as the host holds them.

use std::ffi::c_void;
use std::sync::Arc;

use engine::primitive::{Point3, Vec3};
use engine::scan::SharedSlice;

use crate::callback::{Borrowed, fitw_release_fn};
use crate::context::no_flags;
use crate::error::Fault;
use crate::kind;
use crate::memory::bytes_of;
use crate::pointer::{Array, grows};

/// Flag of fitw_mesh: the arrays stay the host's and are not copied; `release` gives them back.
pub const FITW_MESH_BORROW: u32 = 1;

/// Points, and triangles or normals of them if there are any, in the host's memory.
///
/// Copied during the call, unless `flags` has FITW_MESH_BORROW. Then points that are double, side by side
/// and in mm, and triangles that are side by side, are used where they lie: they must stay as they are until
/// `release` is called (exactly once if the call succeeds; never if it fails: the memory stays the host's).
/// What is not of that form, and all normals, is copied none the less; if nothing is left to borrow,
/// `release` is called before the call returns.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_mesh {
    /// sizeof(fitw_mesh).
    pub struct_size: u32,
    /// 0 or FITW_MESH_BORROW.
    pub flags: u32,
    /// First coordinate of the first point; x, y, z lie side by side. Multiple of its scalar's size.
    pub points: *const c_void,
    /// Number of points, 1 to 4294967295.
    pub point_count: usize,
    /// Bytes from one point to the next; 0: points lie side by side.
    pub point_stride: usize,
    /// Normal of each point, outward, any length but 0; NULL: none. Not for meshes with triangles of parts.
    pub normals: *const c_void,
    /// Bytes from one normal to the next; 0: side by side.
    pub normal_stride: usize,
    /// First corner of the first triangle: three point numbers, counter-clockwise seen from outside. NULL:
    /// bare points.
    pub triangles: *const u32,
    /// Number of triangles; 0 for bare points.
    pub triangle_count: usize,
    /// Bytes from one triangle to the next; 0: side by side.
    pub triangle_stride: usize,
    /// FITW_SCALAR_… of the points; 0: double.
    pub point_scalar: i32,
    /// FITW_SCALAR_… of the normals; 0: double.
    pub normal_scalar: i32,
    /// FITW_UNIT_… of the points; 0: mm.
    pub unit: i32,
    /// 0.
    pub reserved: i32,
    /// Gives borrowed arrays back; may be NULL if they outlive the scan and all that is made of it.
    pub release: fitw_release_fn,
    /// Handed to `release`.
    pub release_user: *mut c_void,
}

grows! { fitw_mesh 104 }

/// A mesh of the host, checked.
pub(crate) struct Given {
    points: Coordinates,
    normals: Option<Coordinates>,
    triangles: Array<[u32; 3]>,
    factor: f64,
    borrow: bool,
    release: fitw_release_fn,
    user: *mut c_void,
}

/// Positions or directions, double or float.
#[derive(Clone, Copy)]
pub(crate) enum Coordinates {
    Double(Array<[f64; 3]>),
    Float(Array<[f32; 3]>),
}

impl Coordinates {
    pub(crate) fn new(
        pointer: *const c_void,
        count: usize,
        stride: usize,
        scalar: i32,
        name: &str,
    ) -> Result<Self, Fault> {
        Ok(match kind::is_float(scalar, format_args!("{name} scalar"))? {
            false => Coordinates::Double(Array::new(pointer.cast(), count, stride, name)?),
            true => Coordinates::Float(Array::new(pointer.cast(), count, stride, name)?),
        })
    }

    pub(crate) fn len(&self) -> usize {
        match self {
            Coordinates::Double(a) => a.len(),
            Coordinates::Float(a) => a.len(),
        }
    }

    pub(crate) fn points(&self, factor: f64) -> Result<Vec<Point3>, Fault> {
        match self {
            Coordinates::Double(a) => a.collect(|p| Point3::from(p.map(|x| x * factor))),
            Coordinates::Float(a) => a.collect(|p| Point3::from(p.map(|x| f64::from(x) * factor))),
        }
    }

    pub(crate) fn directions(&self) -> Result<Vec<Vec3>, Fault> {
        match self {
            Coordinates::Double(a) => a.collect(Vec3::from),
            Coordinates::Float(a) => a.collect(|p| Vec3::from(p.map(f64::from))),
        }
    }
}

impl Given {
    pub(crate) fn new(mesh: &fitw_mesh, name: &str) -> Result<Self, Fault> {
        no_flags(mesh.flags, FITW_MESH_BORROW, &format!("{name}.flags"))?;
        let count = mesh.point_count;
        let part = |part: &str| format!("{name}.{part}");
        let coordinates = |pointer, stride, scalar, what: &str| {
            Coordinates::new(pointer, count, stride, scalar, &part(what))
        };
        let normals = match mesh.normals.is_null() {
            true => None,
            false => {
                Some(coordinates(mesh.normals, mesh.normal_stride, mesh.normal_scalar, "normals")?)
            }
        };
        let triangles = Array::new(
            mesh.triangles.cast(),
            mesh.triangle_count,
            mesh.triangle_stride,
            &part("triangles"),
        )?;
        if triangles.len() > u32::MAX as usize / 3 {
            let most = (u32::MAX / 3).to_string();
            let found = triangles.len();
            return Err(Fault::argument(&part("triangle_count"), found, &format!("0 to {most}")));
        }
        if count == 0 || count > u32::MAX as usize {
            return Err(Fault::argument(&part("point_count"), count, "1 to 4294967295"));
        }
        Ok(Given {
            points: coordinates(mesh.points, mesh.point_stride, mesh.point_scalar, "points")?,
            normals,
            triangles,
            factor: kind::unit(mesh.unit, true, part("unit"))?.to_mm(),
            borrow: mesh.flags & FITW_MESH_BORROW != 0,
            release: mesh.release,
            user: mesh.release_user,
        })
    }

    /// Points where they lie, if they may be used so.
    fn lent_points(&self) -> Option<Lent<Point3>> {
        match &self.points {
            Coordinates::Double(a) if self.borrow && self.factor == 1.0 => {
                Some(Lent { pointer: a.tight_pointer()?.cast(), count: a.len() })
            }
            _ => None,
        }
    }

    fn lent_triangles(&self) -> Option<Lent<[u32; 3]>> {
        let pointer = self.triangles.tight_pointer().filter(|_| self.borrow)?;
        Some(Lent { pointer, count: self.triangles.len() })
    }

    /// Bytes that will be allocated.
    pub(crate) fn bytes(&self) -> u64 {
        let points = if self.lent_points().is_some() { 0 } else { self.points.len() };
        let triangles = if self.lent_triangles().is_some() { 0 } else { self.triangles.len() };
        bytes_of(points, triangles, self.normals.map_or(0, |n| n.len()))
    }

    /// What is borrowed, as FITW_SCAN_BORROWS_… .
    pub(crate) fn borrows(&self) -> u32 {
        u32::from(self.lent_points().is_some()) | u32::from(self.lent_triangles().is_some()) << 1
    }

    pub(crate) fn normals(&self) -> Result<Option<Vec<Vec3>>, Fault> {
        self.normals.map(|n| n.directions()).transpose()
    }

    /// Copies of points and triangles.
    pub(crate) fn copied(&self) -> Result<(Vec<Point3>, Vec<[u32; 3]>), Fault> {
        Ok((self.points.points(self.factor)?, self.triangles.collect(|t| t)?))
    }

    /// Points, triangles and who gives them back.
    pub(crate) fn shared(&self) -> Result<Shared, Fault> {
        let owner = Arc::new(Owner::new(self.release, self.user));
        let points: SharedSlice<Point3> = match self.lent_points() {
            Some(lent) => Arc::new(Kept { lent, _owner: Arc::clone(&owner) }),
            None => Arc::new(self.points.points(self.factor)?),
        };
        let triangles: Option<SharedSlice<[u32; 3]>> = match self.lent_triangles() {
            _ if self.triangles.len() == 0 => None,
            Some(lent) => Some(Arc::new(Kept { lent, _owner: Arc::clone(&owner) })),
            None => Some(Arc::new(self.triangles.collect(|t| t)?)),
        };
        Ok(Shared { points, triangles, owner })
    }
}

/// Arrays of the host, or copies of them, for a scan.
pub(crate) struct Shared {
    pub(crate) points: SharedSlice<Point3>,
    pub(crate) triangles: Option<SharedSlice<[u32; 3]>>,
    owner: Arc<Owner>,
}

impl Shared {
    /// From now on the host's memory is given back when the last user is gone; before, it stays the host's.
    pub(crate) fn take(owner: &Owner) {
        owner.taken.store(true, std::sync::atomic::Ordering::Relaxed);
    }

    /// Gives back what was copied from the start.
    pub(crate) fn give_back(mesh: &fitw_mesh) {
        drop(Borrowed::new(mesh.release, mesh.release_user));
    }

    pub(crate) fn owner(&self) -> Arc<Owner> {
        Arc::clone(&self.owner)
    }
}

/// Gives the host's memory back once it was taken.
pub(crate) struct Owner {
    release: Borrowed,
    taken: std::sync::atomic::AtomicBool,
}

impl Owner {
    fn new(release: fitw_release_fn, user: *mut c_void) -> Self {
        Owner { release: Borrowed::new(release, user), taken: false.into() }
    }
}

impl Drop for Owner {
    fn drop(&mut self) {
        if !*self.taken.get_mut() {
            self.release.forget();
        }
    }
}

/// A slice of the host's memory.
#[derive(Clone, Copy)]
struct Lent<T> {
    pointer: *const T,
    count: usize,
}

/// A lent slice with what keeps it alive.
struct Kept<T> {
    lent: Lent<T>,
    _owner: Arc<Owner>,
}

// SAFETY: only read; by the header the host does not write to lent memory until it is given back.
unsafe impl<T: Sync> Send for Kept<T> {}
// SAFETY: as above.
unsafe impl<T: Sync> Sync for Kept<T> {}

impl<T> AsRef<[T]> for Kept<T> {
    fn as_ref(&self) -> &[T] {
        // SAFETY: not NULL, aligned and of sound length by `Array::new`; alive and unchanged as long as
        // the owner by the header; a point is three doubles side by side (asserted below).
        unsafe { std::slice::from_raw_parts(self.lent.pointer, self.lent.count) }
    }
}

const _: () = assert!(
    size_of::<Point3>() == 24
        && align_of::<Point3>() == align_of::<f64>()
        && size_of::<Vec3>() == 24
);
