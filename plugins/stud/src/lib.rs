//! Welding studs: the shank's place, diameter and length.

use fitwright_plugin::{Answer, Call, Extent, Failure, Fitter, Input, Opt, Piece, Shape};
use fitwright_plugin::{SolidShape, plugin};

struct Stud;

impl Fitter for Stud {
    const ID: &'static str = "acme.stud";
    const TITLE: &'static str = "Welding stud";
    const SHAPE: Shape = Shape::Composite("stud");
    const MINIMUM_POINTS: usize = 12;
    const OPTIONS: &'static [Opt] = &[Opt::length("longest", "longest stud", 100.0, (1.0, 1e3))];

    fn fit(input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure> {
        // The host's robust cylinder; a fitter may as well do everything itself.
        let shank = call.fit(Shape::Cylinder, input.points, input.normals, true)?;
        let (point, axis) = (shank.point, shank.direction);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (p, _) in input.points.iter().zip(&shank.used).filter(|(_, used)| **used) {
            let along = (0..3).map(|k| (p[k] - point[k]) * axis[k]).sum::<f64>();
            (low, high) = (low.min(along), high.max(along));
        }
        if high - low > input.option("longest") {
            let reason =
                format!("it is {:.1} mm long; raise `longest`, or pick a stud", high - low);
            return Err(Failure::undetermined(reason));
        }
        // Rows: foot (3), diameter, length. An end is as sharp as the points are close.
        let end = input.resolution.unwrap_or(0.0).powi(2) / 12.0;
        let mut covariance = vec![0.0; 25];
        for (r, c) in (0..9).map(|i| (i / 3, i % 3)) {
            covariance[5 * r + c] = shank.covariance[r][c] + end * axis[r] * axis[c];
        }
        (covariance[18], covariance[24]) = (4.0 * shank.covariance[6][6], 2.0 * end);
        let helper =
            if axis[2].abs() < 0.9 { [axis[1], -axis[0], 0.0] } else { [0.0, axis[2], -axis[1]] };
        let zero = helper.map(|x| x / helper.iter().map(|x| x * x).sum::<f64>().sqrt());
        let left_out = shank.used.iter().enumerate().filter(|(_, used)| !**used);
        Ok(Answer::new()
            .point("foot", std::array::from_fn(|k| point[k] + axis[k] * low))
            .length("diameter", 2.0 * shank.size_1)
            .length("length", high - low)
            .covariance(covariance)
            .piece(Piece {
                shape: SolidShape::Cylinder { point, axis, radius: shank.size_1 },
                extent: Extent::Patch { zero, u: (0.0, std::f64::consts::TAU), v: (low, high) },
            })
            .rejected(left_out.map(|(i, _)| i as u32).collect()))
    }
}

plugin!("acme.studs", Stud);
