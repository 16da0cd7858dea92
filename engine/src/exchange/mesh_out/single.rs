//! Formats that hold one mesh: all bodies side by side.

use std::path::Path;

use super::MeshBody;
use crate::error::{Error, Result};
use crate::primitive::Point3;
use crate::scan::{Column, Precision, write_ply, write_stl_binary};

pub(super) fn ply(path: &Path, bodies: &[MeshBody<'_>]) -> Result<()> {
    let (points, triangles) = merged(bodies)?;
    if bodies.iter().all(|b| b.colour.is_none()) {
        return write_ply(path, &points, &triangles, &[], Precision::Double);
    }
    let channel = |k: usize| -> Vec<u8> {
        let of = |b: &MeshBody<'_>| vec![b.colour.unwrap_or(GREY)[k]; b.points.len()];
        bodies.iter().flat_map(of).collect()
    };
    let [red, green, blue] = [0, 1, 2].map(channel);
    let columns =
        [Column::Byte("red", &red), Column::Byte("green", &green), Column::Byte("blue", &blue)];
    write_ply(path, &points, &triangles, &columns, Precision::Double)
}

pub(super) fn stl(path: &Path, bodies: &[MeshBody<'_>]) -> Result<()> {
    let (points, triangles) = merged(bodies)?;
    write_stl_binary(path, &points, &triangles)
}

fn merged(bodies: &[MeshBody<'_>]) -> Result<(Vec<Point3>, Vec<[u32; 3]>)> {
    let count: u64 = bodies.iter().map(|b| b.points.len() as u64).sum();
    let limit = u64::from(u32::MAX);
    if count > limit {
        return Err(Error::Limit { what: "points of all bodies".into(), found: count, limit });
    }
    let (mut points, mut triangles) = (Vec::with_capacity(count as usize), Vec::new());
    for body in bodies {
        let first = points.len() as u32;
        points.extend_from_slice(body.points);
        triangles.extend(body.triangles.iter().map(|t| t.map(|id| id + first)));
    }
    Ok((points, triangles))
}

/// Of a body without a colour beside coloured ones.
const GREY: [u8; 3] = [160; 3];
