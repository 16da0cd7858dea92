//! The points of a call.

use std::mem::offset_of;

use fitwright_plugin_abi::fitw_plugin_input;

use crate::fitter::Opt;

/// Points to fit to, with what is known of them.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// Positions, mm, finite.
    pub points: &'a [[f64; 3]],
    /// Unit normals out of the material, zero where unknown.
    pub normals: Option<&'a [[f64; 3]]>,
    /// Where the user pointed, mm.
    pub pick: Option<[f64; 3]>,
    /// Standard deviation of the scan's noise, mm.
    pub noise: Option<f64>,
    /// Usual distance from point to point, mm.
    pub resolution: Option<f64>,
    /// Seed of every random choice.
    pub seed: u64,
    values: &'a [f64],
    options: &'static [Opt],
}

impl<'a> Input<'a> {
    /// Points of a test, every option at its standard value.
    #[must_use]
    pub fn of_points(points: &'a [[f64; 3]], options: &'static [Opt]) -> Self {
        Input {
            points,
            normals: None,
            pick: None,
            noise: None,
            resolution: None,
            seed: 0,
            values: &[],
            options,
        }
    }

    /// Value of an option, its standard value if the host gave none.
    ///
    /// # Panics
    /// For a name that the fitter does not declare.
    #[must_use]
    pub fn option(&self, name: &str) -> f64 {
        let place = self.options.iter().position(|o| o.name == name);
        let place = place.unwrap_or_else(|| panic!("no option {name:?} is declared"));
        self.values.get(place).copied().unwrap_or(self.options[place].standard)
    }

    /// The host's input, as far as this version and the host's know it.
    ///
    /// # Safety
    /// `raw` is a host's input, alive for `'a`.
    #[allow(unsafe_code)]
    pub(crate) unsafe fn of_host(
        raw: *const fitw_plugin_input,
        options: &'static [Opt],
    ) -> Option<Self> {
        // SAFETY: the first fields are there in every version; the newest is read only if the host has it.
        unsafe {
            let size = (*raw).struct_size as usize;
            if size < offset_of!(fitw_plugin_input, resolution_mm) {
                return None;
            }
            let count = (*raw).point_count;
            let newest = size >= size_of::<fitw_plugin_input>();
            let known = |x: f64| (x > 0.0).then_some(x);
            Some(Input {
                points: slice((*raw).points_mm.cast(), count),
                normals: (!(*raw).normals.is_null()).then(|| slice((*raw).normals.cast(), count)),
                pick: ((*raw).has_pick != 0).then_some((*raw).pick_mm),
                noise: known((*raw).noise_mm),
                resolution: if newest { known((*raw).resolution_mm) } else { None },
                seed: (*raw).seed,
                values: slice((*raw).options, (*raw).option_count),
                options,
            })
        }
    }
}

/// # Safety
/// As of `std::slice::from_raw_parts`, but NULL is an empty slice.
#[allow(unsafe_code)]
unsafe fn slice<'a, T>(data: *const T, count: usize) -> &'a [T] {
    if data.is_null() {
        return &[];
    }
    // SAFETY: as the caller says.
    unsafe { std::slice::from_raw_parts(data, count) }
}
