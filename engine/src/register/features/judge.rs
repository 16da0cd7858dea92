//! Whether the features agree, in which pose, and which of them does not.

use nalgebra::SMatrix;

use super::look::Look;
use super::solve::{Solution, scaling, solve};
use super::{FeatureJoin, FeatureOptions, FeatureResidual, Join, SameFeature, free};
use crate::associate::Covariance;
use crate::error::{Error, Result};
use crate::numeric::distribution::f_upper_tail;
use crate::primitive::Pose;

/// Joins by features that are named in both scans, from any pose.
///
/// A feature that alone keeps the others from agreeing is left out and named. Where they disagree and
/// none of them alone explains it, the covariance is widened by as much as they do.
///
/// # Errors
/// [`Error::Argument`] for an option out of range, a shape that cannot be used, or two of different
/// kinds; [`Error::Limit`] for over 200 features; [`Error::Join`] if a freedom is left (the text says
/// which and what would settle it), if several poses fit, or if a feature is farther off than
/// `tolerance`.
pub fn by_features(same: &[SameFeature], options: &FeatureOptions) -> Result<FeatureJoin> {
    options.check()?;
    if same.len() > MOST_FEATURES {
        return Err(Error::Limit {
            what: "features to join by".into(),
            found: same.len() as u64,
            limit: MOST_FEATURES as u64,
        });
    }
    same.iter().try_for_each(SameFeature::check)?;
    if same.is_empty() {
        return Err(refused("no feature is named that is the same in both scans".into()));
    }
    let all: Vec<usize> = (0..same.len()).collect();
    let mut fit = Fitted::new(same, all, options)?;
    let mut notes = Vec::new();
    if fit.probability() < DOUBT {
        let ways = fit.agreeing_without_one(options);
        match ways.as_slice() {
            [] => {}
            [one] => {
                notes.push(fit.named(one));
                fit = ways.into_iter().next().unwrap_or(fit);
            }
            several => notes.push(undecided(&fit, several)),
        }
    }
    fit.refuse_far_off(options)?;
    Ok(fit.join(notes))
}

/// The pose of some of the features.
struct Fitted<'a> {
    same: &'a [SameFeature],
    used: Vec<usize>,
    solution: Solution,
    scaling: super::super::pairing::Scaling,
}

impl<'a> Fitted<'a> {
    fn new(same: &'a [SameFeature], used: Vec<usize>, options: &FeatureOptions) -> Result<Self> {
        let pairs: Vec<&SameFeature> = used.iter().map(|&k| &same[k]).collect();
        let scaling = scaling(&pairs);
        let found = solve(&pairs, &scaling, options)
            .map_err(|freedom| refused(free::under_determined(&freedom, &scaling, &pairs)))?;
        let Some(&solution) = found.first() else {
            return Err(refused(
                "no pose fits the features: their directions enclose other angles in the two \
                 scans; look whether each is the same feature in both"
                    .into(),
            ));
        };
        let fit = Fitted { same, used, solution, scaling };
        let least = solution.sums.square + RIVAL * fit.excess();
        if let Some(rival) = found.get(1).filter(|r| r.sums.square < least) {
            return Err(refused(fit.ambiguous(rival)));
        }
        Ok(fit)
    }

    fn freedoms(&self) -> usize {
        self.solution.sums.equations.saturating_sub(6)
    }

    fn probability(&self) -> f64 {
        chance(self.solution.sums.square, self.freedoms())
    }

    /// Factor by which residuals are larger than stated, squared; 1 if they are not, beyond chance.
    fn excess(&self) -> f64 {
        match self.freedoms() {
            0 => 1.0,
            _ if self.probability() >= SURE => 1.0,
            n => (self.solution.sums.square / n as f64).max(1.0),
        }
    }

    fn look(&self, k: usize) -> Look {
        Look::new(&self.same[k], &self.solution.pose, &self.scaling)
    }

