//! Small dense linear minimax: the smallest largest value of a few linear functions in a box, by exchange.
//!
//! Method: a basis of as many functions (or walls of the box) as there are unknowns and one is kept,
//! the function violated most comes in, and the one whose multiplier reaches zero first goes out: the
//! simplex method on the dual problem (Stiefel 1960, Note on Jordan elimination, linear programming
//! and Tchebycheff approximation; Bland 1977, New finite pivoting rules for the simplex method).

use nalgebra::{SMatrix, SVector};

/// Most unknowns.
pub(crate) const DIM: usize = 7;

/// Linear function `f + g · step`; components beyond the unknowns are zero.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row {
    pub(crate) g: [f64; DIM],
    pub(crate) f: f64,
}

/// Solution of the linear problem.
#[derive(Debug, Clone)]
pub(crate) struct Vertex {
    pub(crate) step: [f64; DIM],
    /// Largest value at the step, the smallest possible in the box.
    pub(crate) value: f64,
    /// Rows that are equal at the step and decide it, with their multipliers (sum 1).
    pub(crate) active: Vec<(usize, f64)>,
    /// Whether the box takes part in the decision.
    pub(crate) held: bool,
}

/// Step within `±bound` in each of the unknowns that makes the largest row smallest.
///
/// `None` for no rows or rows that are not finite.
pub(crate) fn minimax(rows: &[Row], unknowns: usize, bound: f64) -> Option<Vertex> {
    let mut basis = Basis::start(rows, unknowns, bound)?;
    let size = rows.iter().map(|r| r.f.abs()).fold(0.0, f64::max);
    let slack = PRICE * (size + bound);
    let (mut best, mut still) = (f64::NEG_INFINITY, 0);
    for _ in 0..PIVOTS {
        let at = basis.solve(rows)?;
        // Without progress the largest violation may go round in circles; the first one may not.
        still = if at.value > best { 0 } else { still + 1 };
        best = best.max(at.value);
        let Some(enter) = basis.entering(rows, &at, slack, still > STALL) else {
            return Some(basis.vertex(&at));
        };
        if !basis.exchange(rows, &at, enter, still > STALL)? {
            return Some(basis.vertex(&at));
        }
    }
    basis.solve(rows).map(|at| basis.vertex(&at))
}

type Matrix = SMatrix<f64, SIZE, SIZE>;
type Vector = SVector<f64, SIZE>;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Column {
    Row(usize),
    Upper(usize),
    Lower(usize),
}

struct Basis {
    columns: Vec<Column>,
    unknowns: usize,
    bound: f64,
}

/// What a basis says: step, value, multipliers of its columns.
struct Point {
    step: [f64; DIM],
    value: f64,
    multipliers: Vector,
    matrix: Matrix,
}

impl Basis {
    /// The largest row, held by the walls that its slope runs into.
    fn start(rows: &[Row], unknowns: usize, bound: f64) -> Option<Self> {
        if rows.iter().any(|r| !r.f.is_finite() || r.g.iter().any(|g| !g.is_finite())) {
            return None;
        }
        let mut top = 0;
        for (i, row) in rows.iter().enumerate() {
            if row.f > rows[top].f {
                top = i;
            }
        }
        let first = rows.get(top)?;
        let wall = |j| if first.g[j] > 0.0 { Column::Lower(j) } else { Column::Upper(j) };
        let columns = (0..unknowns).map(wall).chain([Column::Row(top)]).collect();
        Some(Basis { columns, unknowns, bound })
    }

    /// Column of the dual problem, and its price.
    fn column(&self, rows: &[Row], column: Column) -> (Vector, f64) {
        let mut v = Vector::zeros();
        match column {
            Column::Row(i) => {
                v.rows_mut(0, DIM).copy_from_slice(&rows[i].g);
                v[self.unknowns] = 1.0;
                (v, rows[i].f)
            }
            Column::Upper(j) => {
                v[j] = 1.0;
                (v, -self.bound)
            }
            Column::Lower(j) => {
                v[j] = -1.0;
                (v, -self.bound)
            }
        }
    }

    fn solve(&self, rows: &[Row]) -> Option<Point> {
        let (mut matrix, mut price) = (Matrix::identity(), Vector::zeros());
        for (k, column) in self.columns.iter().enumerate() {
            let (v, p) = self.column(rows, *column);
            matrix.set_column(k, &v);
            price[k] = p;
        }
        let mut one = Vector::zeros();
        one[self.unknowns] = 1.0;
        let multipliers = matrix.lu().solve(&one)?;
        let dual = matrix.transpose().lu().solve(&price)?;
        let mut step = [0.0; DIM];
        for (s, d) in step.iter_mut().zip(dual.iter().take(self.unknowns)) {
            *s = -d;
        }
        Some(Point { step, value: dual[self.unknowns], multipliers, matrix })
    }

