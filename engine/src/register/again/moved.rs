//! What moved between the days: each feature against all the others that agree.

use nalgebra::Matrix3;

use super::fit::{Common, Difference, Floor};
use super::saved::{SavedDatum, SavedFeature};
use crate::associate::Covariance;
use crate::feature::{Feature, FeatureKind};
use crate::numeric::distribution::f_upper_tail;
use crate::primitive::{Pose, Vec3};

/// Whether a feature is where it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moved {
    /// Its change is less than the limit by its uncertainty.
    No,
    /// Its change is more than the limit by its uncertainty.
    Yes,
    /// Neither, or it cannot be told which of several moved.
    Undecided,
    /// It was not found: nothing is known.
    NotSeen,
}

/// Change of a feature from the saved day to the later one, machine axes.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Name of the feature.
    pub name: String,
    /// Whether it moved.
    pub moved: Moved,
    /// Change of place, mm, as far as the shape shows it (a plane's along its normal, an axis's across it).
    pub shift: Vec3,
    /// Its expanded uncertainty (k = 2) in the worst direction, mm.
    pub shift_uncertainty: f64,
    /// Change of direction, rad.
    pub turn: f64,
    /// Its expanded uncertainty, rad.
    pub turn_uncertainty: f64,
    /// Change of its sizes: radius or major radius, mm; minor radius, mm, or half-angle, rad. Zero where it has none.
    pub sizes: [f64; 2],
    /// Their expanded uncertainties.
    pub size_uncertainties: [f64; 2],
    /// Radius about its middle that the turn is judged at, mm.
    pub extent: f64,
    /// Why, where it needs a word.
    pub note: String,
}

/// What changed between the days.
#[derive(Debug, Clone, PartialEq)]
pub struct Changes {
    /// By saved feature, in the saved order.
    pub features: Vec<Change>,
    /// Weighted sum of squares of all features against a frame common to all, and its degrees of freedom.
    pub square: f64,
    /// Degrees of freedom of `square`.
    pub freedoms: usize,
    /// Probability that chance makes it as large, if nothing moved.
    pub probability: f64,
    /// Names of those that stand out, the first to stand out first.
    pub stand_out: Vec<String>,
    /// Takes machine coordinates as the datum rule gives them today to those in which the features that did not
    /// move are where they were.
    pub still_from_machine: Pose,
    /// Covariance of that pose about the machine's origin.
    pub still_covariance: Covariance,
    /// What a person should know.
    pub notes: Vec<String>,
}

impl SavedDatum {
    /// Compares features found on a later day, machine coordinates of that day, with the saved ones; `found` in
    /// the saved order, `None` for those not found. A change up to `still` (mm; turns at the feature's
    /// edge) counts as none: moved is what is beyond it by its uncertainty (k = 2), not moved what is
    /// short of it by that much.
    #[must_use]
    pub fn changes(&self, found: &[Option<&Feature>], still: f64) -> Changes {
        let seen: Vec<(usize, &Feature)> = found
            .iter()
            .enumerate()
            .filter_map(|(k, f)| f.map(|f| (k, f)))
            .take(self.features.len())
            .collect();
        let differences: Vec<Difference> = seen
            .iter()
            .map(|(k, f)| Difference::new(&self.features[*k], &f.shape, &f.covariance))
            .collect();
        let congruence = Congruence::new(&differences);
        let features = self.features.iter().enumerate().map(|(k, saved)| {
            match seen.iter().position(|s| s.0 == k) {
                Some(at) => congruence.change(at, saved, still),
                None => not_seen(saved),
            }
        });
        let name = |at: &usize| self.features[seen[*at].0].name.clone();
        let mut changes = Changes {
            features: features.collect(),
            square: congruence.all.square,
            freedoms: congruence.all.freedoms,
            probability: probability(&congruence.all),
            stand_out: congruence.out.iter().map(name).collect(),
            still_from_machine: congruence.still.pose().inverse(),
            still_covariance: congruence.still.spread(),
            notes: Vec::new(),
        };
        if congruence.either.len() > 1 {
            let names: Vec<String> = congruence.either.iter().map(name).collect();
            for change in changes.features.iter_mut().filter(|c| names.contains(&c.name)) {
                change.moved = Moved::Undecided;
                change.note =
                    "one of several that do not agree; more features would tell which".into();
            }
            let list = names.join("\", \"");
            changes.notes.push(format!(
                "\"{list}\" do not agree with each other: which of them moved cannot be told"
            ));
        }
        let datum = self.rule.iter().filter(|r| changes.stand_out.contains(&r.feature));
        let datum: Vec<&str> = datum.map(|r| r.feature.as_str()).collect();
        if !datum.is_empty() {
            changes.notes.push(format!(
                "datum feature \"{}\" moved against the other features: the machine's axes moved with it, \
                 the changes in this table are against the others",
                datum.join("\", \"")
            ));
        }
        if congruence.all.freedoms == 0 {
            changes.notes.push(
                "no more features than the axes need: nothing is left to tell what moved".into(),
            );
        }
        changes
    }
}

