//! Features as STEP (ISO 10303-21, AP214 or AP242): each a named product of bounded faces, axes, circles and points.
//!
//! Millimetre, radian, machine coordinates; no solid is made. Structure after ISO 10303-42, -43,
//! -44 and -46: an assembly of one product a feature, its faces in a shell-based surface model,
//! its curves and points in a geometric curve set.

mod check;
mod entity;
mod outline;
mod piece;
mod product;
mod property;
mod revolved;
mod style;
#[cfg(test)]
mod tests;
mod text;

use std::collections::BTreeSet;
use std::path::Path;

pub(super) use self::outline::cleaned;
pub(crate) use self::style::feature_colour;

use self::entity::{Id, Writer};
use self::product::{Content, Frame, Product};
use self::style::Styles;
use crate::error::{Error, Result};
use crate::feature::Feature;
use crate::files::write_bytes;
use crate::primitive::{Direction, Point3, Pose, Vec3};

/// Application protocol of a STEP file.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum StepSchema {
    /// ISO 10303-214, automotive design.
    Ap214,
    /// ISO 10303-242, managed model based 3D engineering.
    #[default]
    Ap242,
}

/// How features are written as STEP.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq)]
pub struct StepOptions {
    /// Application protocol; default AP242.
    pub schema: StepSchema,
    /// Name of the assembly; default `Measured features`. No feature may have it.
    pub title: String,
    /// Time stamp of the file, ISO 8601; default none, so that equal features give equal files.
    pub date: Option<String>,
    /// When the scan was made, ISO 8601, a property of the assembly; default none.
    pub scan_date: Option<String>,
    /// Geometric closeness of the file, mm: what is nearer is one and the same; default 1e-6,
    /// far below any scan and well above rounding at 10 m.
    pub precision: f64,
    /// Whether curved pieces are completed instead of trimmed to what was seen: cylinders and
    /// cones to the full turn, circles and spheres whole, tori the whole way round their tube;
    /// default no.
    pub full: bool,
    /// Length of the three lines that show the machine's axes, mm; default 50.
    pub axis_length: f64,
}

/// Writes features, given in scan coordinates, to a STEP file in machine coordinates.
///
/// The file appears complete or not at all.
///
/// # Errors
/// As [`step_text`], and [`Error::Io`] when the file cannot be written.
pub fn write_step(
    path: impl AsRef<Path>,
    machine_from_scan: &Pose,
    features: &[Feature],
    options: &StepOptions,
) -> Result<()> {
    let moved: Vec<Feature> = features.iter().map(|f| f.transformed(machine_from_scan)).collect();
    write_bytes(path.as_ref(), step_text(&moved, options)?.as_bytes())
}

/// The text of a STEP file of features given in machine coordinates.
///
/// # Errors
/// [`Error::DuplicateName`] for two features of one name, or one named as the assembly or
/// [`COORDINATE_SYSTEM`]; [`Error::Argument`] naming feature, piece and field for numbers that
/// are not finite, sizes and extents that leave nothing to write, or a bad option.
pub fn step_text(features: &[Feature], options: &StepOptions) -> Result<String> {
    Ok(step_text_with_notes(features, options)?.0)
}

/// As [`step_text`], with what was changed on the way: an outline that crossed itself is written
/// as its convex hull, an opening that is not inside its outline is left out. The notes also
/// stand in the description of the product they belong to.
///
/// # Errors
/// As [`step_text`].
pub fn step_text_with_notes(
    features: &[Feature],
    options: &StepOptions,
) -> Result<(String, Vec<String>)> {
    options.validate()?;
    check_names(features, options)?;
    let mut w = Writer::default();
    let mut notes = Vec::new();
    let frame = product::frame(&mut w, options);
    let mut styles = Styles::default();
    let mut products = vec![coordinate_system(&mut w, &frame, &mut styles, options)];
    for feature in features {
        let items = piece::items(&mut w, feature, options)?;
        let description = describe(feature, &items.notes);
        let content = Content {
            name: &feature.name,
            description: &description,
            shells: &items.shells,
            curves: &items.curves,
        };
        let product = product::product(&mut w, &frame, &content);
        styles.dress(&mut w, &product, feature.kind);
        property::uncertainty(&mut w, &frame, product.definition, feature)?;
        products.push(product);
        notes.extend(items.notes);
    }
    if let Some(date) = &options.scan_date {
        property::scan_date(&mut w, &frame, frame.assembly, date);
    }
    product::assemble(&mut w, &frame, &options.title, &products);
    styles.finish(&mut w, frame.context);
    Ok((file(options, &w.into_text()), notes))
}

