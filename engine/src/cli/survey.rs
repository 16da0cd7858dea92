//! `fitwright survey`: every primitive of a scan, so that a person only chooses.

use std::path::Path;

use super::print;
use crate::context::Context;
use crate::error::{Error, Result};
use crate::job::SurveyFiles;
use crate::report;
use crate::scan::{ReadOptions, Scan};
use crate::survey::{Survey, SurveyOptions};
use crate::units::LengthUnit;

/// Surveys a scan, writes its files, prints the table.
pub(super) fn run(
    file: &Path,
    out: &Path,
    unit: &str,
    smallest: Option<f64>,
    context: &Context,
) -> Result<u8> {
    let unit = LengthUnit::parse(unit)?;
    let scan = Scan::read_with(file, unit, &ReadOptions::default(), context)?;
    let options = SurveyOptions { smallest, context: Some(context.clone()) };
    let survey = Survey::of(&scan, &options)?;
    let title = file.file_name().map_or_else(|| "scan".into(), |n| n.to_string_lossy());
    let page = context.run(|| report::survey_html(&survey, &title))?;
    // The starter job names the scan as seen from where it lies.
    let absolute = std::path::absolute(file).map_err(|e| Error::io(file, &e))?;
    let folder = std::path::absolute(out).map_err(|e| Error::io(out, &e))?;
    let named = match absolute.parent() == Some(folder.as_path()) {
        true => title.clone().into_owned(),
        false => absolute.to_string_lossy().into_owned(),
    };
    let files = SurveyFiles { survey: &survey, scan_file: &named, unit };
    let written = context.run(|| files.write(out, &page))?;
    let mut text = report::survey_summary(&survey);
    text.push_str("\nwritten:\n");
    for path in written {
        text.push_str(&format!("  {}\n", path.display()));
    }
    print(&text)?;
    Ok(0)
}
