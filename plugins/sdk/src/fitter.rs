//! What a fitter is.

use fitwright_plugin_abi as abi;

use crate::answer::{Answer, Unit};
use crate::call::Call;
use crate::input::Input;

/// Something that associates a shape to points.
pub trait Fitter: 'static {
    /// Unique id, `vendor.name`.
    const ID: &'static str;
    /// One line for people.
    const TITLE: &'static str;
    /// Shape that it returns.
    const SHAPE: Shape;
    /// Fewest points it can work with; the host refuses fewer.
    const MINIMUM_POINTS: usize;
    /// Options, in the order of [`Input::option`]'s names.
    const OPTIONS: &'static [Opt] = &[];

    /// Fits. Several calls may run at once.
    ///
    /// # Errors
    /// [`Failure`] with its reason.
    fn fit(input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure>;
}

/// Shape that a fitter returns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Plane.
    Plane,
    /// Line.
    Line,
    /// Circle.
    Circle,
    /// Sphere.
    Sphere,
    /// Cylinder.
    Cylinder,
    /// Cone.
    Cone,
    /// Torus.
    Torus,
    /// Several pieces, called so in results.
    Composite(&'static str),
}

/// Option of a fitter.
#[derive(Debug, Clone, Copy)]
pub struct Opt {
    /// Name in job files: lower case letters, digits, `_`.
    pub name: &'static str,
    /// One line for people.
    pub description: &'static str,
    /// Sort of value.
    pub sort: Sort,
    /// Unit of value.
    pub unit: Unit,
    /// Value where none is given.
    pub standard: f64,
    /// Smallest value.
    pub least: f64,
    /// Largest value.
    pub most: f64,
}

/// Sort of an option's value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// Any number.
    Number,
    /// A whole number.
    Whole,
    /// Yes (1) or no (0).
    Switch,
}

/// Why a call fails.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// `FITW_PLUGIN_E_…`.
    pub state: i32,
    /// Reason and remedy, for people.
    pub reason: String,
}

impl Opt {
    /// A length, mm.
    #[must_use]
    pub const fn length(
        name: &'static str,
        description: &'static str,
        standard: f64,
        (least, most): (f64, f64),
    ) -> Self {
        Opt { name, description, sort: Sort::Number, unit: Unit::Mm, standard, least, most }
    }

    /// A whole number.
    #[must_use]
    pub const fn whole(
        name: &'static str,
        description: &'static str,
        standard: f64,
        (least, most): (f64, f64),
    ) -> Self {
        Opt { name, description, sort: Sort::Whole, unit: Unit::None, standard, least, most }
    }

    /// Yes or no.
    #[must_use]
    pub const fn switch(name: &'static str, description: &'static str, standard: bool) -> Self {
        let standard = if standard { 1.0 } else { 0.0 };
        Opt {
            name,
            description,
            sort: Sort::Switch,
            unit: Unit::None,
            standard,
            least: 0.0,
            most: 1.0,
        }
    }
}

impl Failure {
    /// The points do not determine the shape; say what would.
    #[must_use]
    pub fn undetermined(reason: impl Into<String>) -> Self {
        Failure { state: abi::FITW_PLUGIN_E_UNDETERMINED, reason: reason.into() }
    }

    /// The iteration ended without an answer.
    #[must_use]
    pub fn not_converged(reason: impl Into<String>) -> Self {
        Failure { state: abi::FITW_PLUGIN_E_NOT_CONVERGED, reason: reason.into() }
    }

    /// An option cannot be served.
    #[must_use]
    pub fn option(reason: impl Into<String>) -> Self {
        Failure { state: abi::FITW_PLUGIN_E_OPTION, reason: reason.into() }
    }

    /// The host asked to stop.
    #[must_use]
    pub fn cancelled() -> Self {
        Failure { state: abi::FITW_PLUGIN_E_CANCELLED, reason: String::new() }
    }
}

impl Shape {
    pub(crate) fn code(self) -> i32 {
        match self {
            Shape::Plane => abi::FITW_PLUGIN_SHAPE_PLANE,
            Shape::Line => abi::FITW_PLUGIN_SHAPE_LINE,
            Shape::Circle => abi::FITW_PLUGIN_SHAPE_CIRCLE,
            Shape::Sphere => abi::FITW_PLUGIN_SHAPE_SPHERE,
            Shape::Cylinder => abi::FITW_PLUGIN_SHAPE_CYLINDER,
            Shape::Cone => abi::FITW_PLUGIN_SHAPE_CONE,
            Shape::Torus => abi::FITW_PLUGIN_SHAPE_TORUS,
            Shape::Composite(_) => abi::FITW_PLUGIN_SHAPE_COMPOSITE,
        }
    }
}

impl Sort {
    pub(crate) fn code(self) -> i32 {
        match self {
            Sort::Number => abi::FITW_PLUGIN_OPTION_NUMBER,
            Sort::Whole => abi::FITW_PLUGIN_OPTION_WHOLE,
            Sort::Switch => abi::FITW_PLUGIN_OPTION_SWITCH,
        }
    }
}
