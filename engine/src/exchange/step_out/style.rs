//! Colours and layers: one colour and one layer a kind of feature.

use std::collections::BTreeMap;

use super::entity::{Id, Writer, list};
use super::product::Product;
use super::text::string;
use crate::feature::FeatureKind;

/// Styled items and layers collected while products are written.
#[derive(Default)]
pub(super) struct Styles {
    colours: BTreeMap<(&'static str, bool), Id>,
    styled: Vec<Id>,
    layers: BTreeMap<&'static str, Vec<Id>>,
}

impl Styles {
    /// Gives a product the colour and layer of its kind.
    pub(super) fn dress(&mut self, w: &mut Writer, product: &Product, kind: FeatureKind) {
        self.put(w, product, kind.name(), colour(kind));
    }

    /// The same for the coordinate system, whose axes have colours of their own.
    pub(super) fn dress_axes(&mut self, w: &mut Writer, product: &Product, axes: &[Id]) {
        self.put(w, product, COORDINATE_SYSTEM, ORIGIN);
        for (axis, (name, rgb)) in axes.iter().zip(AXES) {
            self.style(w, *axis, (name, false), rgb);
        }
    }

    /// Writes what was collected.
    pub(super) fn finish(self, w: &mut Writer, context: Id) {
        w.add(format_args!(
            "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION('',{},{context})",
            list(&self.styled)
        ));
        for (layer, items) in self.layers {
            w.add(format_args!(
                "PRESENTATION_LAYER_ASSIGNMENT({},'',{})",
                string(layer),
                list(&items)
            ));
        }
    }

    fn put(&mut self, w: &mut Writer, product: &Product, layer: &'static str, rgb: Rgb) {
        for (item, filled) in [(product.surfaces, true), (product.wires, false)] {
            if let Some(item) = item {
                self.style(w, item, (layer, filled), rgb);
                self.layers.entry(layer).or_default().push(item);
            }
        }
    }

    fn style(&mut self, w: &mut Writer, item: Id, key: (&'static str, bool), rgb: Rgb) {
        let style = *self.colours.entry(key).or_insert_with(|| presentation(w, rgb, key.1));
        self.styled.push(w.add(format_args!("STYLED_ITEM('color',({style}),{item})")));
    }
}

/// Red, green, blue, 0 to 1.
type Rgb = [f64; 3];

fn presentation(w: &mut Writer, rgb: Rgb, filled: bool) -> Id {
    let [r, g, b] = rgb.map(|x| w.real(x));
    let colour = w.add(format_args!("COLOUR_RGB('',{r},{g},{b})"));
    let style = if filled {
        let fill = w.add(format_args!("FILL_AREA_STYLE_COLOUR('',{colour})"));
        let area = w.add(format_args!("FILL_AREA_STYLE('',({fill}))"));
        let area = w.add(format_args!("SURFACE_STYLE_FILL_AREA({area})"));
        let side = w.add(format_args!("SURFACE_SIDE_STYLE('',({area}))"));
        w.add(format_args!("SURFACE_STYLE_USAGE(.BOTH.,{side})"))
    } else {
        let font = w.add("DRAUGHTING_PRE_DEFINED_CURVE_FONT('continuous')");
        w.add(format_args!("CURVE_STYLE('',{font},POSITIVE_LENGTH_MEASURE(0.35),{colour})"))
    };
    w.add(format_args!("PRESENTATION_STYLE_ASSIGNMENT(({style}))"))
}

/// Colour of a feature by its kind, sRGB.
pub(crate) fn feature_colour(kind: FeatureKind) -> [u8; 3] {
    colour(kind).map(|x| (x * 255.0).round() as u8)
}

fn colour(kind: FeatureKind) -> Rgb {
    match kind {
        FeatureKind::Plane => [0.45, 0.65, 0.78],
        FeatureKind::Line => [0.62, 0.32, 0.17],
        FeatureKind::Circle => [0.80, 0.52, 0.10],
        FeatureKind::Point => [0.10, 0.10, 0.10],
        FeatureKind::Sphere => [0.55, 0.44, 0.70],
        FeatureKind::Cylinder => [0.42, 0.62, 0.40],
        FeatureKind::Cone => [0.78, 0.70, 0.38],
        FeatureKind::Torus => [0.36, 0.60, 0.60],
        FeatureKind::Hole => [0.78, 0.36, 0.34],
        FeatureKind::Composite => [0.60, 0.60, 0.60],
    }
}

/// Name of the coordinate system's layer.
const COORDINATE_SYSTEM: &str = "coordinate system";
const ORIGIN: Rgb = [0.25, 0.25, 0.25];
const AXES: [(&str, Rgb); 3] =
    [("x axis", [0.8, 0.0, 0.0]), ("y axis", [0.0, 0.6, 0.0]), ("z axis", [0.0, 0.0, 0.8])];
