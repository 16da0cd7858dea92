//! Metric bolts and their clearance holes.
//!
//! ISO 273:1979, Fasteners — Clearance holes for bolts and screws; nominal diameters of ISO 261.
//! Taken from two published tables that agree up to M16; older tables print 13/14/15, 15/16/17 and
//! 17/18/19 for M12, M14 and M16. A hole's class is therefore never concluded from its diameter.

use crate::error::{Error, Result};

/// A metric bolt with its clearance holes, diameters in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bolt {
    /// Designation: `M8`.
    pub name: &'static str,
    /// Nominal (largest) diameter of the thread.
    pub nominal: f64,
    /// Hole of the fine series, tolerance H12.
    pub fine: f64,
    /// Hole of the medium series, tolerance H13.
    pub medium: f64,
    /// Hole of the coarse series, tolerance H14.
    pub coarse: f64,
}

impl Bolt {
    /// Bolt of a designation: `M8`, `m8`, `M 8`.
    ///
    /// # Errors
    /// [`Error::Argument`] for any other, naming the known ones.
    pub fn parse(designation: &str) -> Result<Self> {
        let plain = designation.split_whitespace().collect::<String>().to_ascii_uppercase();
        BOLTS.iter().find(|b| b.name == plain).copied().ok_or_else(|| {
            let known: Vec<&str> = BOLTS.iter().map(|b| b.name).collect();
            Error::argument("bolt", designation, known.join(", "))
        })
    }

    /// All known bolts, smallest first.
    #[must_use]
    pub fn all() -> &'static [Bolt] {
        &BOLTS
    }
}

const fn bolt(name: &'static str, nominal: f64, fine: f64, medium: f64, coarse: f64) -> Bolt {
    Bolt { name, nominal, fine, medium, coarse }
}

const BOLTS: [Bolt; 17] = [
    bolt("M3", 3.0, 3.2, 3.4, 3.6),
    bolt("M4", 4.0, 4.3, 4.5, 4.8),
    bolt("M5", 5.0, 5.3, 5.5, 5.8),
    bolt("M6", 6.0, 6.4, 6.6, 7.0),
    bolt("M8", 8.0, 8.4, 9.0, 10.0),
    bolt("M10", 10.0, 10.5, 11.0, 12.0),
    bolt("M12", 12.0, 13.0, 13.5, 14.5),
    bolt("M14", 14.0, 15.0, 15.5, 16.5),
    bolt("M16", 16.0, 17.0, 17.5, 18.5),
    bolt("M18", 18.0, 19.0, 20.0, 21.0),
    bolt("M20", 20.0, 21.0, 22.0, 24.0),
    bolt("M22", 22.0, 23.0, 24.0, 26.0),
    bolt("M24", 24.0, 25.0, 26.0, 28.0),
    bolt("M27", 27.0, 28.0, 30.0, 32.0),
    bolt("M30", 30.0, 31.0, 33.0, 35.0),
    bolt("M33", 33.0, 34.0, 36.0, 38.0),
    bolt("M36", 36.0, 37.0, 39.0, 42.0),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn designations_are_read_and_unknown_ones_answered_with_the_known() {
        for text in ["M8", "m8", " M 8 "] {
            assert_eq!(Bolt::parse(text).map(|b| b.nominal), Ok(8.0));
        }
        for text in ["M7", "8", "M8x1.25", "", "MM8"] {
            let message = Bolt::parse(text).map(|b| b.name).expect_err("no such bolt").to_string();
            assert!(message.contains("M36") && message.contains("M3,"), "{message}");
        }
    }

    #[test]
    fn holes_grow_with_the_series_and_the_bolt() {
        for b in Bolt::all() {
            assert!(b.nominal < b.fine && b.fine < b.medium && b.medium < b.coarse, "{}", b.name);
            assert_eq!(b.name, format!("M{}", b.nominal));
        }
        assert!(Bolt::all().is_sorted_by(|a, b| a.nominal < b.nominal && a.medium < b.medium));
    }
}