    /// Fits without one feature each, in which the rest agrees and still checks itself.
    fn agreeing_without_one(&self, options: &FeatureOptions) -> Vec<Fitted<'a>> {
        let without = |k: &usize| {
            let rest: Vec<usize> = self.used.iter().copied().filter(|i| i != k).collect();
            let fit = Fitted::new(self.same, rest, options).ok()?;
            (fit.freedoms() > 0 && fit.probability() >= DOUBT).then_some(fit)
        };
        self.used.iter().filter_map(without).collect()
    }

    /// What `fit` left out, in words.
    fn named(&self, fit: &Fitted<'_>) -> String {
        let out = self.used.iter().find(|k| !fit.used.contains(k));
        let residual = out.map(|&k| fit.residual(k));
        let text = residual.map_or_else(String::new, |r| off(&r));
        format!(
            "{text} from where the others put it, and they agree without it: not the same in both \
             scans, or badly fitted, left out"
        )
    }

    fn residual(&self, k: usize) -> FeatureResidual {
        let look = self.look(k);
        let part = |rows: [usize; 3]| {
            let seen: Vec<usize> = rows.into_iter().filter(|r| look.seen[*r]).collect();
            // A sum of nothing is -0.0.
            let square = 0.0 + seen.iter().map(|&r| look.residual[r].powi(2)).sum::<f64>();
            let spread = 0.0 + seen.iter().map(|&r| look.covariance[(r, r)].max(0.0)).sum::<f64>();
            (square.sqrt(), (spread / seen.len().max(1) as f64).sqrt())
        };
        let (distance, distance_deviation) = part([0, 1, 2]);
        let (tilt, tilt_deviation) = part([3, 4, 5]);
        FeatureResidual {
            name: self.same[k].name.clone(),
            used: self.used.contains(&k),
            distance,
            distance_deviation,
            tilt,
            tilt_deviation,
            square: look.square(),
            equations: look.equations(),
        }
    }

    fn refuse_far_off(&self, options: &FeatureOptions) -> Result<()> {
        let far = |r: &FeatureResidual| {
            r.distance > options.tolerance && r.distance > 3.0 * r.distance_deviation
        };
        let residuals = self.used.iter().map(|&k| self.residual(k));
        let worst = residuals.filter(far).max_by(|a, b| a.distance.total_cmp(&b.distance));
        let Some(worst) = worst else { return Ok(()) };
        Err(refused(format!(
            "the features contradict each other: {} from where all together put it, at most {} mm \
             allowed; look whether each is the same feature in both scans, and name \
             more features, so that they tell which of them is wrong",
            off(&worst),
            options.tolerance
        )))
    }

    fn ambiguous(&self, rival: &Solution) -> String {
        let (a, b) = (&self.solution, rival);
        let turn = (b.pose * a.pose.inverse()).rotation.scaled_axis();
        let axis = turn.try_normalize(0.0).unwrap_or_default();
        format!(
            "ambiguous: the features fit in two poses, {} (chi-square {:.1}) and {} (chi-square {:.1}), \
             a turn of {:.1} degrees about ({:.3}, {:.3}, {:.3}) from one to the other; name a feature \
             that this turn moves: a place off that axis, or a plane of a mesh, whose side is known",
            in_words(&a.pose),
            a.sums.square,
            in_words(&b.pose),
            b.sums.square,
            turn.norm().to_degrees(),
            axis.x,
            axis.y,
            axis.z
        )
    }

    fn join(&self, mut notes: Vec<String>) -> FeatureJoin {
        let features: Vec<FeatureResidual> =
            (0..self.same.len()).map(|k| self.residual(k)).collect();
        let (square, freedoms) = (self.solution.sums.square, self.freedoms());
        let probability = self.probability();
        notes.push(match freedoms {
            0 => "the features determine the pose exactly: none of them is checked by the others"
                .into(),
            n => format!(
                "{} numbers of {} features for 6 of a pose: chi-square {square:.1}, {n} expected \
                 (probability {probability:.2})",
                self.solution.sums.equations,
                self.used.len()
            ),
        });
        let worst = features.iter().filter(|f| f.used).max_by(|a, b| {
            (a.square / a.equations as f64).total_cmp(&(b.square / b.equations as f64))
        });
        if let (true, Some(worst)) = (probability < DOUBT, worst) {
            notes.push(format!(
                "the features disagree by {:.1} times what they state, most of all {} from its \
                 like; the uncertainty is widened by that",
                self.excess().sqrt(),
                off(worst)
            ));
        }
        let square: f64 = features.iter().filter(|f| f.used).map(|f| f.distance.powi(2)).sum();
        FeatureJoin {
            join: Join {
                to_from_this: self.solution.pose,
                rms: (square / self.used.len().max(1) as f64).sqrt(),
                overlap: self.used.len() as f64 / self.same.len() as f64,
                covariance: self.covariance(),
                converged: self.solution.converged,
                pairs: Vec::new(),
                notes,
            },
            features,
            chi_square: self.solution.sums.square,
            freedoms,
            probability,
        }
    }

    fn covariance(&self) -> Covariance {
        let inverse = self.solution.sums.matrix.try_inverse().unwrap_or_default();
        let mut matrix = SMatrix::<f64, 8, 8>::zeros();
        let scaled = self.scaling.unscaled(&(inverse * self.excess()));
        matrix.fixed_view_mut::<6, 6>(0, 0).copy_from(&scaled);
        Covariance { at: self.scaling.middle, matrix }
    }
}

