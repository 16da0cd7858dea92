//! Wavefront OBJ: one object a body; shortest digits that give the same number back.

use std::path::Path;

use super::MeshBody;
use crate::error::Result;
use crate::files::write_whole;

pub(super) fn write(path: &Path, bodies: &[MeshBody<'_>]) -> Result<()> {
    write_whole(path, |out| {
        writeln!(out, "# fitwright {}, millimetre", env!("CARGO_PKG_VERSION"))?;
        // Corners count through the whole file, from 1.
        let mut first = 1u64;
        for body in bodies {
            writeln!(out, "o {}", one_line(body.name))?;
            let colour = body.colour.map(|c| c.map(|x| f64::from(x) / 255.0));
            for p in body.points {
                write!(out, "v {} {} {}", p.x, p.y, p.z)?;
                if let Some([r, g, b]) = colour {
                    write!(out, " {r:.4} {g:.4} {b:.4}")?;
                }
                out.write_all(b"\n")?;
            }
            for t in body.triangles {
                let [a, b, c] = t.map(|id| first + u64::from(id));
                writeln!(out, "f {a} {b} {c}")?;
            }
            // Without faces the points would belong to nothing.
            if body.triangles.is_empty() {
                (0..body.points.len() as u64).try_for_each(|i| writeln!(out, "p {}", first + i))?;
            }
            first += body.points.len() as u64;
        }
        Ok(())
    })
}

/// The format has no way to write an end of line in a name, and a backslash joins lines.
fn one_line(name: &str) -> String {
    name.chars().map(|c| if c.is_control() || c == '\\' { '_' } else { c }).collect()
}
