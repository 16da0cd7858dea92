//! A smooth random field, Gaussian at every scale: independent numbers on a grid, blurred.
//!
//! Waves at random, as the simulator of scans has them, are cheaper but leave slow parts to one or two
//! waves; those decide how far a fit is off, so coverage is measured with this field instead.

use fitwright::primitive::Vec3;
use fitwright::simulate::random::Random;

/// Field of variance 1 whose correlation at distance d is exp(-d² / 2 length²).
#[derive(Debug)]
pub(crate) struct Field {
    length: f64,
    low: Vec3,
    size: [usize; 3],
    nodes: Vec<f64>,
}

impl Field {
    /// The field about these points.
    pub(crate) fn new(random: &mut Random, length: f64, about: &[Vec3]) -> Self {
        let infinite = Vec3::repeat(f64::INFINITY);
        let (low, high) =
            about.iter().fold((infinite, -infinite), |(low, high), x| (low.inf(x), high.sup(x)));
        let step = STEP * length;
        let size = [0, 1, 2].map(|k| ((high[k] - low[k]) / step) as usize + 1 + REACH);
        let nodes = (0..size.iter().product()).map(|_| random.normal()).collect();
        Field { length, low, size, nodes }
    }

    /// Value at one of the points.
    pub(crate) fn at(&self, x: &Vec3) -> f64 {
        let at = (x - self.low) / (STEP * self.length);
        let first = [0, 1, 2].map(|k| at[k] as usize);
        let weight = [0, 1, 2].map(|k| {
            std::array::from_fn::<f64, REACH, _>(|i| {
                let nodes = at[k].fract() + (REACH / 2 - 1) as f64 - i as f64;
                (-(nodes * STEP).powi(2)).exp()
            })
        });
        let mut sum = 0.0;
        for (i, a) in weight[0].iter().enumerate() {
            for (j, b) in weight[1].iter().enumerate() {
                let row = ((first[0] + i) * self.size[1] + first[1] + j) * self.size[2] + first[2];
                let nodes = &self.nodes[row..row + REACH];
                let along: f64 = nodes.iter().zip(&weight[2]).map(|(n, c)| n * c).sum();
                sum += a * b * along;
            }
        }
        // The squared weights of a grid without end add up to (√(π/2) / step)³.
        sum * (STEP / std::f64::consts::FRAC_PI_2.sqrt()).powf(1.5)
    }
}

/// Distance of the grid's nodes, in lengths: the variance then varies by a thousandth between them.
const STEP: f64 = 0.8;
/// Nodes to blur over in each direction: up to where weights are below a thousandth.
const REACH: usize = 8;
