//! What is asked of the space for tools.

use std::collections::BTreeMap;

/// What is asked of the space for tools at the bolts.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq)]
pub struct ToolLimits {
    /// Whether a straight socket counts; default yes.
    pub socket: bool,
    /// Whether an open-ended spanner counts; default yes.
    pub spanner: bool,
    /// Whether each of them must reach; default one is enough.
    pub every: bool,
    /// Air round a tool, mm; default 1.
    pub air: f64,
    /// Length of the extension on the socket, mm; default 50, which also stands for a ratchet's head.
    pub extension: f64,
    /// Outside diameter of the socket, mm; default 1.25 times the width across flats, and 3.
    pub socket_diameter: Option<f64>,
    /// Length of the socket, mm; default 45 to 80 by size.
    pub socket_length: Option<f64>,
    /// Least free swing of the spanner, rad; default 30 degrees: open-ended and turned over at each stroke.
    pub swing: f64,
    /// Whether a washer lies under the head; default yes.
    pub washer: bool,
    /// Length of every bolt under its head, mm; default the part's hole, the washer and one diameter of thread.
    pub bolt_length: Option<f64>,
    /// Length of single bolts, mm, by the hole's place among the scene's features.
    pub bolt_lengths: BTreeMap<usize, f64>,
}

impl Default for ToolLimits {
    fn default() -> Self {
        ToolLimits {
            socket: true,
            spanner: true,
            every: false,
            air: 1.0,
            extension: 50.0,
            socket_diameter: None,
            socket_length: None,
            swing: 30f64.to_radians(),
            washer: true,
            bolt_length: None,
            bolt_lengths: BTreeMap::new(),
        }
    }
}

impl ToolLimits {
    /// Numbers that are no such lengths or angles, by name.
    pub(in crate::fitcheck) fn numbers(&self) -> Vec<(&'static str, f64)> {
        let single = self.bolt_lengths.values().map(|l| ("bolt_length", *l));
        let given = [
            ("socket_diameter", self.socket_diameter),
            ("socket_length", self.socket_length),
            ("bolt_length", self.bolt_length),
        ];
        let given = given.into_iter().filter_map(|(name, x)| Some((name, x?)));
        let always = [("air", self.air), ("extension", self.extension), ("swing", self.swing)];
        always.into_iter().chain(given).chain(single).collect()
    }
}
