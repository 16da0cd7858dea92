//! Edges divided once: both faces of an edge take the same points, so the mesh closes by construction.

use super::file::StepFile;
use super::topology::{Brep, Edge};
use crate::error::{Error, Result};
use crate::primitive::Point3;

/// The points of all edges of a solid; its vertices come first.
#[derive(Debug)]
pub(super) struct Net {
    pub points: Vec<Point3>,
    pub divisions: Vec<Division>,
    /// Largest distance of a vertex from the end of its edge's curve, mm.
    pub gap: f64,
}

/// Points of one edge from its start to its end.
#[derive(Debug, Default)]
pub(super) struct Division {
    pub parameters: Vec<f64>,
    pub points: Vec<u32>,
}

impl Net {
    /// Divides each edge to its own chord error, mm.
    pub(super) fn new(file: &StepFile<'_>, brep: &Brep, errors: &[f64]) -> Result<Net> {
        let mut net = Net { points: brep.vertices.clone(), divisions: Vec::new(), gap: 0.0 };
        for (edge, error) in brep.edges.iter().zip(errors) {
            let named = |error| match error {
                Error::Limit { what, found, limit } => {
                    let edge = file.place(edge.id, "EDGE_CURVE");
                    Error::Limit { what: format!("{edge}: {what}"), found, limit }
                }
                other => other,
            };
            let parameters = edge.curve.divide(edge.from, edge.to, *error).map_err(named)?;
            let last = parameters.len() - 1;
            let mut points = Vec::with_capacity(parameters.len());
            for (i, t) in parameters.iter().enumerate() {
                points.push(match i {
                    0 => edge.start as u32,
                    _ if i == last => edge.end as u32,
                    _ => net.add(edge.curve.at(*t))?,
                });
            }
            for (vertex, t) in [(edge.start, edge.from), (edge.end, edge.to)] {
                net.gap = net.gap.max((brep.vertices[vertex] - edge.curve.at(t)).norm());
            }
            net.divisions.push(Division { parameters, points });
        }
        Ok(net)
    }

    /// Adds points inside an edge at the parameters where there is none yet.
    pub(super) fn insert(&mut self, edges: &[Edge], edge: usize, added: &[f64]) -> Result<()> {
        let Edge { curve, from, to, .. } = &edges[edge];
        let slack = 1e-9 * (to - from).abs();
        let sign = if to >= from { 1.0 } else { -1.0 };
        let known = std::mem::take(&mut self.divisions[edge]);
        let mut all: Vec<(f64, Option<u32>)> =
            known.parameters.iter().copied().zip(known.points.iter().copied().map(Some)).collect();
        let ends = (sign * from + slack, sign * to - slack);
        let inner = added.iter().filter(|t| sign * **t > ends.0 && sign * **t < ends.1);
        all.extend(inner.map(|t| (*t, None)));
        all.sort_by(|a, b| (sign * a.0).total_cmp(&(sign * b.0)));
        let mut merged = Division::default();
        for (i, (t, point)) in all.iter().enumerate() {
            let near = |other: &(f64, Option<u32>)| (other.0 - t).abs() <= slack;
            let after_known = all.get(i + 1).is_some_and(|next| next.1.is_some() && near(next));
            let before = merged.parameters.last().is_some_and(|last| (last - t).abs() <= slack);
            let point = match point {
                Some(point) => *point,
                None if after_known || before => continue,
                None => self.add(curve.at(*t))?,
            };
            merged.parameters.push(*t);
            merged.points.push(point);
        }
        self.divisions[edge] = merged;
        Ok(())
    }

    fn add(&mut self, point: Point3) -> Result<u32> {
        let index = self.points.len();
        if index >= MOST_POINTS {
            return Err(Error::Limit {
                what: "points on the edges of a solid".into(),
                found: index as u64 + 1,
                limit: MOST_POINTS as u64,
            });
        }
        self.points.push(point);
        Ok(index as u32)
    }
}

const MOST_POINTS: usize = 10_000_000;
