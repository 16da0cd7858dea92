//! Datum systems.

use engine::datum::{Datum, DatumSystem};

use crate::call::call;
use crate::context::fitw_context;
use crate::error::fitw_status;
use crate::feature::fitw_feature;
use crate::handle::{self, Handle};
use crate::pointer::{Array, Out, SizedOut, grows, items};
use crate::shape::{fitw_pose, of_pose};
use crate::text::{self, Text, fitw_str};
use crate::uncertainty::{self, fitw_covariance};

/// The machine's own axes, from features of a scan (ISO 5459). Immutable. [any-thread]
pub struct fitw_datum;

/// One datum of a system.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_datum_feature {
    /// A plane, axis or point, scan coordinates.
    pub feature: *const fitw_feature,
    /// The machine axis that its direction becomes: "+x", "-x" … "-z"; empty: none.
    pub axis: fitw_str,
    /// The coordinates that it sets to zero ahead of later datums: "origin", or letters as "xy"; empty:
    /// those that are left open.
    pub sets: fitw_str,
}

items! { fitw_datum_feature, 40 }

/// What a datum system consists of.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_datum_info {
    /// sizeof(fitw_datum_info), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Angles between datum features, see fitw_datum_squareness.
    pub squareness_count: u64,
    /// What each datum took, see fitw_datum_taken.
    pub taken_count: u64,
}

/// Angle between two datum features.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_squareness {
    /// sizeof(fitw_squareness), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Name of the first; valid until the datum system is released.
    pub a: fitw_str,
    /// Name of the second.
    pub b: fitw_str,
    /// Angle between their directions, rad, 0 to pi/2.
    pub angle_rad: f64,
    /// Its deviation from the nearer of 0 and pi/2, rad.
    pub deviation_rad: f64,
    /// Expanded uncertainty (coverage factor 2) of the deviation, rad.
    pub uncertainty_rad: f64,
}

grows! { fitw_datum_info 24, fitw_squareness 64 }

/// DATUM SYSTEM. A system of one to three datums, the primary first. Release it with fitw_datum_release.
///
/// `stride` in bytes from one to the next; 0: side by side. Errors: FITW_E_DATUM naming the freedom that is
/// left or the datum that adds nothing, FITW_E_ARGUMENT, FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_datum_create(
    context: *const fitw_context,
    datums: *const fitw_datum_feature,
    count: usize,
    stride: usize,
    out: *mut *mut fitw_datum,
) -> fitw_status {
    call(context, "fitw_datum_create", |_| {
        let given = Array::new(datums, count, stride, "datums")?;
        let out = Out::new(out, "out")?;
        // More than three are refused below; one more is enough to be told so.
        let given: Vec<fitw_datum_feature> = given.iter().take(4).collect();
        let features = given
            .iter()
            .map(|d| handle::get(d.feature, "datums.feature"))
            .collect::<Result<Vec<_>, _>>()?;
        let mut datums = Vec::new();
        for (feature, given) in features.iter().zip(&given) {
            let mut datum = Datum::new(&feature.feature);
            if let Some(axis) = text::optional(given.axis, "datums.axis")? {
                datum = datum.axis(&axis)?;
            }
            if let Some(sets) = text::optional(given.sets, "datums.sets")? {
                datum = datum.sets(&sets)?;
            }
            datums.push(datum);
        }
        out.set(handle::insert(DatumBox::new(DatumSystem::new(&datums)?))?);
        Ok(())
    })
}

/// machine_from_scan: takes scan coordinates to machine coordinates. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_datum_pose(
    context: *const fitw_context,
    datum: *const fitw_datum,
    out: *mut fitw_pose,
) -> fitw_status {
    call(context, "fitw_datum_pose", |_| {
        let datum = handle::get(datum, "datum")?;
        Out::new(out, "out").map(|out| out.set(of_pose(&datum.system.machine_from_scan)))
    })
}

/// Covariance of the frame as a motion of it about a place in machine coordinates (three numbers, mm; NULL:
/// the machine's origin). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_datum_covariance(
    context: *const fitw_context,
    datum: *const fitw_datum,
    about_mm: *const f64,
    out: *mut fitw_covariance,
) -> fitw_status {
    call(context, "fitw_datum_covariance", |_| {
        let datum = handle::get(datum, "datum")?;
        uncertainty::hand_out_covariance(&datum.system.covariance, about_mm, out)
    })
}

/// Counts of a datum system. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_datum_describe(
    context: *const fitw_context,
    datum: *const fitw_datum,
    out: *mut fitw_datum_info,
) -> fitw_status {
    call(context, "fitw_datum_describe", |_| {
        let datum = handle::get(datum, "datum")?;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_datum_info {
            struct_size: 0,
            reserved: 0,
            squareness_count: datum.system.squareness.len() as u64,
            taken_count: datum.taken.len() as u64,
        });
        Ok(())
    })
}

/// Angle between two datum features; `index` from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_datum_squareness(
    context: *const fitw_context,
    datum: *const fitw_datum,
    index: usize,
    out: *mut fitw_squareness,
) -> fitw_status {
    call(context, "fitw_datum_squareness", |_| {
        let datum = handle::get(datum, "datum")?;
        let out = SizedOut::new(out, "out")?;
        let all = &datum.system.squareness;
        let found = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        let (a, b) = &datum.names[index];
        out.set(fitw_squareness {
            struct_size: 0,
            reserved: 0,
            a: a.view(),
            b: b.view(),
            angle_rad: found.angle,
            deviation_rad: found.deviation,
            uncertainty_rad: found.uncertainty,
        });
        Ok(())
    })
}

/// What datum `index` took, one sentence; valid until the datum system is released. Error: FITW_E_ARGUMENT
/// past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_datum_taken(
    context: *const fitw_context,
    datum: *const fitw_datum,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_datum_taken", |_| {
        text::nth(&handle::get(datum, "datum")?.taken, index, out)
    })
}

/// Releases a datum system. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_datum_release(datum: *mut fitw_datum) -> fitw_status {
    handle::release(datum)
}

impl Handle for fitw_datum {
    type Inner = DatumBox;
    const NAME: &'static str = "fitw_datum";
}

/// What stands behind a datum system.
pub(crate) struct DatumBox {
    pub(crate) system: DatumSystem,
    names: Vec<(Text, Text)>,
    taken: Vec<Text>,
}

impl DatumBox {
    fn new(system: DatumSystem) -> Self {
        let names = system.squareness.iter().map(|s| (Text::new(&s.a), Text::new(&s.b))).collect();
        DatumBox { names, taken: Text::all(&system.taken), system }
    }
}
