//! A ball, fitted here and by the host: the smallest plug-in that uses everything that versions differ in.

use fitwright_plugin::{Answer, Call, Extent, Failure, Fitter, Input, Piece, Shape, SolidShape};

/// Fits |p|² = 2 c·p + (r² - |c|²), which is linear in its four unknowns.
struct Ball;

impl Fitter for Ball {
    const ID: &'static str = "test.ball";
    const TITLE: &'static str = "Ball, fitted by the plug-in";
    const SHAPE: Shape = Shape::Sphere;
    const MINIMUM_POINTS: usize = 4;

    fn fit(input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure> {
        call.check()?;
        let origin = input.points[0];
        let mut a = [[0.0; 5]; 4];
        for p in input.points {
            let q: [f64; 3] = std::array::from_fn(|k| p[k] - origin[k]);
            let row = [2.0 * q[0], 2.0 * q[1], 2.0 * q[2], 1.0, q.iter().map(|x| x * x).sum()];
            for j in 0..4 {
                for k in 0..5 {
                    a[j][k] += row[j] * row[k];
                }
            }
        }
        let x = solved(a).ok_or_else(|| {
            Failure::undetermined("the points lie in a plane; scan more of the ball")
        })?;
        let radius = (x[3] + x[0] * x[0] + x[1] * x[1] + x[2] * x[2]).sqrt();
        let centre = std::array::from_fn(|k| origin[k] + x[k]);
        // What the host knows since 1.1; 0 from one that does not.
        let resolution = input.resolution.unwrap_or(0.0);
        Ok(ball(centre, radius).length("resolution", resolution))
    }
}

/// Lets the host fit.
struct HostedBall;

impl Fitter for HostedBall {
    const ID: &'static str = "test.hosted-ball";
    const TITLE: &'static str = "Ball, fitted by the host";
    const SHAPE: Shape = Shape::Sphere;
    const MINIMUM_POINTS: usize = 4;

    fn fit(input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure> {
        let fitted = call.fit(Shape::Sphere, input.points, input.normals, true)?;
        Ok(ball(fitted.point, fitted.size_1))
    }
}

fn ball(centre: [f64; 3], radius: f64) -> Answer {
    let piece = Piece { shape: SolidShape::Sphere { centre, radius }, extent: Extent::Whole };
    Answer::new().point("centre", centre).length("radius", radius).piece(piece)
}

/// Gauss's elimination of four equations.
fn solved(mut a: [[f64; 5]; 4]) -> Option<[f64; 4]> {
    let scale = a.iter().flatten().fold(0.0, |m: f64, x| m.max(x.abs()));
    for j in 0..4 {
        let best = (j..4).max_by(|p, q| a[*p][j].abs().total_cmp(&a[*q][j].abs()))?;
        a.swap(j, best);
        if a[j][j].abs() <= 1e-12 * scale {
            return None;
        }
        for i in (0..4).filter(|i| *i != j) {
            let factor = a[i][j] / a[j][j];
            let pivot = a[j];
            a[i].iter_mut().zip(pivot).for_each(|(x, p)| *x -= factor * p);
        }
    }
    Some(std::array::from_fn(|j| a[j][4] / a[j][j]))
}

fitwright_plugin::plugin!("test.balls", Ball, HostedBall);
