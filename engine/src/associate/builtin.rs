//! The seven built-in fitters, as everything else sees them: by id.

use super::model::Model;
use super::{Criterion, Fit, Fitter, Input, Request, least_squares, minimax};
use crate::error::{Error, Result};
use crate::primitive::{Circle, Cone, Cylinder, Kind, Line, Plane, Primitive, Sphere, Torus};
use crate::region::Region;

/// The built-in fitters, `builtin.plane` to `builtin.torus`.
#[must_use]
pub fn builtin_fitters() -> Vec<Box<dyn Fitter>> {
    FITTERS.iter().map(|f| Box::new(*f) as Box<dyn Fitter>).collect()
}

/// The built-in fitter of an id, `None` if there is none.
#[must_use]
pub fn fitter_by_id(id: &str) -> Option<Box<dyn Fitter>> {
    FITTERS.iter().find(|f| f.id == id).map(|f| Box::new(*f) as Box<dyn Fitter>)
}

#[derive(Clone, Copy)]
struct Builtin {
    id: &'static str,
    title: &'static str,
    kind: Kind,
    minimum: usize,
    fit: fn(&Input<'_>, &Request) -> Result<Fit<Primitive>>,
}

impl Fitter for Builtin {
    fn id(&self) -> &str {
        self.id
    }

    fn title(&self) -> &str {
        self.title
    }

    fn kind(&self) -> Kind {
        self.kind
    }

    fn minimum_points(&self) -> usize {
        self.minimum
    }

    fn fit(&self, input: &Input<'_>, request: &Request) -> Result<Fit<Primitive>> {
        (self.fit)(input, request)
    }
}

/// Runs the criterion asked for, on the threads of the request's context.
fn associate<M: Model<N>, const N: usize>(input: &Input<'_>, request: &Request) -> Result<Fit<M>> {
    if let Some((name, _)) = request.options.first() {
        let allowed = "none: built-in fitters have no options; plug-ins may";
        return Err(Error::argument("options", name, allowed));
    }
    if !request.constraints.is_empty() && request.criterion != Criterion::LeastSquares {
        let found = format!("{} beside {:?}", request.constraints.len(), request.criterion);
        let allowed = "none: constraints go with LeastSquares only; leave them out or change it";
        return Err(Error::argument("constraints", found, allowed));
    }
    let work = || match request.criterion {
        Criterion::LeastSquares => least_squares::fit::<M, N>(input, request),
        Criterion::MinimumZone | Criterion::MaximumInscribed | Criterion::MinimumCircumscribed => {
            minimax::fit::<M, N>(input, request)
        }
    };
    match &request.context {
        Some(context) => {
            context.check()?;
            context.run(work)
        }
        None => work(),
    }
}

/// Region's points, normals, pick and noise, handed to a fit.
fn of_region<M: Model<N>, const N: usize>(region: &Region, request: &Request) -> Result<Fit<M>> {
    let (points, normals) = (region.points(), region.normals());
    let input = Input {
        points: &points,
        normals: Some(&normals),
        pick: region.pick(),
        noise: Some(region.scan().noise()),
        noise_model: None,
        resolution: Some(region.scan().resolution()),
    };
    associate::<M, N>(&input, request)
}

macro_rules! shapes {
    ($($shape:ident $freedoms:literal $id:literal $title:literal;)*) => {
        $(impl $shape {
            /// Associates the shape to a region's points; rejected points are positions in
            /// [`Region::ids`].
            ///
            /// # Errors
            /// As [`Fitter::fit`].
            pub fn fit(region: &Region, request: &Request) -> Result<Fit<Self>> {
                of_region::<Self, $freedoms>(region, request)
            }

            /// Associates the shape to bare points (mm), with normals if known.
            ///
            /// # Errors
            /// As [`Fitter::fit`].
            pub fn fit_points(input: &Input<'_>, request: &Request) -> Result<Fit<Self>> {
                associate::<Self, $freedoms>(input, request)
            }
        })*

        const FITTERS: [Builtin; [$($id),*].len()] = [$(Builtin {
            id: $id,
            title: $title,
            kind: <$shape as Model<$freedoms>>::KIND,
            minimum: <$shape as Model<$freedoms>>::MINIMUM,
            fit: |input, request| Ok($shape::fit_points(input, request)?.map(Primitive::from)),
        }),*];
    };
}

shapes! {
    Plane 3 "builtin.plane" "Plane through a flat face";
    Line 4 "builtin.line" "Straight line along points";
    Circle 6 "builtin.circle" "Circle in space through a rim";
    Sphere 4 "builtin.sphere" "Sphere";
    Cylinder 5 "builtin.cylinder" "Circular cylinder: shaft, bore, pipe";
    Cone 6 "builtin.cone" "Circular cone: taper, countersink";
    Torus 7 "builtin.torus" "Ring torus: pipe bend, rounded rim";
}
