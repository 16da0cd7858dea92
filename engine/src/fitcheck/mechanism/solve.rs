//! The part as a body pressed onto its seats, with bolts that have play: two convex programs.
//!
//! Motions are small: a shift of the part's middle and a rotation vector, linear in every place. First the part
//! is pressed down until it rests on the scanned seats without entering them (a linear program); then, resting,
//! it is moved to where the bolt with the least room has most (a second-order cone program). Method: primal-dual
//! interior points (library `clarabel`; P. J. Goulart, Y. Chen, 2024, "Clarabel: An interior-point solver for
//! conic programs with quadratic objectives").

use clarabel::algebra::CscMatrix;
use clarabel::solver::{
    DefaultSettingsBuilder, DefaultSolver, IPSolver, SolverStatus, SupportedConeT,
};

use crate::primitive::{Direction, Point3, Pose, Vec3, frame_from_axis};

/// A place of a seat: air between scan and part along the seat's normal, mm; negative: overlap.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rest {
    pub(super) place: Point3,
    /// Away from the machine.
    pub(super) normal: Direction,
    pub(super) gap: f64,
}

/// Where the part is pressed down, against which normal.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clamp {
    pub(super) place: Point3,
    pub(super) normal: Direction,
}

/// A bolt on its scanned axis in the part's hole.
#[derive(Debug, Clone, Copy)]
pub(super) struct Play {
    /// Part's axis and scanned axis at either end of the part's hole.
    pub(super) ends: [(Point3, Point3); 2],
    /// Direction of the bolt.
    pub(super) axis: Direction,
    /// How far the bolt may be off the middle of the hole, mm.
    pub(super) play: f64,
}

/// A small motion of the part about a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Motion {
    about: Point3,
    pub(super) shift: Vec3,
    /// Rotation vector, rad.
    pub(super) turn: Vec3,
}

impl Motion {
    /// How far a place of the part moves, mm.
    pub(super) fn at(&self, place: &Point3) -> Vec3 {
        self.shift + self.turn.cross(&(place - self.about))
    }

    /// The rigid motion that this is the small one of.
    pub(super) fn as_pose(&self) -> Pose {
        let about = self.about.coords;
        Pose::from_parts(
            (self.shift + about).into(),
            nalgebra::UnitQuaternion::from_scaled_axis(self.turn),
        ) * Pose::translation(-about.x, -about.y, -about.z)
    }
}

/// The part at rest on its seats.
#[derive(Debug, Clone)]
pub(super) struct Sitting {
    pub(super) motion: Motion,
    /// Places that carry: indices into what was given.
    pub(super) contacts: Vec<usize>,
}

/// The best place of the bolts for a part at rest.
#[derive(Debug, Clone)]
pub(super) struct Bolted {
    pub(super) motion: Motion,
    /// Room of the bolt that has least, mm; negative: that much is missing.
    pub(super) margin: f64,
    /// For each bolt and end, how the margin falls with the offset there (a vector across the bolt).
    pub(super) weights: Vec<[Vec3; 2]>,
}

/// The programs of one part.
pub(super) struct Mechanism<'a> {
    rests: &'a [Rest],
    clamps: &'a [Clamp],
    about: Point3,
    /// Rotations count as the motion at this distance, mm: all unknowns are of one size.
    lever: f64,
}

impl<'a> Mechanism<'a> {
    /// `None` without a place to rest on or anything that presses the part down.
    pub(super) fn new(rests: &'a [Rest], clamps: &'a [Clamp]) -> Option<Self> {
        if rests.is_empty() || clamps.is_empty() {
            return None;
        }
        let sum: Vec3 = rests.iter().map(|r| r.place.coords).sum();
        let about = Point3::from(sum / rests.len() as f64);
        let places = rests.iter().map(|r| r.place).chain(clamps.iter().map(|c| c.place));
        let lever = places.map(|p| (p - about).norm()).fold(1.0, f64::max);
        Some(Mechanism { rests, clamps, about, lever })
    }

    /// Presses the part down; `None` if nothing stops it within `reach` mm or the seats hold it apart.
    pub(super) fn sit(&self, reach: f64) -> Option<Sitting> {
        let mut program = Program::new(6, reach);
        for clamp in self.clamps {
            let row = self.row(&clamp.place, &clamp.normal);
            program.cost.iter_mut().zip(row).for_each(|(c, r)| *c += r);
        }
        self.rest_on(&mut program);
        let x = program.solve()?.0;
        let motion = self.motion(&x);
        // What slides freely is kept where it is by a cost too small to matter; what still runs to the end of
        // its reach is held by nothing.
        if x.iter().any(|v| v.abs() > 0.99 * reach) {
            return None;
        }
        let left = |r: &Rest| r.gap + motion.at(&r.place).dot(&r.normal);
        let contacts = (0..self.rests.len()).filter(|&i| left(&self.rests[i]) < TOUCHING).collect();
        Some(Sitting { motion, contacts })
    }

