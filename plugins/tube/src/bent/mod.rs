//! Bent tube.

use fitwright_plugin::{Answer, Call, Failure, Fitter, Input, Shape};

/// `fitwright.bent-tube`.
#[derive(Debug)]
pub struct BentTube;

impl Fitter for BentTube {
    const ID: &'static str = "fitwright.bent-tube";
    const TITLE: &'static str = "Bent tube";
    const SHAPE: Shape = Shape::Composite("bent tube");
    const MINIMUM_POINTS: usize = 200;

    fn fit(_input: &Input<'_>, _call: &Call<'_>) -> Result<Answer, Failure> {
        todo!()
    }
}
