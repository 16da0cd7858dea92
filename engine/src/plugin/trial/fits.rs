//! Rules of answers: reference fits, and bad points, which must end in an error or in a sound answer.

use fitwright_plugin_abi as abi;

use super::data::{Cloud, Data, Known};
use super::{Found, Kept, Subject};
use crate::associate::{Input, Request};
use crate::error::{Error, Result};
use crate::plugin::answer::Answer;
use crate::plugin::manifest::Expected;
use crate::primitive::{Point3, Primitive, Value, Vec3};

pub(super) fn rules(subject: &Subject<'_>, data: &Data) -> Vec<Found> {
    let mut all = Vec::new();
    if data.references.is_empty() {
        let remedy = "give it points with a known answer: [[reference]] in its manifest";
        all.push(subject.found("reference fits", Kept::NotTried(remedy.into())));
    }
    for known in &data.references {
        all.push(subject.found("reference fit", reference(subject, known)));
    }
    let usual = &data.usual;
    let minimum = subject.fitter.described.minimum;
    let bad: [(&'static str, Cloud, bool); 8] = [
        ("no points", usual.first(0), true),
        ("one point", usual.first(1), minimum > 1),
        ("two points", usual.first(2), minimum > 2),
        ("points that are not numbers", usual.with(|i, x| if i == 4 { f64::NAN } else { x }), true),
        ("points without end", usual.with(|i, x| if i == 4 { f64::INFINITY } else { x }), true),
        ("points that all coincide", usual.with(|i, _| [1.0, 2.0, 3.0][i % 3]), true),
        ("points on one line", usual.with(|i, _| (i / 3) as f64 * 0.1), false),
        ("points a kilometre away", usual.with(|_, x| x + 1e6), false),
    ];
    for (rule, cloud, must_fail) in bad {
        all.push(subject.found(rule, bad_points(subject, &cloud, must_fail)));
    }
    all
}

/// An error with a reason is what bad points deserve; a sound answer is taken where one can be.
fn bad_points(subject: &Subject<'_>, cloud: &Cloud, must_fail: bool) -> Kept {
    let answer = match subject.call(cloud, subject.context, 1) {
        Ok(answer) => answer,
        Err(e) => return Kept::No(e.to_string()),
    };
    if let Some(fault) = answer.fault {
        return Kept::No(fault);
    }
    match (answer.state, must_fail) {
        (abi::FITW_PLUGIN_OK, true) => Kept::No("an answer, where none can be".into()),
        (abi::FITW_PLUGIN_OK, false) => match judged(subject, cloud, &answer) {
            Ok(_) => Kept::Yes("a sound answer".into()),
            Err(e) => Kept::No(e.to_string()),
        },
        (state, _) if answer.reason.is_empty() => Kept::No(format!(
            "error {state} without a reason: say by call->reason what is wrong and what would help"
        )),
        (state, _) => Kept::Yes(format!("error {state}: {}", answer.reason)),
    }
}

fn reference(subject: &Subject<'_>, known: &Known) -> Kept {
    let Known { file, cloud, expected } = known;
    let answer = subject.call(cloud, subject.context, 1);
    let shape = match answer.and_then(|answer| judged(subject, cloud, &answer)) {
        Ok(shape) => shape,
        Err(e) => return Kept::No(format!("{file}: {e}")),
    };
    let parameters = shape.parameters();
    let mut said = Vec::new();
    for (name, Expected { value, within }) in expected {
        let found = parameters.iter().find(|p| p.name == *name).map(|p| &p.value);
        let Some(Value::Scalar(x, _)) = found else {
            return Kept::No(format!("{file}: no number \"{name}\" is reported"));
        };
        if (x - value).abs() > *within {
            return Kept::No(format!("{file}: {name} {x}; {value} within {within} is right"));
        }
        said.push(format!("{name} off by {:.2e}", (x - value).abs()));
    }
    Kept::Yes(format!("{file}: {}", said.join(", ")))
}

/// The shape of an answer as the host would take it.
pub(super) fn judged(subject: &Subject<'_>, cloud: &Cloud, answer: &Answer) -> Result<Primitive> {
    let places: Vec<Point3> = triples(&cloud.points).map(Point3::from).collect();
    let normals: Vec<Vec3> = triples(&cloud.normals).map(Vec3::from).collect();
    let input = Input {
        normals: (!normals.is_empty()).then_some(&normals),
        noise: Some(cloud.noise),
        resolution: Some(cloud.spacing),
        ..Input::new(&places)
    };
    let region = subject.fitter.region(&input)?;
    let request = Request { context: Some(subject.context.clone()), ..Request::default() };
    match subject.fitter.believe(answer, &input, &request, &region) {
        Ok(fit) => Ok(fit.shape),
        Err(Error::Cancelled) => Err(Error::Internal("cancelled though nobody asked".into())),
        Err(e) => Err(e),
    }
}

fn triples(x: &[f64]) -> impl Iterator<Item = [f64; 3]> {
    x.chunks_exact(3).map(|c| [c[0], c[1], c[2]])
}
