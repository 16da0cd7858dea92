//! A plug-in's fitter as everything else sees it: the same trait as the built-in ones.

use std::sync::Arc;

use fitwright_plugin_abi as abi;

use super::answer::{Answer, Question};
use super::check::{self, Described, Region};
use super::library::{Library, Points};
use super::measure::measure;
use super::worker::Workers;
use crate::associate::{Criterion, Fit, Fitter, FitterOption, Input, OptionSort, Request, judge};
use crate::error::{Error, Result};
use crate::numeric::ordered;
use crate::primitive::{Kind, Point3, Primitive, Vec3};
use crate::units::Quantity;

/// Where a plug-in's code runs.
pub(super) enum Place {
    /// In this process, as it is trusted.
    Here(Library),
    /// In worker processes.
    Workers(Workers),
}

/// A plug-in that its fitters share.
pub(super) struct Source {
    pub(super) place: Place,
    /// Bytes that a call may take from the host.
    pub(super) memory: usize,
}

pub(super) struct PluginFitter {
    pub(super) source: Arc<Source>,
    pub(super) index: usize,
    pub(super) described: Described,
}

impl Fitter for PluginFitter {
    fn id(&self) -> &str {
        &self.described.id
    }

    fn title(&self) -> &str {
        &self.described.title
    }

    fn kind(&self) -> Kind {
        self.described.kind
    }

    fn minimum_points(&self) -> usize {
        self.described.minimum
    }

    fn options(&self) -> &[FitterOption] {
        &self.described.options
    }

    fn fit(&self, input: &Input<'_>, request: &Request) -> Result<Fit<Primitive>> {
        let region = self.region(input)?;
        let question = self.question(input, request)?;
        let normals = input.normals.map(flat_vectors);
        let points = Points { points: flat_points(input.points), normals };
        let answer = self.ask(&question, &points, request)?;
        self.believe(&answer, input, request, &region)
    }
}

impl PluginFitter {
    /// The plug-in's answer, wherever it runs.
    pub(super) fn ask(
        &self,
        question: &Question,
        points: &Points<'_>,
        request: &Request,
    ) -> Result<Answer> {
        match &self.source.place {
            Place::Here(library) => Ok(library.call(
                self.index,
                question,
                points,
                request.context.clone(),
                self.source.memory,
            )),
            Place::Workers(workers) => {
                let context = request.context.as_ref();
                workers.call(&self.described.id, self.index, question, points, context)
            }
        }
    }

    /// Checks the input as the built-in fitters do, so that no plug-in has to.
    pub(super) fn region(&self, input: &Input<'_>) -> Result<Region> {
        let points = input.points;
        if points.len() < self.described.minimum || points.is_empty() {
            return Err(Error::TooFewPoints {
                what: self.described.id.clone(),
                found: points.len(),
                needed: self.described.minimum,
            });
        }
        if let Some(normals) = input.normals
            && normals.len() != points.len()
        {
            let allowed = format!("{} values", points.len());
            return Err(Error::argument("normals", normals.len(), allowed));
        }
        finite("point", points.len(), |i| points[i].coords)?;
        if let Some(normals) = input.normals {
            finite("normal", points.len(), |i| normals[i])?;
        }
        let bounds = ordered::map_chunks(points.len(), |range| {
            points[range].iter().fold((points[0].coords, points[0].coords), |(low, high), p| {
                (low.inf(&p.coords), high.sup(&p.coords))
            })
        });
        let joined = bounds.into_iter().reduce(|a, b| (a.0.inf(&b.0), a.1.sup(&b.1)));
        let (low, high) = joined.unwrap_or_default();
        Ok(Region { low: low.into(), high: high.into(), count: points.len() })
    }

    fn question(&self, input: &Input<'_>, request: &Request) -> Result<Question> {
        let id = &self.described.id;
        if request.criterion != Criterion::LeastSquares {
            let found = request.criterion.name();
            return Err(Error::argument(
                "criterion",
                found,
                format!("none beside {id}, which has its own"),
            ));
        }
        if !request.constraints.is_empty() {
            let allowed = format!("none beside {id}; see its options");
            return Err(Error::argument("constraints", request.constraints.len(), allowed));
        }
        Ok(Question {
            pick: input.pick.map(Into::into),
            noise: input.noise.unwrap_or(0.0),
            resolution: input.resolution.unwrap_or(0.0),
            options: self.values(&request.options)?,
            seed: 0,
        })
    }

