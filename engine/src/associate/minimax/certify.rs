//! Proof that a minimax shape is one: its deciding points equally far, with multipliers that are not
//! negative and slopes in balance (Karush 1939; Kuhn, Tucker 1951, Nonlinear programming).

use nalgebra::{DMatrix, DVector};

use super::descend::State;
use super::newton::Active;
use super::problem::{Problem, Side};
use crate::associate::model::Model;

/// The points that decide, with their multipliers, or what speaks against the shape.
///
/// That no other point is beyond is seen by the search's last pass.
pub(crate) fn certify<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    state: &State<M>,
) -> Result<Active, String> {
    let (m, rounding) = (problem.unknowns(), problem.rounding(&state.shape));
    let mut active = state.active.clone();
    // No zone is narrower than none.
    let perfect = matches!(problem.side, Side::Both | Side::Tube) && state.value <= rounding;
    loop {
        let rows = problem.rows(&state.shape, &active.candidates);
        let k = rows.len();
        if k == 0 {
            return Err("no point decides it".into());
        }
        let system = DMatrix::from_fn(m + 1, k, |j, i| if j < m { rows[i].g[j] } else { 1.0 });
        let mut one = DVector::zeros(m + 1);
        one[m] = 1.0;
        let solution = system.clone().svd(true, true).solve(&one, RANK).map_err(str::to_owned)?;
        active.multipliers = solution.iter().copied().collect();
        let lowest = solution.imin();
        if solution[lowest] <= DECIDES && k > 1 {
            // Touches without deciding, unless what is left proves nothing.
            active.drop(lowest);
            continue;
        }
        if perfect {
            return Ok(active);
        }
        let balance = (system * &solution - one).norm();
        if balance > BALANCE {
            return Err(format!("slopes out of balance by {balance:.1e}"));
        }
        let gap: f64 =
            rows.iter().zip(&active.multipliers).map(|(r, l)| l * (state.value - r.f)).sum();
        if gap > GAP * rounding {
            return Err(format!("deciding points differ by {gap:.1e} of the data's extent"));
        }
        return Ok(active);
    }
}

/// Singular value, as a part of one, that is none.
const RANK: f64 = 1e-12;
/// Multiplier from which on a point decides.
const DECIDES: f64 = 1e-9;
/// Largest sum of the weighted slopes; each slope is about one.
const BALANCE: f64 = 1e-9;
/// Roundings by which the deciding points may differ.
const GAP: f64 = 4.0;
