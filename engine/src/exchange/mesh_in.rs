//! A part from a bare triangle mesh.

use std::path::Path;

use super::closed::count_shells;
use super::part::Part;
use crate::error::{Error, Result};
use crate::primitive::Point3;

impl Part {
    /// A part from a mesh whose corners are shared by index, mm in machine coordinates; `schema`
    /// is the mesh format (`STL`, `PLY`, `OBJ`).
    ///
    /// Triangles that name a corner twice are left out with a note; cracks stay as they are and
    /// show in [`Part::closed`]. A mesh that is inside out as a whole is turned, with a note.
    ///
    /// # Errors
    /// [`Error::Format`] for an index past the points, a coordinate that is not finite, or no
    /// triangle at all.
    pub fn from_mesh(
        points: Vec<Point3>,
        triangles: Vec<[u32; 3]>,
        file: impl AsRef<Path>,
        schema: &str,
    ) -> Result<Part> {
        let file = file.as_ref();
        if let Some(at) = points.iter().position(|p| !p.coords.iter().all(|x| x.is_finite())) {
            return Err(Error::format(
                file,
                format!("point {at}"),
                "a coordinate that is not finite",
                "finite numbers",
            ));
        }
        let limit = points.len();
        if let Some(at) = triangles.iter().position(|t| t.iter().any(|p| *p as usize >= limit)) {
            let found = format!("corners {:?}", triangles[at]);
            return Err(Error::format(
                file,
                format!("triangle {at}"),
                found,
                format!("indices below {limit}"),
            ));
        }
        let given = triangles.len();
        let triangles: Vec<[u32; 3]> = triangles
            .into_iter()
            .filter(|t| t[0] != t[1] && t[1] != t[2] && t[2] != t[0])
            .collect();
        if triangles.is_empty() {
            return Err(Error::format(
                file,
                "mesh",
                "no triangle with three corners",
                "at least one",
            ));
        }
        let mut notes = Vec::new();
        if triangles.len() < given {
            notes.push(format!("{} degenerate triangles left out", given - triangles.len()));
        }
        let mut part = Part {
            file: file.to_owned(),
            points,
            triangles,
            face_of_triangle: Vec::new(),
            faces: Vec::new(),
            holes: Vec::new(),
            schema: schema.to_owned(),
            solids: 0,
            chord_error: 0.0,
            notes,
        };
        part.solids = count_shells(&part);
        if part.volume() < 0.0 {
            part.triangles.iter_mut().for_each(|t| t.swap(1, 2));
            part.notes.push("the mesh was inside out and was turned".into());
        }
        Ok(part)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Axis-parallel box: corners numbered by the bits x, y, z.
    fn cuboid(low: [f64; 3], high: [f64; 3]) -> (Vec<Point3>, Vec<[u32; 3]>) {
        let points = (0..8)
            .map(|i| {
                let pick = |axis: usize| if i >> axis & 1 == 1 { high[axis] } else { low[axis] };
                Point3::new(pick(0), pick(1), pick(2))
            })
            .collect();
        let sides =
            [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
        (points, sides.iter().flat_map(|[a, b, c, d]| [[*a, *b, *c], [*a, *c, *d]]).collect())
    }

    #[test]
    fn a_box_far_out_has_its_volume_area_and_box() -> Result<()> {
        let (points, triangles) = cuboid([1e6, 0.0, -2.0], [1e6 + 4.0, 3.0, 0.0]);
        let part = Part::from_mesh(points, triangles, "box.stl", "STL")?;
        part.closed()?;
        assert_eq!((part.solids, part.volume(), part.area()), (1, 24.0, 52.0));
        let expected = (Point3::new(1e6, 0.0, -2.0), Point3::new(1e6 + 4.0, 3.0, 0.0));
        assert_eq!(part.bounding_box(), Some(expected));
        Ok(())
    }

    #[test]
    fn an_inside_out_mesh_is_turned_and_two_shells_are_counted() -> Result<()> {
        let (mut points, mut triangles) = cuboid([0.0; 3], [1.0; 3]);
        let (more, again) = cuboid([5.0; 3], [6.0; 3]);
        points.extend(more);
        triangles.extend(again.iter().map(|t| t.map(|p| p + 8)));
        triangles.iter_mut().for_each(|t| t.swap(0, 1));
        let part = Part::from_mesh(points, triangles, "two.ply", "PLY")?;
        part.closed()?;
        assert_eq!((part.solids, part.volume()), (2, 2.0));
        assert_eq!(part.notes.len(), 1);
        Ok(())
    }

    #[test]
    fn a_crack_and_a_turned_triangle_are_open_where_they_are() -> Result<()> {
        let (points, mut triangles) = cuboid([0.0; 3], [2.0; 3]);
        // The side z = 0 loses one triangle: three open edges about it.
        let lost = triangles.remove(0);
        assert_eq!(lost, [0, 2, 3]);
        let part = Part::from_mesh(points.clone(), triangles.clone(), "box.obj", "OBJ")?;
        assert_eq!(part.solids, 0);
        let found = part.closed();
        assert!(
            matches!(&found, Err(Error::OpenPart { open_edges: 3, at, .. }) if at[2] == 0.0),
            "{found:?}"
        );
        triangles.insert(0, [0, 3, 2]);
        let part = Part::from_mesh(points, triangles, "box.obj", "OBJ")?;
        assert!(matches!(part.closed(), Err(Error::OpenPart { open_edges: 3, .. })));
        Ok(())
    }

    #[test]
    fn bad_meshes_are_refused_with_the_place() -> Result<()> {
        let (points, triangles) = cuboid([0.0; 3], [1.0; 3]);
        let mut broken = points.clone();
        broken[5].y = f64::NAN;
        let message =
            |outcome: Result<Part>| outcome.err().map(|e| e.to_string()).unwrap_or_default();
        let nan = message(Part::from_mesh(broken, triangles.clone(), "a.stl", "STL"));
        assert!(nan.contains("point 5"), "{nan}");
        let past = message(Part::from_mesh(points.clone(), vec![[0, 1, 8]], "a.stl", "STL"));
        assert!(past.contains("triangle 0") && past.contains("below 8"), "{past}");
        assert!(
            !message(Part::from_mesh(points.clone(), vec![[1, 1, 2]], "a.stl", "STL")).is_empty()
        );
        let mut doubled = triangles;
        doubled.push([3, 3, 4]);
        let part = Part::from_mesh(points, doubled, "a.stl", "STL")?;
        part.closed()?;
        assert_eq!(part.notes, ["1 degenerate triangles left out"]);
        Ok(())
    }
}
