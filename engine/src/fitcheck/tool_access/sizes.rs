//! Sizes of bolt heads, washers and of the tools that turn them, mm.
//!
//! Across flats and head heights: ISO 4014/4032, washers: ISO 7089, as an open table library prints
//! them; checked here by what must hold between them. Everything about the tools themselves is from
//! memory of hand tools (ISO 2725-1 and DIN 3124 sockets, DIN 3110 spanners), no standard was at
//! hand: hence functions of the width across flats that lean to the large side, and keys in the job
//! to say otherwise.

use crate::fitcheck::Bolt;

/// What stands on the part at a bolt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Head {
    /// Largest diameter of the thread.
    pub(super) nominal: f64,
    /// Width across flats.
    pub(super) flats: f64,
    /// Height.
    pub(super) height: f64,
    /// Outside diameter of the washer under it.
    pub(super) washer: f64,
    /// Thickness of the washer.
    pub(super) washer_thickness: f64,
}

/// An open-ended spanner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spanner {
    /// Radius of its head about the bolt.
    pub(super) head: f64,
    /// Half the width of its handle.
    pub(super) half_width: f64,
    /// From the bolt to the handle's end.
    pub(super) length: f64,
    /// Thickness of head and handle.
    pub(super) thickness: f64,
}

impl Head {
    /// Hexagon head and washer of a bolt.
    pub(super) fn of(bolt: &Bolt) -> Self {
        // Every known bolt has its row: a test holds it.
        let row = ROWS.iter().find(|r| r[0] == bolt.nominal).unwrap_or(&ROWS[ROWS.len() - 1]);
        let [nominal, washer, washer_thickness, flats, height] = *row;
        Head { nominal, flats, height, washer, washer_thickness }
    }

    /// Largest width across corners.
    pub(super) fn corners(&self) -> f64 {
        self.flats * 2.0 / 3f64.sqrt()
    }

    /// Outside diameter of a hand socket: rule of thumb, from memory.
    pub(super) fn socket_diameter(&self) -> f64 {
        1.25 * self.flats + 3.0
    }

    /// Length of a hand socket, from memory: half-inch drive 38 to 45, larger drives more.
    pub(super) fn socket_length(&self) -> f64 {
        match self.flats {
            s if s <= 27.0 => 45.0,
            s if s <= 41.0 => 60.0,
            _ => 80.0,
        }
    }

    /// Open-ended spanner, from memory: head 2.2 widths across flats wide and 0.6 thick, handle 0.8
    /// wide, 12 long.
    pub(super) fn spanner(&self) -> Spanner {
        let s = self.flats;
        Spanner { head: 1.1 * s, half_width: 0.4 * s, length: 12.0 * s, thickness: 0.6 * s }
    }
}

/// Nominal diameter, washer's outside diameter and thickness, width across flats, head height.
const ROWS: [[f64; 5]; 17] = [
    [3.0, 7.0, 0.5, 5.5, 2.0],
    [4.0, 9.0, 0.8, 7.0, 2.8],
    [5.0, 10.0, 1.0, 8.0, 3.5],
    [6.0, 12.0, 1.6, 10.0, 4.0],
    [8.0, 16.0, 1.6, 13.0, 5.3],
    [10.0, 20.0, 2.0, 16.0, 6.4],
    [12.0, 24.0, 2.5, 18.0, 7.5],
    [14.0, 28.0, 2.5, 21.0, 8.8],
    [16.0, 30.0, 3.0, 24.0, 10.0],
    [18.0, 34.0, 3.0, 27.0, 11.5],
    [20.0, 37.0, 3.0, 30.0, 12.5],
    [22.0, 39.0, 3.0, 34.0, 14.0],
    [24.0, 44.0, 4.0, 36.0, 15.0],
    [27.0, 50.0, 4.0, 41.0, 17.0],
    [30.0, 56.0, 4.0, 46.0, 18.7],
    [33.0, 60.0, 5.0, 50.0, 21.0],
    [36.0, 66.0, 5.0, 55.0, 22.5],
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_bolt_has_a_row_that_agrees_with_itself() {
        for bolt in Bolt::all() {
            let head = Head::of(bolt);
            assert_eq!(head.nominal, bolt.nominal, "{}", bolt.name);
            // A washer is wider than the flats and thinner than the head; the head about 0.6 to 0.75 d.
            assert!(head.washer > head.flats && head.washer_thickness < head.height);
            assert!((0.6..0.75).contains(&(head.height / bolt.nominal)), "{}", bolt.name);
            assert!(head.socket_diameter() > head.corners());
        }
    }

    #[test]
    fn socket_diameters_are_those_of_the_table_from_memory() {
        // Width across flats and outside diameter as collected before the code was written.
        let flats = |s: f64| Head { flats: s, ..Head::of(&Bolt::all()[0]) }.socket_diameter();
        for (s, outside) in [(10.0, 15.5), (13.0, 19.3), (18.0, 25.5), (24.0, 33.0), (36.0, 48.0)] {
            assert!((flats(s) - outside).abs() < 0.06, "{s}");
        }
    }
}
