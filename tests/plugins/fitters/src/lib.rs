//! Fitters that do what the tests of hosts need: a table, a call without end, a crash.

use std::time::{Duration, Instant};

use fitwright_plugin::{
    Answer, Call, Column, Extent, Failure, Fitter, Input, Opt, Piece, Shape, SolidShape, Sort, Unit,
};

/// The sphere of the points, a number of standard deviation 0.02 rad, and a table whose row `i` is `i`, 10 `i` mm, 0.1 `i` rad.
struct Rows;

impl Fitter for Rows {
    const ID: &'static str = "test.rows";
    const TITLE: &'static str = "Sphere with a table";
    const SHAPE: Shape = Shape::Composite("ball");
    const MINIMUM_POINTS: usize = 4;
    const OPTIONS: &'static [Opt] = &[
        Opt::whole("rows", "rows of the table", 3.0, (0.0, 100.0)),
        Opt::switch("loud", "whether to warn", false),
        Opt {
            name: "lean",
            description: "returned as it is",
            sort: Sort::Number,
            unit: Unit::Rad,
            standard: 0.25,
            least: -1.0,
            most: 1.0,
        },
    ];

    fn fit(input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure> {
        let ball = call.fit(Shape::Sphere, input.points, input.normals, true)?;
        if input.option("loud") == 1.0 {
            call.warn("as loud as asked");
        }
        let columns = [
            Column { name: "step", unit: Unit::None },
            Column { name: "feed", unit: Unit::Mm },
            Column { name: "turn", unit: Unit::Rad },
        ];
        let rows = 0..input.option("rows") as u32;
        let values = rows.flat_map(|i| [1.0, 10.0, 0.1].map(|x| x * f64::from(i)));
        let shape = SolidShape::Sphere { centre: ball.point, radius: ball.size_1 };
        Ok(Answer::new()
            .angle("lean", input.option("lean"))
            .table("steps", &columns, values.collect())
            .covariance(vec![0.0004])
            .piece(Piece { shape, extent: Extent::Whole })
            .note("a note of the plug-in"))
    }
}

/// Reports progress once and waits to be cancelled.
struct Waits;

impl Fitter for Waits {
    const ID: &'static str = "test.waits";
    const TITLE: &'static str = "Waits to be cancelled";
    const SHAPE: Shape = Shape::Sphere;
    const MINIMUM_POINTS: usize = 1;

    fn fit(_input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure> {
        call.progress(0.5)?;
        let end = Instant::now() + Duration::from_secs(120);
        while Instant::now() < end {
            call.check()?;
            std::thread::sleep(Duration::from_millis(1));
        }
        Err(Failure::not_converged("nobody cancelled"))
    }
}

/// Ends its process.
struct Crashes;

impl Fitter for Crashes {
    const ID: &'static str = "test.crashes";
    const TITLE: &'static str = "Ends its process";
    const SHAPE: Shape = Shape::Sphere;
    const MINIMUM_POINTS: usize = 1;

    fn fit(_input: &Input<'_>, _call: &Call<'_>) -> Result<Answer, Failure> {
        std::process::abort()
    }
}

fitwright_plugin::plugin!("test.fitters", Rows, Waits, Crashes);