    /// Moves the resting part to where the bolts have most room; `None` if that cannot be told.
    pub(super) fn bolt(&self, sitting: &Sitting, bolts: &[Play], reach: f64) -> Option<Bolted> {
        let mut program = Program::new(7, reach);
        program.cost[6] = -1.0;
        self.rest_on(&mut program);
        // It stays pressed down: the clamps do not rise.
        let mut pressed = vec![0.0; 7];
        let mut level = 0.0;
        for clamp in self.clamps {
            let row = self.row(&clamp.place, &clamp.normal);
            pressed.iter_mut().zip(row).for_each(|(c, r)| *c += r);
            level += sitting.motion.at(&clamp.place).dot(&clamp.normal);
        }
        program.at_most(&pressed, level + TOUCHING * self.clamps.len() as f64);
        for bolt in bolts {
            let axes = frame_from_axis(&bolt.axis);
            let across = [axes * Vec3::x(), axes * Vec3::y()].map(nalgebra::Unit::new_unchecked);
            for (part, scanned) in &bolt.ends {
                let offset = part - scanned;
                let rows = across.map(|d| (self.row(part, &d), offset.dot(&d)));
                program.within(bolt.play, &rows);
            }
        }
        let (x, duals) = program.solve()?;
        let of = |bolt: &Play, z: &[f64]| {
            let axes = frame_from_axis(&bolt.axis);
            axes * Vec3::new(z[1], z[2], 0.0)
        };
        let weights = bolts
            .iter()
            .zip(duals.chunks_exact(6))
            .map(|(bolt, z)| [of(bolt, &z[..3]), of(bolt, &z[3..])])
            .collect();
        Some(Bolted { motion: self.motion(&x), margin: x[6], weights })
    }

    fn rest_on(&self, program: &mut Program) {
        for rest in self.rests {
            let mut row = self.row(&rest.place, &rest.normal).map(|x| -x).to_vec();
            row.resize(program.unknowns, 0.0);
            program.at_most(&row, rest.gap);
        }
    }

    /// How a place moves along a direction with each unknown.
    fn row(&self, place: &Point3, along: &Direction) -> [f64; 6] {
        let turn = (place - self.about).cross(along) / self.lever;
        [along.x, along.y, along.z, turn.x, turn.y, turn.z]
    }

    fn motion(&self, x: &[f64]) -> Motion {
        Motion {
            about: self.about,
            shift: Vec3::new(x[0], x[1], x[2]),
            turn: Vec3::new(x[3], x[4], x[5]) / self.lever,
        }
    }
}

/// A linear cost under linear and cone constraints.
struct Program {
    unknowns: usize,
    cost: Vec<f64>,
    /// Rows that are at most a number, then cones of three rows.
    linear: Vec<(Vec<f64>, f64)>,
    cones: Vec<(Vec<f64>, f64)>,
}

impl Program {
    /// Unknowns bounded by `reach` either way, those of the motion.
    fn new(unknowns: usize, reach: f64) -> Self {
        let mut program =
            Program { unknowns, cost: vec![0.0; unknowns], linear: Vec::new(), cones: Vec::new() };
        for i in 0..6 {
            for sign in [1.0, -1.0] {
                let mut row = vec![0.0; unknowns];
                row[i] = sign;
                program.at_most(&row, reach);
            }
        }
        program
    }

    fn at_most(&mut self, row: &[f64], most: f64) {
        self.linear.push((row.to_vec(), most));
    }

    /// The offset by two rows, each with what it is at rest, is within `play` less the last unknown.
    fn within(&mut self, play: f64, rows: &[([f64; 6], f64); 2]) {
        let mut margin = vec![0.0; self.unknowns];
        margin[6] = 1.0;
        self.cones.push((margin, play));
        for (row, at_rest) in rows {
            let mut row = row.map(|x| -x).to_vec();
            row.resize(self.unknowns, 0.0);
            self.cones.push((row, *at_rest));
        }
    }

    /// Unknowns, and the multipliers of the cones.
    fn solve(&self) -> Option<(Vec<f64>, Vec<f64>)> {
        let rows: Vec<&(Vec<f64>, f64)> = self.linear.iter().chain(&self.cones).collect();
        let (mut i, mut j, mut values) = (Vec::new(), Vec::new(), Vec::new());
        for (r, (row, _)) in rows.iter().enumerate() {
            for (c, value) in row.iter().enumerate().filter(|(_, v)| **v != 0.0) {
                i.push(r);
                j.push(c);
                values.push(*value);
            }
        }
        let a = CscMatrix::new_from_triplets(rows.len(), self.unknowns, i, j, values);
        let b: Vec<f64> = rows.iter().map(|r| r.1).collect();
        let mut cones = vec![SupportedConeT::NonnegativeConeT(self.linear.len())];
        cones.resize(1 + self.cones.len() / 3, SupportedConeT::SecondOrderConeT(3));
        // What nothing else decides stays where it is.
        let still: Vec<usize> = (0..self.unknowns).collect();
        let n = self.unknowns;
        let p = CscMatrix::new_from_triplets(n, n, still.clone(), still, vec![STILL; n]);
        let settings = DefaultSettingsBuilder::default()
            .verbose(false)
            .max_threads(1)
            .tol_gap_abs(1e-10)
            .tol_gap_rel(1e-10)
            .tol_feas(1e-10)
            .build()
            .ok()?;
        let mut solver = DefaultSolver::new(&p, &self.cost, &a, &b, &cones, settings).ok()?;
        solver.solve();
        let found = &solver.solution;
        match found.status {
            SolverStatus::Solved | SolverStatus::AlmostSolved => {
                Some((found.x.clone(), found.z[self.linear.len()..].to_vec()))
            }
            _ => None,
        }
    }
}

/// Places closer to the part than this carry it, mm: what the solver leaves.
const TOUCHING: f64 = 1e-5;
/// Cost of a motion's square, against one for a millimetre of pressing down.
const STILL: f64 = 1e-7;