impl Default for StepOptions {
    fn default() -> Self {
        StepOptions {
            schema: StepSchema::default(),
            title: "Measured features".into(),
            date: None,
            scan_date: None,
            precision: 1e-6,
            full: false,
            axis_length: 50.0,
        }
    }
}

impl StepOptions {
    /// Checks what can be checked without features.
    ///
    /// # Errors
    /// [`Error::Argument`] for a name that STEP cannot hold or that is taken, a date that is none, a length that
    /// is not above 0.
    pub fn validate(&self) -> Result<()> {
        check::name("step title", &self.title)?;
        if self.title == COORDINATE_SYSTEM {
            return Err(Error::argument("step title", &self.title, "another name"));
        }
        for (field, date) in [("step date", &self.date), ("step scan_date", &self.scan_date)] {
            if let Some(date) = date {
                check::date(field, date)?;
            }
        }
        let lengths = [("step precision", self.precision), ("step axis_length", self.axis_length)];
        match lengths.iter().find(|(_, x)| !(x.is_finite() && *x > 0.0)) {
            Some((field, x)) => Err(Error::argument(*field, x, "a length in mm, more than 0")),
            None => Ok(()),
        }
    }
}

impl StepSchema {
    /// Schema by its short name, `AP214` or `AP242`.
    ///
    /// # Errors
    /// [`Error::Argument`] for another.
    pub fn parse(name: &str) -> Result<Self> {
        match name {
            "AP214" => Ok(StepSchema::Ap214),
            "AP242" => Ok(StepSchema::Ap242),
            _ => Err(Error::argument("step", name, "AP214, AP242")),
        }
    }
}

/// Header and data as one file.
fn file(options: &StepOptions, data: &str) -> String {
    let title = text::string(&options.title);
    let date = text::string(options.date.as_deref().unwrap_or(""));
    let schema = options.schema.header();
    let version = env!("CARGO_PKG_VERSION");
    format!(
        "ISO-10303-21;\nHEADER;\n\
         FILE_DESCRIPTION(('measured features in machine coordinates'),'2;1');\n\
         FILE_NAME({title},{date},(''),(''),'fitwright {version}','fitwright','');\n\
         FILE_SCHEMA(('{schema}'));\nENDSEC;\nDATA;\n{data}ENDSEC;\nEND-ISO-10303-21;\n"
    )
}

/// The machine's axes as three lines and the origin as a point.
fn coordinate_system(
    w: &mut Writer,
    frame: &Frame,
    styles: &mut Styles,
    options: &StepOptions,
) -> Product {
    let o = Point3::origin();
    let axes = [("X", Vec3::x()), ("Y", Vec3::y()), ("Z", Vec3::z())].map(|(name, d)| {
        piece::trimmed_line(w, name, &o, &Direction::new_unchecked(d), options.axis_length)
    });
    let mut curves: Vec<Id> = axes.to_vec();
    curves.push(w.named_point("origin", &o));
    let content = Content {
        name: COORDINATE_SYSTEM,
        description: "origin and axes of the machine",
        shells: &[],
        curves: &curves,
    };
    let product = product::product(w, frame, &content);
    styles.dress_axes(w, &product, &axes);
    product
}

fn describe(feature: &Feature, notes: &[String]) -> String {
    let kind = feature.kind.name().to_owned();
    let all = std::iter::once(&kind).chain(&feature.notes).chain(notes);
    all.map(|n| n.replace('\0', " ")).collect::<Vec<_>>().join("; ")
}

fn check_names(features: &[Feature], options: &StepOptions) -> Result<()> {
    let mut taken = BTreeSet::from([COORDINATE_SYSTEM, options.title.as_str()]);
    for (i, feature) in features.iter().enumerate() {
        check::name(&format!("name of feature {}", i + 1), &feature.name)?;
        if !taken.insert(&feature.name) {
            return Err(Error::DuplicateName { kind: "feature", name: feature.name.clone() });
        }
    }
    Ok(())
}

/// Name of the product that shows the machine's axes.
pub const COORDINATE_SYSTEM: &str = "machine coordinate system";