/// Which differences have one motion in common, and which stand out.
struct Congruence<'a> {
    differences: &'a [Difference],
    all: Common,
    still: Common,
    agree: Vec<usize>,
    out: Vec<usize>,
    /// Those of which any one may be the one that moved.
    either: Vec<usize>,
}

impl<'a> Congruence<'a> {
    fn new(differences: &'a [Difference]) -> Self {
        let mut agree: Vec<usize> = (0..differences.len()).collect();
        let all = Common::new(differences, &agree, FLOOR);
        let (mut still, mut out, mut either) = (all.clone(), Vec::new(), Vec::new());
        while probability(&still) < STANDS_OUT && agree.len() > 1 {
            let mut without: Vec<(f64, usize, Common)> = agree
                .iter()
                .map(|&k| {
                    let rest: Vec<usize> = agree.iter().copied().filter(|&i| i != k).collect();
                    let common = Common::new(differences, &rest, FLOOR);
                    // By what each row that is left disagrees: a plane has fewer rows than a hole.
                    (common.square / common.freedoms.max(1) as f64, k, common)
                })
                .collect();
            without.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let good: Vec<usize> =
                without.iter().filter(|w| probability(&w.2) > AGREES).map(|w| w.1).collect();
            if good.len() > 1 {
                either = good;
            }
            let (_, k, common) = without.swap_remove(0);
            agree.retain(|&i| i != k);
            out.push(k);
            still = common;
            if still.freedoms == 0 {
                break;
            }
        }
        Congruence { differences, all, still, agree, out, either }
    }

    fn change(&self, k: usize, saved: &SavedFeature, still: f64) -> Change {
        let difference = &self.differences[k];
        // The others alone say where it should be.
        let others: Vec<usize> = self.agree.iter().copied().filter(|&i| i != k).collect();
        let common = Common::new(self.differences, &others, FLOOR);
        let j = difference.jacobian();
        let shown = &difference.rigid * difference.rigid.transpose();
        let shown = nalgebra::SMatrix::<f64, 8, 8>::from_fn(|r, c| shown[(r, c)]);
        let moved = difference.motion - shown * (j * common.motion);
        let covariance =
            difference.covariance + shown * (j * common.covariance * j.transpose()) * shown;
        let block = |at: usize| covariance.fixed_view::<3, 3>(at, at).into_owned();
        let shift = moved.fixed_rows::<3>(0).into_owned();
        let turn = moved.fixed_rows::<3>(3).norm();
        let size = |k: usize| 2.0 * covariance[(6 + k, 6 + k)].max(0.0).sqrt();
        let mut change = Change {
            name: saved.name.clone(),
            moved: Moved::Undecided,
            shift,
            shift_uncertainty: 2.0 * widest(&block(0)),
            turn,
            turn_uncertainty: 2.0 * widest(&block(3)),
            sizes: [moved[6], moved[7]],
            size_uncertainties: [size(0), size(1)],
            extent: saved.extent,
            note: String::new(),
        };
        change.judge(saved.kind, still);
        change
    }
}

impl Change {
    fn judge(&mut self, kind: FeatureKind, still: f64) {
        // A half-angle changes the far end of a cone by its length.
        let second = if kind == FeatureKind::Cone { self.extent } else { 1.0 };
        let judged = [
            (self.shift.norm(), self.shift_uncertainty),
            (self.turn * self.extent, self.turn_uncertainty * self.extent),
            (self.sizes[0].abs(), self.size_uncertainties[0]),
            (self.sizes[1].abs() * second, self.size_uncertainties[1] * second),
        ];
        self.moved = if judged.iter().any(|(change, u)| change - u > still) {
            Moved::Yes
        } else if judged.iter().all(|(change, u)| change + u <= still) {
            Moved::No
        } else {
            Moved::Undecided
        };
    }
}

impl Moved {
    /// `not moved`, `moved`, `undecided`, `not seen`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Moved::No => "not moved",
            Moved::Yes => "moved",
            Moved::Undecided => "undecided",
            Moved::NotSeen => "not seen",
        }
    }
}

fn not_seen(saved: &SavedFeature) -> Change {
    Change {
        name: saved.name.clone(),
        moved: Moved::NotSeen,
        shift: Vec3::zeros(),
        shift_uncertainty: 0.0,
        turn: 0.0,
        turn_uncertainty: 0.0,
        sizes: [0.0; 2],
        size_uncertainties: [0.0; 2],
        extent: saved.extent,
        note: String::new(),
    }
}

/// Probability that chance makes the sum of squares as large (chi-square).
fn probability(common: &Common) -> f64 {
    if common.freedoms == 0 {
        return 1.0;
    }
    let freedoms = common.freedoms as f64;
    f_upper_tail(common.square / freedoms, freedoms, MANY)
}

fn widest(m: &Matrix3<f64>) -> f64 {
    m.symmetric_eigenvalues().max().max(0.0).sqrt()
}

/// Below this probability something stands out.
const STANDS_OUT: f64 = 1e-3;
/// Above this one, the rest agrees.
const AGREES: f64 = 1e-2;
/// What no feature is known better than: rounding and shape far below any scanner.
const FLOOR: Floor = Floor { place: 1e-3, turn: 1e-6 };
/// Freedoms of a variance that is known.
const MANY: f64 = 1e7;
