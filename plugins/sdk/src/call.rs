//! The host, during a call.

#![allow(unsafe_code)]

use std::mem::MaybeUninit;

use fitwright_plugin_abi as abi;

use crate::answer::{Answer, Column, Parameter};
use crate::fitter::{Failure, Shape};

/// What a fitter can ask of the host during a call.
#[derive(Clone, Copy)]
pub struct Call<'a> {
    call: &'a abi::fitw_plugin_call,
    host: &'a abi::fitw_plugin_host,
}

/// A standard shape fitted by the host.
#[derive(Debug, Clone)]
pub struct Fitted {
    /// On the plane, line or axis; centre of circle, sphere, torus; mm.
    pub point: [f64; 3],
    /// Unit normal, direction or axis.
    pub direction: [f64; 3],
    /// Radius (cone: at `point`; torus: major radius), mm.
    pub size_1: f64,
    /// Torus: minor radius, mm. Cone: half-angle, rad.
    pub size_2: f64,
    /// Place that the covariance is about.
    pub at: [f64; 3],
    /// Covariance by rows: shift (mm), rotation vector (rad), the two sizes.
    pub covariance: [[f64; 8]; 8],
    /// Root mean square of the distances of the points used, mm.
    pub rms: f64,
    /// Standard deviation of one point, mm.
    pub sigma: f64,
    /// Which points the fit uses.
    pub used: Vec<bool>,
}

impl<'a> Call<'a> {
    /// # Safety
    /// Both are a host's, alive for `'a`.
    pub(crate) unsafe fn new(
        call: &'a abi::fitw_plugin_call,
        host: &'a abi::fitw_plugin_host,
    ) -> Self {
        Call { call, host }
    }

    /// Tells how much is done, 0 to 1.
    ///
    /// # Errors
    /// [`Failure::cancelled`] when the host wants the work to stop.
    pub fn progress(&self, fraction: f64) -> Result<(), Failure> {
        // SAFETY: the host's own function and call.
        stopped(unsafe { (self.call.progress)(self.call, fraction) })
    }

    /// To be asked at least every 50 ms.
    ///
    /// # Errors
    /// [`Failure::cancelled`] when the host wants the work to stop.
    pub fn check(&self) -> Result<(), Failure> {
        // SAFETY: as above.
        stopped(unsafe { (self.call.cancelled)(self.call) })
    }

    /// A line for the user.
    pub fn warn(&self, line: &str) {
        self.log(abi::FITW_PLUGIN_LOG_WARNING, line);
    }

    /// A line for the author.
    pub fn debug(&self, line: &str) {
        self.log(abi::FITW_PLUGIN_LOG_DEBUG, line);
    }

    fn log(&self, level: i32, line: &str) {
        // SAFETY: the host's own function; it copies the text.
        unsafe { (self.host.log)(self.host.host, level, text(line)) }
    }

    /// A standard shape fitted by the host: least squares of orthogonal distances; `outliers` says whether
    /// gross outliers are found and left out.
    ///
    /// # Errors
    /// The host's; `FITW_PLUGIN_E_ABILITY` if it cannot fit for others.
    pub fn fit(
        &self,
        shape: Shape,
        points: &[[f64; 3]],
        normals: Option<&[[f64; 3]]>,
        outliers: bool,
    ) -> Result<Fitted, Failure> {
        let fits = self.fits()?;
        if normals.is_some_and(|n| n.len() != points.len()) {
            return Err(internal("as many normals as points are needed"));
        }
        let mut used = vec![0u8; points.len()];
        let mut out = MaybeUninit::<abi::fitw_plugin_fitted>::zeroed();
        // SAFETY: plain numbers, for which zeros are values.
        let raw = unsafe { out.assume_init_mut() };
        raw.struct_size = size_of::<abi::fitw_plugin_fitted>() as u32;
        // SAFETY: all arrays have `points.len()` elements.
        let state = unsafe {
            (fits.fit)(
                self.call,
                shape.code(),
                points.as_ptr().cast(),
                normals.map_or(std::ptr::null(), |n| n.as_ptr().cast()),
                points.len(),
                i32::from(outliers),
                raw,
                used.as_mut_ptr(),
            )
        };
        if state != abi::FITW_PLUGIN_OK {
            return Err(Failure { state, reason: String::new() });
        }
        Ok(Fitted {
            point: raw.point_mm,
            direction: raw.direction,
            size_1: raw.size_1,
            size_2: raw.size_2,
            at: raw.at_mm,
            covariance: std::array::from_fn(|i| std::array::from_fn(|j| raw.covariance[8 * i + j])),
            rms: raw.rms_mm,
            sigma: raw.sigma_mm,
            used: used.iter().map(|u| *u != 0).collect(),
        })
    }