    /// The row or wall violated most (or the first one violated).
    fn entering(&self, rows: &[Row], at: &Point, slack: f64, first: bool) -> Option<Column> {
        let mut worst = (slack, None);
        let mut look = |violation: f64, column: Column| {
            if violation > worst.0 && !(first && worst.1.is_some()) {
                worst = (violation, Some(column));
            }
        };
        for j in 0..self.unknowns {
            look(at.step[j] - self.bound, Column::Upper(j));
            look(-at.step[j] - self.bound, Column::Lower(j));
        }
        for (i, row) in rows.iter().enumerate() {
            let slope: f64 = row.g.iter().zip(&at.step).map(|(g, s)| g * s).sum();
            look(row.f + slope - at.value, Column::Row(i));
        }
        worst.1.filter(|c| !self.columns.contains(c))
    }

    /// Brings a column in; `false` if none can leave.
    fn exchange(&mut self, rows: &[Row], at: &Point, enter: Column, first: bool) -> Option<bool> {
        let direction = at.matrix.lu().solve(&self.column(rows, enter).0)?;
        let mut leave: Option<(f64, usize)> = None;
        for k in 0..=self.unknowns {
            if direction[k] <= PIVOT {
                continue;
            }
            let ratio = at.multipliers[k].max(0.0) / direction[k];
            let better = leave.is_none_or(|(least, old)| {
                // Among equals the largest pivot is the most exact.
                ratio < least || ratio == least && !first && direction[k] > direction[old]
            });
            if better {
                leave = Some((ratio, k));
            }
        }
        if let Some((_, k)) = leave {
            self.columns[k] = enter;
        }
        Some(leave.is_some())
    }

    fn vertex(&self, at: &Point) -> Vertex {
        let mut out = Vertex { step: at.step, value: at.value, active: Vec::new(), held: false };
        for (column, multiplier) in self.columns.iter().zip(at.multipliers.iter()) {
            match column {
                Column::Row(i) => out.active.push((*i, multiplier.max(0.0))),
                Column::Upper(_) | Column::Lower(_) => out.held |= *multiplier > PIVOT,
            }
        }
        out
    }
}

const SIZE: usize = DIM + 1;
/// Violation that is rounding, as a part of the numbers it comes from.
const PRICE: f64 = 1e-16;
/// Smallest pivot.
const PIVOT: f64 = 1e-11;
/// Exchanges without progress before the rule that cannot go round in circles.
const STALL: usize = 24;
/// Most exchanges.
const PIVOTS: usize = 2000;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::random::Random;

    fn largest(rows: &[Row], step: &[f64; DIM]) -> f64 {
        let value = |r: &Row| r.f + r.g.iter().zip(step).map(|(g, s)| g * s).sum::<f64>();
        rows.iter().map(value).fold(f64::NEG_INFINITY, f64::max)
    }

    fn random(count: usize, unknowns: usize, seed: u64) -> Vec<Row> {
        let mut random = Random::new(seed);
        let mut number = || random.bits() as f64 / u64::MAX as f64 - 0.5;
        let mut row = || {
            let mut g = [0.0; DIM];
            g[..unknowns].iter_mut().for_each(|g| *g = number());
            Row { g, f: number() }
        };
        (0..count).map(|_| row()).collect()
    }

    /// Optimality by its own conditions: multipliers not negative, their sum 1, slopes in balance.
    #[test]
    fn random_problems_meet_the_optimality_conditions() {
        for seed in 0..200 {
            let unknowns = 1 + seed as usize % DIM;
            let rows = random(60, unknowns, seed);
            let found = minimax(&rows, unknowns, 100.0).expect("solved");
            assert!((largest(&rows, &found.step) - found.value).abs() < 1e-13);
            if !found.held {
                assert!((found.active.iter().map(|a| a.1).sum::<f64>() - 1.0).abs() < 1e-13);
                for j in 0..unknowns {
                    let slope: f64 = found.active.iter().map(|(i, l)| l * rows[*i].g[j]).sum();
                    assert!(slope.abs() < 1e-13, "seed {seed}");
                }
            }
        }
    }

    /// All pairs and triples of lines in the plane tried one by one.
    #[test]
    fn one_unknown_as_by_trying_all_pairs() {
        for seed in 0..100 {
            let rows = random(12, 1, seed);
            let found = minimax(&rows, 1, 2.0).expect("solved");
            let mut steps = vec![-2.0, 2.0];
            for a in &rows {
                steps.extend(rows.iter().map(|b| (b.f - a.f) / (a.g[0] - b.g[0])));
            }
            let inside = steps.into_iter().filter(|s| s.abs() <= 2.0);
            let best = inside.map(|s| largest(&rows, &[s, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]));
            let best = best.fold(f64::INFINITY, f64::min);
            assert!((best - found.value).abs() < 1e-13);
        }
    }

    #[test]
    fn many_equal_rows_end() {
        let mut rows = random(5, 3, 9);
        for _ in 0..6 {
            rows.extend(rows.clone());
        }
        let mirrored: Vec<Row> = rows.iter().map(|r| Row { g: r.g.map(|g| -g), f: r.f }).collect();
        rows.extend(mirrored);
        let found = minimax(&rows, 3, 1.0).expect("solved");
        assert!((largest(&rows, &found.step) - found.value).abs() < 1e-14);
        assert!(minimax(&[], 3, 1.0).is_none());
        assert!(minimax(&[Row { g: [f64::NAN; DIM], f: 0.0 }], 3, 1.0).is_none());
    }
}
