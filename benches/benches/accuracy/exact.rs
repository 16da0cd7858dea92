//! Largest error against answers that are known exactly: data sets made for it.
//!
//! Null-space method (Cox, Forbes 1992, Strategies for testing assessment software, NPL DITC
//! 211/92), as software tests by ISO 10360-6 use: errors orthogonal to the Jacobian, laid along the
//! normals, leave the chosen shape the least-squares answer. Classes and their root mean square and
//! maximum after ISO 10360-6 and ASME B89.4.10.

use fitwright::primitive::{Kind, Point3, Vec3};
use fitwright::simulate::random::Random;
use nalgebra::DVector;

use crate::options::Options;
use crate::scene;
use crate::shape::{Classes, Truth};
use crate::table::Table;

/// Prints the shape's table.
pub(crate) fn print(kind: Kind, options: &Options) {
    let mut table = Table::new([
        "arc",
        "sets",
        "location mm rms / max",
        "orientation rad",
        "size mm",
        "angle rad",
        "storage mm",
        "failed",
    ]);
    for arc in options.arcs(kind, &[360.0, 180.0, 120.0, 90.0, 60.0, 30.0, 20.0, 10.0]) {
        let mut all: Vec<Classes> = Vec::new();
        let (mut failed, mut reason, mut storage) = (0, String::new(), 0.0_f64);
        for size in SIZES {
            for origin in [Vec3::zeros(), Vec3::new(600.0, -480.0, 640.0)] {
                for seed in 0..SEEDS {
                    let truth = Truth::new(kind, arc, size, origin);
                    let set = null_space(&truth, form(arc) * size, seed);
                    storage = storage.max(set.storage);
                    match scene::fit(kind, &set.points, false) {
                        Ok(fit) => all.push(truth.classes(&truth.errors(&fit.shape))),
                        Err(error) => {
                            failed += 1;
                            reason = error.to_string();
                        }
                    }
                }
            }
        }
        let cell = |class: fn(&Classes) -> f64| {
            if all.is_empty() {
                return "-".into();
            }
            let square = all.iter().map(|c| class(c).powi(2)).sum::<f64>() / all.len() as f64;
            let largest = all.iter().map(class).fold(0.0, f64::max);
            format!("{:.1e} / {largest:.1e}", square.sqrt())
        };
        table.row([
            format!("{arc}"),
            format!("{}", all.len()),
            cell(|c| c.location),
            cell(|c| c.orientation),
            cell(|c| c.size),
            cell(|c| c.angle),
            format!("{storage:.1e}"),
            if failed == 0 { "0".into() } else { format!("{failed}: {reason}") },
        ]);
    }
    table.print(
        "exact answers: sizes 1 to 500 mm, at the origin and 1 m away; storage: what rounding the \
         coordinates can move the answer by",
    );
}

/// Points whose least-squares answer is the truth.
struct Set {
    points: Vec<Point3>,
    /// Rounding of the coordinates times the condition of the problem, mm.
    storage: f64,
}

fn null_space(truth: &Truth, form: f64, seed: u64) -> Set {
    let mut random = Random::stream(0x15_0103, seed);
    let feet = scene::even_feet(truth, COUNT);
    let basis = range(truth, &feet);
    let errors = DVector::from_fn(COUNT * truth.families(), |_, _| random.normal());
    let errors = without(&basis, errors);
    let errors = &errors * (form / (errors.norm() / (errors.len() as f64).sqrt()));
    let families = truth.families();
    let points: Vec<_> = feet
        .iter()
        .enumerate()
        .map(|(i, x)| {
            let moved = (0..families).map(|k| truth.residual(x, k).n * errors[i * families + k]);
            truth.scan_from_local * Point3::from(x + moved.sum::<Vec3>())
        })
        .collect();
    let largest = points.iter().map(|p| p.coords.amax()).fold(0.0, f64::max);
    // Unit noise moves the answer by the root of the bound; rounding is noise of a third of an ulp.
    let worst = truth.bound(&feet).map_or(f64::INFINITY, |b| {
        (0..b.nrows()).map(|k| b[(k, k)].sqrt() * per_length(truth, k)).fold(0.0, f64::max)
    });
    Set { points, storage: (largest.next_up() - largest) * worst * (COUNT as f64).sqrt() }
}

/// Length that an error of an unknown is: angles count over the shape's size.
fn per_length(truth: &Truth, k: usize) -> f64 {
    let index = truth.free()[k];
    let angle = (3..6).contains(&index) || index == 7 && truth.kind == Kind::Cone;
    if angle { truth.size } else { 1.0 }
}

/// Orthonormal columns that span the Jacobian: Gram-Schmidt, twice, on columns of equal length.
fn range(truth: &Truth, feet: &[Vec3]) -> Vec<DVector<f64>> {
    let rows: Vec<_> = truth.rows(feet).collect();
    let mut basis: Vec<DVector<f64>> = Vec::new();
    for k in 0..truth.free().len() {
        let column = DVector::from_iterator(rows.len(), rows.iter().map(|row| row[k]));
        basis.push(without(&basis, column.normalize()).normalize());
    }
    basis
}

/// What is left of a vector beside the basis; three rounds reach rounding.
fn without(basis: &[DVector<f64>], mut v: DVector<f64>) -> DVector<f64> {
    for _ in 0..3 {
        for b in basis {
            let part = b.dot(&v);
            v.axpy(-part, b, 1.0);
        }
    }
    v
}

/// Errors as part of the size, small enough on short arcs to leave the answer a minimum.
fn form(arc: f64) -> f64 {
    match arc {
        90.0.. => 8e-4,
        30.0.. => 8e-5,
        _ => 8e-6,
    }
}

/// Points of a set.
const COUNT: usize = 80;
/// Sizes, mm.
const SIZES: [f64; 4] = [1.0, 10.0, 100.0, 500.0];
/// Sets of one size and place.
const SEEDS: u64 = 3;
