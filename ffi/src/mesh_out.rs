//! Scans, parts and features as mesh files.

use engine::exchange::{MeshBody, surface_of, write_meshes};
use engine::primitive::Point3;

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::feature::fitw_feature;
use crate::handle;
use crate::part::fitw_part;
use crate::pointer::{Array, items};
use crate::scan::fitw_scan;
use crate::shape::{self, fitw_pose};
use crate::text::{self, fitw_str};

/// A body of a mesh file: exactly one of `scan`, `part` and `feature` is given, the others are NULL.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_body {
    /// A scan.
    pub scan: *const fitw_scan,
    /// A part.
    pub part: *const fitw_part,
    /// A feature with faces, which become triangles.
    pub feature: *const fitw_feature,
    /// Name, unique in the file.
    pub name: fitw_str,
    /// Moves the body; NULL: it stays where it is.
    pub pose: *const fitw_pose,
    /// 0xRRGGBB (sRGB).
    pub colour: u32,
    /// 1 if `colour` counts, 0 for the reader's own.
    pub has_colour: i32,
    /// Largest distance of a feature's triangles from its faces, mm; 0: 0.05.
    pub chord_error_mm: f64,
}

items! { fitw_body, 64 }

/// MESHES OUT. Writes scans, parts and features into one mesh file, which appears complete or not at all.
///
/// The extension of `path` says the format: .ply (binary, double), .stl (binary), .obj, .glb, .3mf. Millimetres
/// in the bodies' own coordinates; GLB holds metres with Y up, as it must, and programs that read it take that
/// back. Names and colours are kept by OBJ, GLB and 3MF, colours by PLY. `bodies` are `count` structs, `stride`
/// bytes from one to the next; 0: side by side. Errors: FITW_E_UNKNOWN_FORMAT, FITW_E_DUPLICATE_NAME,
/// FITW_E_ARGUMENT (no bodies, a body of none or several things, a feature without faces, bare points as STL
/// or 3MF), FITW_E_LIMIT, FITW_E_IO, FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_meshes_write(
    context: *const fitw_context,
    path: fitw_str,
    bodies: *const fitw_body,
    count: usize,
    stride: usize,
) -> fitw_status {
    call(context, "fitw_meshes_write", |c| {
        let path = text::given(path, "path")?;
        let given = Array::new(bodies, count, stride, "bodies")?;
        let bodies: Vec<Body> = given.iter().map(|b| Body::of(&b)).collect::<Result<_, _>>()?;
        c.engine.check()?;
        let bodies: Vec<MeshBody<'_>> = bodies.iter().map(Body::view).collect();
        Ok(c.engine.run(|| write_meshes(path, &bodies))?)
    })
}

struct Body {
    name: String,
    points: Vec<Point3>,
    triangles: Vec<[u32; 3]>,
    colour: Option<[u8; 3]>,
}

impl Body {
    fn of(given: &fitw_body) -> Result<Self, Fault> {
        let name = text::given(given.name, "bodies.name")?;
        let pose = shape::optional_pose(given.pose, "bodies.pose")?;
        let mut chord = 0.05;
        crate::region::limit(&mut chord, given.chord_error_mm, "bodies.chord_error_mm")?;
        let (scan, part, feature) =
            (!given.scan.is_null(), !given.part.is_null(), !given.feature.is_null());
        let (points, triangles) = match (scan, part, feature) {
            (true, false, false) => {
                let scan = &handle::get(given.scan, "bodies.scan")?.scan;
                (scan.points().to_vec(), scan.triangles().to_vec())
            }
            (false, true, false) => {
                let part = &handle::get(given.part, "bodies.part")?;
                (part.part.points.clone(), part.part.triangles.clone())
            }
            (false, false, true) => {
                surface_of(&handle::get(given.feature, "bodies.feature")?.feature, chord)
            }
            _ => {
                let found = [scan, part, feature].iter().filter(|x| **x).count();
                return Err(Fault::argument("bodies", found, "one of scan, part and feature"));
            }
        };
        let points = points.iter().map(|p| pose * p).collect();
        let colour = match given.has_colour {
            0 => None,
            1 if given.colour <= 0xff_ff_ff => {
                let [_, red, green, blue] = given.colour.to_be_bytes();
                Some([red, green, blue])
            }
            1 => return Err(Fault::argument("bodies.colour", given.colour, "0 to 0xFFFFFF")),
            other => return Err(Fault::argument("bodies.has_colour", other, "0 or 1")),
        };
        Ok(Body { name, points, triangles, colour })
    }

    fn view(&self) -> MeshBody<'_> {
        MeshBody {
            name: &self.name,
            points: &self.points,
            triangles: &self.triangles,
            colour: self.colour,
        }
    }
}