    /// Values of all options in the fitter's order.
    fn values(&self, given: &[(String, f64)]) -> Result<Vec<f64>> {
        let options = &self.described.options;
        let mut values: Vec<f64> = options.iter().map(|o| o.standard).collect();
        for (name, value) in given {
            let Some(k) = options.iter().position(|o| o.name == *name) else {
                let known = options.iter().map(|o| o.name.as_str()).collect::<Vec<_>>().join(", ");
                let known = if known.is_empty() { "none".into() } else { known };
                return Err(Error::argument(
                    format!("option of {}", self.described.id),
                    name,
                    known,
                ));
            };
            let o = &options[k];
            let whole = matches!(o.sort, OptionSort::Number(_)) || value.fract() == 0.0;
            if !(o.least <= *value && *value <= o.most && whole) {
                let sort = match o.sort {
                    OptionSort::Number(Quantity::Length) => " mm",
                    OptionSort::Number(Quantity::Angle) => " rad",
                    OptionSort::Number(Quantity::Number) => "",
                    OptionSort::Whole | OptionSort::Switch => ", whole",
                };
                let allowed = format!("{} to {}{sort}", o.least, o.most);
                return Err(Error::argument(format!("option {name}"), value, allowed));
            }
            values[k] = *value;
        }
        Ok(values)
    }

    /// The fit of an answer, judged by the engine.
    pub(super) fn believe(
        &self,
        answer: &Answer,
        input: &Input<'_>,
        request: &Request,
        region: &Region,
    ) -> Result<Fit<Primitive>> {
        let id = &self.described.id;
        let nonsense = |(place, reason)| Error::Plugin { plugin: id.clone(), place, reason };
        if let Some(fault) = &answer.fault {
            return Err(nonsense(("call".into(), fault.clone())));
        }
        self.failure(answer)?;
        let believed = check::answer(answer, &self.described, region).map_err(nonsense)?;
        let mut fit = match believed.shape {
            Primitive::Composite(shape) => measure(input, shape, &believed.rejected),
            shape => judge(input, request, &shape, believed.rejected)?,
        };
        if fit.quality.rms > FAR * region.diagonal() {
            let reason = format!(
                "its shape lies {:.3} mm (root mean square) off the points, which are {:.3} mm across",
                fit.quality.rms,
                region.diagonal()
            );
            return Err(nonsense(("pieces".into(), reason)));
        }
        fit.notes = answer.notes.clone();
        let warnings =
            answer.log.iter().filter(|(level, _)| *level >= abi::FITW_PLUGIN_LOG_WARNING);
        fit.notes.extend(warnings.map(|(_, line)| line.clone()));
        Ok(fit)
    }

    fn failure(&self, answer: &Answer) -> Result<()> {
        let what = self.described.id.clone();
        let or = |text: &str| {
            if answer.reason.is_empty() { text.to_owned() } else { answer.reason.clone() }
        };
        Err(match answer.state {
            abi::FITW_PLUGIN_OK => return Ok(()),
            abi::FITW_PLUGIN_E_CANCELLED => Error::Cancelled,
            abi::FITW_PLUGIN_E_OPTION => Error::argument(
                format!("options of {what}"),
                or("no reason given"),
                "see its options",
            ),
            abi::FITW_PLUGIN_E_TOO_FEW_POINTS => {
                let reason = or("too few points");
                Error::undetermined(what, reason, "give it more points")
            }
            abi::FITW_PLUGIN_E_UNDETERMINED => {
                let reason = or("it gives no reason");
                let (reason, remedy) =
                    reason.split_once("; ").unwrap_or((&reason, "scan more of it"));
                Error::undetermined(what, reason, remedy)
            }
            abi::FITW_PLUGIN_E_NOT_CONVERGED => {
                Error::NotConverged { what, reason: or("it gives no reason") }
            }
            abi::FITW_PLUGIN_E_LIMIT => {
                Error::Plugin { plugin: what, place: "memory".into(), reason: or("over its limit") }
            }
            state => Error::Plugin {
                plugin: what,
                place: "call".into(),
                reason: format!("failed with state {state}: {}", or("it gives no reason")),
            },
        })
    }
}

fn finite(what: &str, count: usize, at: impl Fn(usize) -> Vec3 + Sync) -> Result<()> {
    let bad =
        ordered::map_chunks(count, |mut range| range.find(|&i| !at(i).norm_squared().is_finite()));
    match bad.into_iter().flatten().next() {
        None => Ok(()),
        Some(i) => {
            let x = at(i);
            let found = format!("({}, {}, {})", x.x, x.y, x.z);
            Err(Error::argument(format!("{what} {i}"), found, "finite coordinates"))
        }
    }
}

#[allow(unsafe_code)]
fn flat_points(points: &[Point3]) -> &[f64] {
    // SAFETY: a point is three numbers side by side and nothing else.
    unsafe { std::slice::from_raw_parts(points.as_ptr().cast(), 3 * points.len()) }
}

#[allow(unsafe_code)]
fn flat_vectors(vectors: &[Vec3]) -> &[f64] {
    // SAFETY: a vector is three numbers side by side and nothing else.
    unsafe { std::slice::from_raw_parts(vectors.as_ptr().cast(), 3 * vectors.len()) }
}

const _: () = assert!(size_of::<Point3>() == 24 && size_of::<Vec3>() == 24);

/// Root mean square distance, over the size of the data, from which on a shape is none of these points.
const FAR: f64 = 0.1;
