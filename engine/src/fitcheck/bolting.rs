//! Seats and bolts of a part at one place, each alone and all at once.

use super::mechanism::{self, Together};
use super::scene::Mount;
use super::view::View;
use super::{Finding, Measure, Verdict, holes, seating};
use crate::context::Context;
use crate::error::Result;
use crate::primitive::Pose;

/// What the part's seats and bolts say.
pub(super) struct Bolting {
    /// By feature.
    seats: Vec<(usize, Finding)>,
    bolts: Vec<Finding>,
    pub(super) together: Together,
}

impl Bolting {
    pub(super) fn new(view: &View<'_>, mounts: &[Mount], context: &Context) -> Result<Self> {
        let seats = context.run(|| seating::seats(view, mounts));
        let holes = holes::pairs(view, mounts)?;
        let findings = seating::check(view, &seats);
        Ok(Bolting {
            seats: seats.iter().map(|s| s.feature).zip(findings).collect(),
            bolts: holes::check(view, &holes),
            together: context.run(|| mechanism::check(view, mounts, &seats, &holes)),
        })
    }

    /// Where the part has to be moved for its bolts to go in; `None` if they go in where it is, or nowhere.
    pub(super) fn moved(&self) -> Option<Pose> {
        let stuck = self.bolts.iter().any(|b| b.verdict != Verdict::Pass);
        self.together.bolted_from_designed.filter(|_| stuck)
    }

    /// The findings; `moved`: of a part that was moved for its bolts.
    pub(super) fn findings(self, moved: bool) -> Vec<Finding> {
        let mut together = self.together;
        if let Some(all) = together.findings.last_mut().filter(|_| moved) {
            all.detail += "; it does not go on where it was designed, so every check is made there";
        }
        let seats = self.seats.into_iter().map(|(f, mut seat)| {
            tell_shim(&mut seat, f, &together);
            seat
        });
        let mut all: Vec<Finding> = seats.chain(self.bolts).collect();
        all.extend(together.findings);
        all
    }
}

/// Adds what is left under the part at a seat, by its feature, with the part pressed down.
pub(super) fn tell_shim(seat: &mut Finding, feature: usize, together: &Together) {
    if let Some(&(_, least, largest)) = together.pressed.iter().find(|p| p.0 == feature) {
        seat.number("shim", least.max(0.0), Measure::Length);
        seat.number("pressed_gap", largest.max(0.0), Measure::Length);
    }
}
