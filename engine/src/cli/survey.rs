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
    let named = named_from(out, file)?;
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

/// The scan as a job in a folder is to name it: by the way up and down where it lies beside or in the folder,
/// so that both can be moved together, else by its whole path.
fn named_from(folder: &Path, file: &Path) -> Result<String> {
    let whole = |path: &Path| std::path::absolute(path).map_err(|e| Error::io(path, &e));
    let (folder, file) = (whole(folder)?, whole(file)?);
    let beside = folder.parent().and_then(|up| file.strip_prefix(up).ok());
    let named = match (file.strip_prefix(&folder), beside) {
        (Ok(inside), _) => inside.to_owned(),
        (_, Some(beside)) => Path::new("..").join(beside),
        _ => file.clone(),
    };
    Ok(named.to_string_lossy().into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scan_beside_the_folder_is_named_by_the_way_to_it() -> Result<()> {
        let named = |folder: &str, file: &str| named_from(Path::new(folder), Path::new(file));
        assert_eq!(named("a/mill.survey", "a/mill.ply")?, "../mill.ply");
        assert_eq!(named("a", "a/mill.ply")?, "mill.ply");
        assert_eq!(named("a/out", "a/b/mill.ply")?, "../b/mill.ply");
        let far = named("/a/b/out", "/c/mill.ply")?;
        assert_eq!(Path::new(&far), std::path::absolute("/c/mill.ply").expect("a path"));
        Ok(())
    }
}