fn undecided(fit: &Fitted<'_>, ways: &[Fitted<'_>]) -> String {
    let out = |w: &Fitted<'_>| fit.used.iter().copied().find(|k| !w.used.contains(k));
    let names: Vec<String> =
        ways.iter().filter_map(out).map(|k| format!("\"{}\"", fit.same[k].name)).collect();
    format!(
        "one of {} is not the same in both scans, or badly fitted: without any one of them the others \
         agree; name another feature, so that they tell which",
        names.join(", ")
    )
}

fn off(r: &FeatureResidual) -> String {
    match r.tilt > 0.0 {
        true => format!(
            "\"{}\" is {:.3} mm (stated {:.3}) and {:.3} degrees (stated {:.3}) off",
            r.name,
            r.distance,
            2.0 * r.distance_deviation,
            r.tilt.to_degrees(),
            2.0 * r.tilt_deviation.to_degrees()
        ),
        false => format!(
            "\"{}\" is {:.3} mm (stated {:.3}) off",
            r.name,
            r.distance,
            2.0 * r.distance_deviation
        ),
    }
}

fn in_words(pose: &Pose) -> String {
    let t = pose.translation.vector;
    let turn = pose.rotation.scaled_axis().map(f64::to_degrees);
    format!(
        "shift ({:.2}, {:.2}, {:.2}) mm with turn vector ({:.2}, {:.2}, {:.2}) degrees",
        t.x, t.y, t.z, turn.x, turn.y, turn.z
    )
}

fn refused(reason: String) -> Error {
    Error::Join { reason }
}

/// Probability that a chi-square of so many degrees of freedom is larger.
fn chance(square: f64, freedoms: usize) -> f64 {
    match freedoms {
        0 => 1.0,
        // F with infinitely many freedoms below; so many are as good.
        n => f_upper_tail(square / n as f64, n as f64, 1e9),
    }
}

/// Features in one join: each is left out in turn.
const MOST_FEATURES: usize = 200;
/// Probability of the chi-square under which one of the features is held to be wrong.
const DOUBT: f64 = 1e-3;
/// Probability from which on the stated uncertainties are believed as they are.
const SURE: f64 = 0.05;
/// Difference of chi-square that decides between two poses.
const RIVAL: f64 = 25.0;
