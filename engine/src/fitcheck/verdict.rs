//! Decision of a check by ISO 14253-1: beyond the limit by the expanded uncertainty, or not decided.

/// Decision of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The limit is met by more than the expanded uncertainty.
    Pass,
    /// The limit is broken by more than the expanded uncertainty.
    Fail,
    /// In between, or not seen.
    Undecided,
}

impl Verdict {
    /// Name used in results.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Fail => "fail",
            Verdict::Undecided => "undecided",
        }
    }

    /// ISO 14253-1 for a lower limit: value must be at least `limit`.
    #[must_use]
    pub fn at_least(value: f64, limit: f64, uncertainty: f64) -> Self {
        if value - uncertainty >= limit {
            Verdict::Pass
        } else if value + uncertainty < limit {
            Verdict::Fail
        } else {
            Verdict::Undecided
        }
    }

    /// ISO 14253-1 for an upper limit: value must be at most `limit`.
    #[must_use]
    pub fn at_most(value: f64, limit: f64, uncertainty: f64) -> Self {
        Verdict::at_least(-value, -limit, uncertainty)
    }

    /// Worst of several: fail before undecided before pass.
    #[must_use]
    pub fn worst(all: impl IntoIterator<Item = Verdict>) -> Self {
        all.into_iter().fold(Verdict::Pass, |a, b| if b.rank() < a.rank() { b } else { a })
    }

    /// 0 for the worst, for sorting.
    #[must_use]
    pub fn rank(self) -> u8 {
        match self {
            Verdict::Fail => 0,
            Verdict::Undecided => 1,
            Verdict::Pass => 2,
        }
    }
}
