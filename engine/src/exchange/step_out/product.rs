//! Product structure: one product a feature under one assembly, all placed where they are.
//!
//! The only layout in which axes, circles and points keep their names with a reader's default
//! settings; colours and layers hang on the shell model or curve set of each product.

use super::entity::{Id, Placement, Writer, list};
use super::text::string;
use super::{StepOptions, StepSchema};

/// What all products of a file share.
pub(super) struct Frame {
    product_context: Id,
    definition_context: Id,
    /// Millimetre.
    pub(super) length: Id,
    /// Radian.
    pub(super) angle: Id,
    /// Context of all representations.
    pub(super) context: Id,
    /// Origin and axes of every product.
    placement: Id,
    /// The assembly's definition.
    pub(super) assembly: Id,
    assembly_shape: Id,
}

/// A product's name and what it is made of.
pub(super) struct Content<'a> {
    pub(super) name: &'a str,
    pub(super) description: &'a str,
    /// `OPEN_SHELL`s.
    pub(super) shells: &'a [Id],
    /// Curves and points.
    pub(super) curves: &'a [Id],
}

/// A written product.
pub(super) struct Product {
    name: String,
    /// Its definition, for properties.
    pub(super) definition: Id,
    representation: Id,
    /// Shell model, if it has faces.
    pub(super) surfaces: Option<Id>,
    /// Curve set, if it has curves or points.
    pub(super) wires: Option<Id>,
}

/// Writes contexts, units and the assembly's product.
pub(super) fn frame(w: &mut Writer, options: &StepOptions) -> Frame {
    let (application, schema, year) = options.schema.protocol();
    let app = w.add(format_args!("APPLICATION_CONTEXT('{application}')"));
    w.add(format_args!(
        "APPLICATION_PROTOCOL_DEFINITION('international standard','{schema}',{year},{app})"
    ));
    let product_context = w.add(format_args!("PRODUCT_CONTEXT('',{app},'mechanical')"));
    let definition_context =
        w.add(format_args!("PRODUCT_DEFINITION_CONTEXT('part definition',{app},'design')"));
    let length = w.add("( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) )");
    let angle = w.add("( NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.) )");
    let solid = w.add("( NAMED_UNIT(*) SI_UNIT($,.STERADIAN.) SOLID_ANGLE_UNIT() )");
    let precision = w.real(options.precision);
    // How exactly edges meet in this file; never the uncertainty of the measurement.
    let closeness = w.add(format_args!(
        "UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE({precision}),{length},'distance_accuracy_value','confusion accuracy')"
    ));
    let context = w.add(format_args!(
        "( GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({closeness})) GLOBAL_UNIT_ASSIGNED_CONTEXT(({length},{angle},{solid})) REPRESENTATION_CONTEXT('machine coordinates','3D') )"
    ));
    let placement = w.placement(&Placement::identity());
    let mut frame = Frame {
        product_context,
        definition_context,
        length,
        angle,
        context,
        placement,
        assembly: placement,
        assembly_shape: placement,
    };
    (frame.assembly, frame.assembly_shape) = definition(w, &frame, &options.title, "");
    frame
}

/// Writes a product with its shape.
pub(super) fn product(w: &mut Writer, frame: &Frame, content: &Content<'_>) -> Product {
    let name = string(content.name);
    let surfaces = (!content.shells.is_empty())
        .then(|| w.add(format_args!("SHELL_BASED_SURFACE_MODEL({name},{})", list(content.shells))));
    let wires = (!content.curves.is_empty())
        .then(|| w.add(format_args!("GEOMETRIC_CURVE_SET({name},{})", list(content.curves))));
    let kind = match (surfaces, wires) {
        (Some(_), None) => "MANIFOLD_SURFACE_SHAPE_REPRESENTATION",
        (None, Some(_)) => "GEOMETRICALLY_BOUNDED_WIREFRAME_SHAPE_REPRESENTATION",
        _ => "SHAPE_REPRESENTATION",
    };
    let (definition, shape) = definition(w, frame, content.name, content.description);
    let items: Vec<Id> = [Some(frame.placement), surfaces, wires].into_iter().flatten().collect();
    let representation = w.add(format_args!("{kind}({name},{},{})", list(&items), frame.context));
    w.add(format_args!("SHAPE_DEFINITION_REPRESENTATION({shape},{representation})"));
    Product { name: content.name.into(), definition, representation, surfaces, wires }
}

/// Puts the products into the assembly, each where it is.
pub(super) fn assemble(w: &mut Writer, frame: &Frame, title: &str, products: &[Product]) {
    let places: Vec<Id> =
        (0..=products.len()).map(|_| w.placement(&Placement::identity())).collect();
    let whole = w.add(format_args!(
        "SHAPE_REPRESENTATION({},{},{})",
        string(title),
        list(&places),
        frame.context
    ));
    w.add(format_args!("SHAPE_DEFINITION_REPRESENTATION({},{whole})", frame.assembly_shape));
    for (product, place) in products.iter().zip(&places[1..]) {
        let name = string(&product.name);
        let (placement, part, assembly) = (frame.placement, product.representation, frame.assembly);
        let motion = w.add(format_args!("ITEM_DEFINED_TRANSFORMATION('','',{placement},{place})"));
        let relation = w.add(format_args!(
            "( REPRESENTATION_RELATIONSHIP('','',{part},{whole}) REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION({motion}) SHAPE_REPRESENTATION_RELATIONSHIP() )"
        ));
        let definition = product.definition;
        let usage = w.add(format_args!(
            "NEXT_ASSEMBLY_USAGE_OCCURRENCE({name},{name},'',{assembly},{definition},$)"
        ));
        let shape = w.add(format_args!("PRODUCT_DEFINITION_SHAPE('','',{usage})"));
        w.add(format_args!("CONTEXT_DEPENDENT_SHAPE_REPRESENTATION({relation},{shape})"));
    }
}

/// Product, its definition and the shape of that; the name is the id too, as some readers show one and some the other.
fn definition(w: &mut Writer, frame: &Frame, name: &str, description: &str) -> (Id, Id) {
    let (name, description) = (string(name), string(description));
    let context = frame.product_context;
    let product = w.add(format_args!("PRODUCT({name},{name},{description},({context}))"));
    w.add(format_args!("PRODUCT_RELATED_PRODUCT_CATEGORY('part',$,({product}))"));
    let version = w.add(format_args!("PRODUCT_DEFINITION_FORMATION('','',{product})"));
    let context = frame.definition_context;
    let definition = w.add(format_args!("PRODUCT_DEFINITION('design','',{version},{context})"));
    let shape = w.add(format_args!("PRODUCT_DEFINITION_SHAPE('','',{definition})"));
    (definition, shape)
}

impl StepSchema {
    /// The `FILE_SCHEMA` of the header.
    pub(super) fn header(self) -> &'static str {
        match self {
            StepSchema::Ap214 => "AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 }",
            StepSchema::Ap242 => {
                "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF { 1 0 10303 442 1 1 4 }"
            }
        }
    }

    /// Application, schema and year of its `APPLICATION_PROTOCOL_DEFINITION`.
    fn protocol(self) -> (&'static str, &'static str, u16) {
        match self {
            StepSchema::Ap214 => {
                ("core data for automotive mechanical design processes", "automotive_design", 2000)
            }
            StepSchema::Ap242 => (
                "managed model based 3d engineering",
                "ap242_managed_model_based_3d_engineering",
                2014,
            ),
        }
    }
}
