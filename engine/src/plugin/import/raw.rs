//! A part as an importer said it; nothing of it is believed yet.

use serde::{Deserialize, Serialize};

/// What an importer handed over, or the next piece of it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(in crate::plugin) struct RawPart {
    pub(in crate::plugin) schema: Option<String>,
    pub(in crate::plugin) solids: u64,
    pub(in crate::plugin) points: Vec<[f64; 3]>,
    pub(in crate::plugin) triangles: Vec<[u32; 3]>,
    /// One a triangle, or none at all.
    pub(in crate::plugin) face_of_triangle: Vec<u32>,
    pub(in crate::plugin) faces: Vec<RawFace>,
    pub(in crate::plugin) holes: Vec<RawHole>,
    pub(in crate::plugin) chord_error: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(in crate::plugin) struct RawFace {
    pub(in crate::plugin) shape: i32,
    pub(in crate::plugin) reversed: i32,
    pub(in crate::plugin) point: [f64; 3],
    pub(in crate::plugin) direction: [f64; 3],
    pub(in crate::plugin) sizes: [f64; 2],
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(in crate::plugin) struct RawHole {
    pub(in crate::plugin) point: [f64; 3],
    pub(in crate::plugin) axis: [f64; 3],
    pub(in crate::plugin) radius: f64,
    pub(in crate::plugin) depth: f64,
}

/// An importer as its library describes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(in crate::plugin) struct ImporterDescription {
    pub(in crate::plugin) id: String,
    pub(in crate::plugin) title: String,
    pub(in crate::plugin) extensions: Vec<String>,
}

impl RawPart {
    /// Puts a further piece behind; what there is too much of, if there is.
    pub(in crate::plugin) fn append(&mut self, mut more: RawPart) -> Result<(), String> {
        self.schema = more.schema.or(self.schema.take());
        self.chord_error = more.chord_error.or(self.chord_error);
        self.solids = self.solids.saturating_add(more.solids);
        self.points.append(&mut more.points);
        self.triangles.append(&mut more.triangles);
        self.face_of_triangle.append(&mut more.face_of_triangle);
        self.faces.append(&mut more.faces);
        self.holes.append(&mut more.holes);
        match self.too_many() {
            Some((what, most)) => Err(too_many(what, most)),
            None => Ok(()),
        }
    }

    fn too_many(&self) -> Option<(&'static str, usize)> {
        let counts = [
            ("triangles", self.triangles.len().max(self.face_of_triangle.len()), MOST_TRIANGLES),
            ("points", self.points.len(), MOST_TRIANGLES),
            ("faces", self.faces.len(), MOST_FACES),
            ("holes", self.holes.len(), MOST_HOLES),
        ];
        counts.into_iter().find(|(_, count, most)| count > most).map(|(what, _, most)| (what, most))
    }

    /// Numbers that it holds, more or less.
    pub(super) fn weight(&self) -> usize {
        3 * (self.points.len() + self.triangles.len()) + 8 * (self.faces.len() + self.holes.len())
    }
}

pub(super) fn too_many(what: &str, most: usize) -> String {
    format!("it hands over more than {most} {what}")
}

/// Most triangles of a part, and most points.
pub(super) const MOST_TRIANGLES: usize = 20_000_000;
/// Most faces of a part.
pub(super) const MOST_FACES: usize = 1_000_000;
/// Most holes of a part.
pub(super) const MOST_HOLES: usize = 100_000;
