//! What a plug-in answered, as it said it; nothing of it is believed yet.

use serde::{Deserialize, Serialize};

/// An answer, or the reason for none.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Answer {
    /// `FITW_PLUGIN_OK` or `FITW_PLUGIN_E_…`.
    pub(super) state: i32,
    pub(super) reason: String,
    pub(super) parameters: Vec<RawParameter>,
    pub(super) covariance: Option<Vec<f64>>,
    pub(super) pieces: Vec<RawPiece>,
    pub(super) rejected: Vec<u32>,
    pub(super) notes: Vec<String>,
    pub(super) log: Vec<(i32, String)>,
    /// What it did that no plug-in may do: wrote past memory it was given, handed over NULL, or too much.
    pub(super) fault: Option<String>,
}

impl Answer {
    /// Whether two answers are the same to the bit, but for what was logged.
    pub(super) fn same(&self, other: &Answer) -> bool {
        let bits = |a: &Answer| {
            postcard::to_stdvec(&Answer { log: Vec::new(), ..a.clone() }).unwrap_or_default()
        };
        bits(self) == bits(other)
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct RawParameter {
    pub(super) name: String,
    pub(super) value: RawValue,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) enum RawValue {
    Number { unit: i32, value: f64 },
    Point([f64; 3]),
    Direction([f64; 3]),
    Table { columns: Vec<(String, i32)>, values: Vec<f64> },
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct RawPiece {
    pub(super) shape: i32,
    pub(super) extent: i32,
    pub(super) point: [f64; 3],
    pub(super) direction: [f64; 3],
    pub(super) sizes: [f64; 2],
    pub(super) zero: [f64; 3],
    pub(super) pole: [f64; 3],
    pub(super) u: [f64; 2],
    pub(super) v: [f64; 2],
    pub(super) loops: Vec<Vec<[f64; 3]>>,
}

/// A fitter as its library describes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Description {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) shape: i32,
    pub(super) kind: String,
    pub(super) minimum: u64,
    pub(super) options: Vec<RawOption>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct RawOption {
    pub(super) name: String,
    pub(super) description: String,
    pub(super) sort: i32,
    pub(super) unit: i32,
    pub(super) standard: f64,
    pub(super) least: f64,
    pub(super) most: f64,
}

/// What a call is about, but for its points.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Question {
    pub(super) pick: Option<[f64; 3]>,
    pub(super) noise: f64,
    pub(super) resolution: f64,
    pub(super) options: Vec<f64>,
    pub(super) seed: u64,
}

/// Most parameters of an answer.
pub(super) const MOST_PARAMETERS: usize = 1024;
/// Most pieces of an answer.
pub(super) const MOST_PIECES: usize = 4096;
/// Most points of all outlines of an answer together, and numbers of all its tables.
pub(super) const MOST_NUMBERS: usize = 1 << 20;
/// Most notes and log lines of an answer.
pub(super) const MOST_NOTES: usize = 256;
/// Longest text, bytes.
pub(super) const LONGEST_TEXT: usize = 4096;
/// Most fitters of a plug-in, and options of a fitter.
pub(super) const MOST_FITTERS: usize = 256;
