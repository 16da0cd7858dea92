//! Writing meshes: binary PLY with further columns, binary STL. A file appears complete or not at all.

use std::path::Path;

use crate::error::{Error, Result};
use crate::files::write_whole;
use crate::primitive::Point3;

/// Precision of the coordinates in a PLY file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Precision {
    /// 24 bits: about 1e-7 of the distance from the origin.
    Single,
    /// 53 bits.
    #[default]
    Double,
}

/// One number a point, besides its position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Column<'a> {
    /// Name and values, written as `float`.
    Single(&'a str, &'a [f32]),
    /// Name and values, written as `double`.
    Double(&'a str, &'a [f64]),
    /// Name and values, written as `uchar`: colours are `red`, `green`, `blue`.
    Byte(&'a str, &'a [u8]),
}

/// Writes a mesh, or points if there are no triangles, as binary little-endian PLY, mm.
///
/// # Errors
/// [`Error::Argument`] for a column of another length, a name that PLY cannot hold or that is taken, or an
/// id out of range; [`Error::Io`].
pub fn write_ply(
    path: impl AsRef<Path>,
    points: &[Point3],
    triangles: &[[u32; 3]],
    columns: &[Column],
    precision: Precision,
) -> Result<()> {
    check_ids(points, triangles)?;
    check_columns(points.len(), columns)?;
    let path = path.as_ref();
    write_whole(path, |out| {
        out.write_all(ply_header(points.len(), triangles.len(), columns, precision).as_bytes())?;
        for (i, p) in points.iter().enumerate() {
            for v in p.iter() {
                match precision {
                    Precision::Single => out.write_all(&(*v as f32).to_le_bytes())?,
                    Precision::Double => out.write_all(&v.to_le_bytes())?,
                }
            }
            for column in columns {
                match column {
                    Column::Single(_, values) => out.write_all(&values[i].to_le_bytes())?,
                    Column::Double(_, values) => out.write_all(&values[i].to_le_bytes())?,
                    Column::Byte(_, values) => out.write_all(&values[i..=i])?,
                }
            }
        }
        for t in triangles {
            out.write_all(&[3])?;
            t.iter().try_for_each(|id| out.write_all(&id.to_le_bytes()))?;
        }
        Ok(())
    })
}

/// Writes a mesh as binary STL, mm, coordinates rounded to single precision.
///
/// # Errors
/// [`Error::Argument`] for no triangles, more than `u32::MAX`, an id out of range, or a coordinate that single
/// precision cannot hold; [`Error::Io`].
pub fn write_stl_binary(
    path: impl AsRef<Path>,
    points: &[Point3],
    triangles: &[[u32; 3]],
) -> Result<()> {
    check_ids(points, triangles)?;
    let count = u32::try_from(triangles.len()).ok().filter(|n| *n > 0);
    let count = count
        .ok_or_else(|| Error::argument("triangles", triangles.len(), "1 to 4294967295 for STL"))?;
    let single = |p: &Point3| [p.x as f32, p.y as f32, p.z as f32];
    if let Some(p) = points.iter().find(|p| !single(p).iter().all(|v| v.is_finite())) {
        return Err(Error::argument("point", p, "coordinates of single precision for STL"));
    }
    write_whole(path.as_ref(), |out| {
        let mut header = [b' '; 80];
        header[..10].copy_from_slice(b"binary STL");
        out.write_all(&header)?;
        out.write_all(&count.to_le_bytes())?;
        for t in triangles {
            let [a, b, c] = t.map(|i| points[i as usize]);
            let normal = crate::primitive::unit((b - a).cross(&(c - a)));
            let normal = normal.map_or([0.0; 3], |n| [n.x as f32, n.y as f32, n.z as f32]);
            for v in [normal, single(&a), single(&b), single(&c)].as_flattened() {
                out.write_all(&v.to_le_bytes())?;
            }
            out.write_all(&[0, 0])?;
        }
        Ok(())
    })
}

fn ply_header(points: usize, triangles: usize, columns: &[Column], precision: Precision) -> String {
    let real = match precision {
        Precision::Single => "float",
        Precision::Double => "double",
    };
    let mut header = format!("ply\nformat binary_little_endian 1.0\nelement vertex {points}\n");
    for axis in ["x", "y", "z"] {
        header += &format!("property {real} {axis}\n");
    }
    for column in columns {
        header += &match column {
            Column::Single(name, _) => format!("property float {name}\n"),
            Column::Double(name, _) => format!("property double {name}\n"),
            Column::Byte(name, _) => format!("property uchar {name}\n"),
        };
    }
    if triangles > 0 {
        header += &format!("element face {triangles}\nproperty list uchar uint vertex_indices\n");
    }
    header + "end_header\n"
}

fn check_ids(points: &[Point3], triangles: &[[u32; 3]]) -> Result<()> {
    match triangles.as_flattened().iter().find(|id| **id as usize >= points.len()) {
        None => Ok(()),
        Some(id) => Err(Error::argument("triangles", id, format!("ids below {}", points.len()))),
    }
}

fn check_columns(points: usize, columns: &[Column]) -> Result<()> {
    let mut taken = vec!["x", "y", "z"];
    for column in columns {
        let (name, len) = match column {
            Column::Single(name, values) => (*name, values.len()),
            Column::Double(name, values) => (*name, values.len()),
            Column::Byte(name, values) => (*name, values.len()),
        };
        if len != points {
            return Err(Error::argument(
                format!("column {name}"),
                format!("{len} values"),
                format!("{points}, one a point"),
            ));
        }
        if name.is_empty() || !name.bytes().all(|b| b.is_ascii_graphic()) || taken.contains(&name) {
            return Err(Error::argument(
                "column name",
                name,
                "printable ASCII without blanks, each once, not x, y or z",
            ));
        }
        taken.push(name);
    }
    Ok(())
}