    fn fits(&self) -> Result<&'a abi::fitw_plugin_fits, Failure> {
        // SAFETY: the host's own function.
        let found = unsafe { (self.host.ability)(self.host.host, text(abi::FITW_PLUGIN_FITS)) };
        // SAFETY: NULL or the table of that id, which lives as long as the host's.
        let fits = unsafe { found.cast::<abi::fitw_plugin_fits>().as_ref() };
        fits.filter(|f| f.struct_size as usize >= size_of::<abi::fitw_plugin_fits>()).ok_or_else(
            || Failure {
                state: abi::FITW_PLUGIN_E_ABILITY,
                reason: "the host cannot fit for its plug-ins; it needs to be newer".into(),
            },
        )
    }

    pub(crate) fn reason(&self, reason: &str) {
        if !reason.is_empty() {
            // SAFETY: the host copies the text.
            unsafe { (self.call.reason)(self.call, text(reason)) }
        }
    }

    /// Reports an answer.
    pub(crate) fn report(&self, answer: &Answer) -> Result<(), Failure> {
        let call = self.call;
        answer.parameters.iter().try_for_each(|p| self.report_parameter(p))?;
        if let Some(matrix) = &answer.covariance {
            let size = matrix.len().isqrt();
            if size * size != matrix.len() {
                return Err(internal("a covariance is a square matrix"));
            }
            // SAFETY: `size` rows of `size` numbers.
            taken(unsafe { (call.covariance)(call, matrix.as_ptr(), size) })?;
        }
        let (mut outline, mut sizes) = (Vec::new(), Vec::new());
        for piece in &answer.pieces {
            let raw = piece.raw(&mut outline, &mut sizes);
            // SAFETY: the buffers of an outline live until the next piece.
            taken(unsafe { (call.piece)(call, &raw) })?;
        }
        let rejected = &answer.rejected;
        if !rejected.is_empty() {
            // SAFETY: as many as said.
            taken(unsafe { (call.rejected)(call, rejected.as_ptr(), rejected.len()) })?;
        }
        for note in &answer.notes {
            // SAFETY: the host copies the text.
            taken(unsafe { (call.note)(call, text(note)) })?;
        }
        Ok(())
    }

    fn report_parameter(&self, parameter: &Parameter) -> Result<(), Failure> {
        let call = self.call;
        // SAFETY: the host copies what it is given; the arrays have the sizes said.
        taken(unsafe {
            match parameter {
                Parameter::Number(name, unit, value) => {
                    (call.number)(call, text(name), unit.code(), *value)
                }
                Parameter::Point(name, x) => (call.point)(call, text(name), x.as_ptr()),
                Parameter::Direction(name, x) => (call.direction)(call, text(name), x.as_ptr()),
                Parameter::Table(name, columns, values) => {
                    let rows = values.len() / columns.len().max(1);
                    if rows * columns.len() != values.len() {
                        return Err(internal("a table's values do not fill its rows"));
                    }
                    let raw = |c: &Column| abi::fitw_plugin_column {
                        name: text(c.name),
                        unit: c.unit.code(),
                        reserved: 0,
                    };
                    let columns: Vec<_> = columns.iter().map(raw).collect();
                    let count = columns.len();
                    (call.table)(call, text(name), columns.as_ptr(), count, values.as_ptr(), rows)
                }
            }
        })
    }
}

impl std::fmt::Debug for Call<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Call").finish_non_exhaustive()
    }
}

pub(crate) fn text(text: &str) -> abi::fitw_plugin_text {
    abi::fitw_plugin_text { data: text.as_ptr(), length: text.len() }
}

fn stopped(state: i32) -> Result<(), Failure> {
    if state == 0 { Ok(()) } else { Err(Failure::cancelled()) }
}

fn taken(state: i32) -> Result<(), Failure> {
    if state == abi::FITW_PLUGIN_OK {
        return Ok(());
    }
    Err(Failure { state, reason: "the host took no more of the answer".into() })
}

fn internal(reason: &str) -> Failure {
    Failure { state: abi::FITW_PLUGIN_E_INTERNAL, reason: reason.into() }
}
