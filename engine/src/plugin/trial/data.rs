//! Points that a fitter is tried on: the plug-in's own references, a made-up surface, and bad ones.

use std::f64::consts::PI;
use std::path::Path;

use crate::error::{Error, Result};
use crate::numeric::random::Random;
use crate::plugin::fitter::PluginFitter;
use crate::plugin::library::Points;
use crate::plugin::manifest::{Expected, Manifest};
use crate::scan::Scan;
use crate::units::LengthUnit;

/// Points of a call.
#[derive(Debug, Clone, Default)]
pub(super) struct Cloud {
    pub(super) points: Vec<f64>,
    /// As many, or none.
    pub(super) normals: Vec<f64>,
    pub(super) pick: Option<[f64; 3]>,
    pub(super) noise: f64,
    pub(super) spacing: f64,
    pub(super) options: Vec<(String, f64)>,
}

/// What a fitter is tried on.
pub(super) struct Data {
    /// The plug-in's own: points with what is expected.
    pub(super) references: Vec<Known>,
    /// The first reference, or a made-up surface that may be none of its shape.
    pub(super) usual: Cloud,
}

/// Points with a known answer.
pub(super) struct Known {
    pub(super) file: String,
    pub(super) cloud: Cloud,
    /// By name of the parameter.
    pub(super) expected: Vec<(String, Expected)>,
}

impl Cloud {
    pub(super) fn raw(&self) -> Points<'_> {
        let normals = (!self.normals.is_empty()).then_some(self.normals.as_slice());
        Points { points: &self.points, normals }
    }

    pub(super) fn count(&self) -> usize {
        self.points.len() / 3
    }

    /// The same surface with so many points: copies of its points, each moved by a little noise.
    pub(super) fn grown(&self, count: usize) -> Cloud {
        let (mut random, own) = (Random::new(7), self.count().max(1));
        let mut grown = Cloud { points: Vec::new(), normals: Vec::new(), ..self.clone() };
        let by = self.noise.max(1e-3);
        let mut shake = || by * (random.bits() as f64 / u64::MAX as f64 - 0.5);
        for i in 0..count {
            let k = 3 * (i % own);
            grown.points.extend(self.points[k..k + 3].iter().map(|x| x + shake()));
            if !self.normals.is_empty() {
                grown.normals.extend_from_slice(&self.normals[k..k + 3]);
            }
        }
        grown
    }

    /// So many of its points, the first ones.
    pub(super) fn first(&self, count: usize) -> Cloud {
        let cut = |x: &[f64]| x[..(3 * count).min(x.len())].to_vec();
        Cloud { points: cut(&self.points), normals: cut(&self.normals), ..self.clone() }
    }

    /// Every number changed.
    pub(super) fn with(&self, change: impl Fn(usize, f64) -> f64) -> Cloud {
        let points = self.points.iter().enumerate().map(|(i, x)| change(i, *x)).collect();
        Cloud { points, pick: None, ..self.clone() }
    }
}

/// What a fitter is tried on.
pub(super) fn of(fitter: &PluginFitter, manifest: &Manifest, folder: &Path) -> Result<Data> {
    let mut references = Vec::new();
    for reference in manifest.references.iter().filter(|r| r.fitter == fitter.described.id) {
        let path = folder.join(&reference.file);
        let scan = Scan::read(&path, LengthUnit::Millimetre)
            .map_err(|e| Error::PluginRefused { path, reason: format!("[[reference]]: {e}") })?;
        let flat = |x: &[f64; 3]| *x;
        let cloud = Cloud {
            points: scan.points().iter().flat_map(|p| flat(&(*p).into())).collect(),
            normals: scan.normals().iter().flat_map(|n| flat(&(*n).into())).collect(),
            pick: None,
            noise: scan.noise(),
            spacing: scan.resolution(),
            options: reference.options.iter().map(|(n, x)| (n.clone(), *x)).collect(),
        };
        let expected = reference.expect.iter().map(|(n, e)| (n.clone(), *e)).collect();
        references.push(Known { file: reference.file.clone(), cloud, expected });
    }
    let usual = references.first().map_or_else(half_pipe, |known| known.cloud.clone());
    Ok(Data { references, usual })
}

/// Half a pipe of radius 10 mm and 40 mm length with noise.
fn half_pipe() -> Cloud {
    let mut random = Random::new(3);
    let mut shake = || 0.06 * (random.bits() as f64 / u64::MAX as f64 - 0.5);
    let mut cloud = Cloud { noise: 0.017, spacing: 1.0, ..Cloud::default() };
    for i in 0..1200 {
        let (sin, cos) = (PI * f64::from(i % 30) / 29.0).sin_cos();
        let r = 10.0 + shake();
        cloud.points.extend([r * cos, r * sin, f64::from(i / 30)]);
        cloud.normals.extend([cos, sin, 0.0]);
    }
    cloud
}
