//! E57 (ASTM E2807): the points of all scans of the file, in their poses, by the crate of that name.
//!
//! The format's metres become millimetres. Points that the scanner marked invalid are left out and counted.

use e57::{CartesianCoordinate, E57Reader};

use super::read::Draft;
use super::source::Source;
use crate::error::{Error, Result};
use crate::primitive::Point3;

/// Whether a file begins as E57 does.
pub(super) fn is_e57(head: &[u8]) -> bool {
    head.starts_with(b"ASTM-E57")
}

/// Reads the points of all scans of the file.
pub(super) fn read(source: &Source) -> Result<Draft> {
    let bad =
        |place: &str, e: &e57::Error| source.bad(place, e.to_string(), "E57 as in ASTM E2807");
    let mut reader = E57Reader::new(source.file()?).map_err(|e| bad("header", &e))?;
    let clouds = reader.pointclouds();
    let counts = clouds.iter().map(|c| c.records);
    let count = counts.fold(0u64, u64::saturating_add);
    source.allow_points(count)?;
    // Coordinates of no bits are points without end in no bytes.
    let most = source.len.saturating_mul(8);
    if count > most {
        let what = format!("{}: points in so many bytes", source.path.display());
        return Err(Error::Limit { what, found: count, limit: most });
    }
    let mut draft = Draft::mesh("E57", Vec::new(), Vec::new());
    draft.is_mesh = false;
    let mut invalid = 0u64;
    for (i, cloud) in clouds.iter().enumerate() {
        let place = format!("scan {i}");
        let mut points = reader.pointcloud_simple(cloud).map_err(|e| bad(&place, &e))?;
        points.spherical_to_cartesian(true);
        points.apply_pose(true);
        for (k, point) in points.enumerate() {
            if k % CHECK_EVERY == 0 {
                source.check()?;
            }
            match point.map_err(|e| bad(&place, &e))?.cartesian {
                CartesianCoordinate::Valid { x, y, z } => {
                    let p = Point3::new(x, y, z) * 1000.0;
                    draft.points.push(source.point_mm(p, || format!("{place}, point {k}"))?);
                }
                _ => invalid += 1,
            }
        }
    }
    if invalid > 0 {
        draft.notes.push(format!("{invalid} points without a valid position left out"));
    }
    if clouds.len() > 1 {
        draft.notes.push(format!("{} scans of the file as one, each in its pose", clouds.len()));
    }
    Ok(draft)
}

const CHECK_EVERY: usize = 1 << 16;
