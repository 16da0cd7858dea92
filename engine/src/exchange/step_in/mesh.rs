//! A solid's mesh: edges divided once, faces triangulated between them, shells turned outwards.

use rayon::prelude::*;

use super::face::{MOST_POINTS_OF_A_FACE, Plan};
use super::file::StepFile;
use super::net::Net;
use super::topology::{Brep, Face};
use super::triangulate::{FaceMesh, Trouble};
use crate::error::{Error, Result};
use crate::primitive::Point3;

/// Closed mesh of one solid in its own coordinates, mm.
#[derive(Debug, Default)]
pub(super) struct SolidMesh {
    pub points: Vec<Point3>,
    pub triangles: Vec<[u32; 3]>,
    /// Face of each triangle, index into the solid's faces.
    pub face_of_triangle: Vec<u32>,
    /// Whether each face's outside is on the side of its surface's own normal.
    pub outward: Vec<bool>,
    /// Largest distance found from the exact surfaces, mm.
    pub worst: f64,
    pub notes: Vec<String>,
}

/// Meshes a solid to a chord error, mm.
pub(super) fn mesh(file: &StepFile<'_>, brep: &Brep, error: f64) -> Result<SolidMesh> {
    // Half for each direction of a face that is curved both ways.
    let mut errors = vec![0.5 * error; brep.edges.len()];
    for attempt in 0.. {
        let mut net = Net::new(file, brep, &errors)?;
        let mut plans = Vec::with_capacity(brep.faces.len());
        for face in &brep.faces {
            plans.push(Plan::new(face, brep, &mut net, 0.5 * error)?);
        }
        let meshed: Vec<std::result::Result<FaceMesh, Trouble>> = brep
            .faces
            .par_iter()
            .zip(plans)
            .map(|(face, plan)| plan?.mesh(face, brep, &net, error))
            .collect();
        let mut crossing = Vec::new();
        let points: usize = meshed.iter().flatten().map(|face| face.own.len()).sum();
        let again = attempt < MOST_ATTEMPTS && points < MOST_POINTS_TO_REPEAT;
        for (face, result) in brep.faces.iter().zip(&meshed) {
            match result {
                Err(Trouble::Crossing) if again => crossing.push(face),
                Err(trouble) => return Err(explain(file, face, *trouble)),
                Ok(_) => (),
            }
        }
        if crossing.is_empty() {
            return gather(brep, net, meshed.into_iter().flatten().collect());
        }
        // Bounds nearer to each other than the chord error need finer polygons.
        for u in crossing.iter().flat_map(|face| face.loops.iter().flatten()) {
            errors[u.edge] *= 0.25;
        }
    }
    Err(Error::Internal("the attempts at a mesh ended".into()))
}

fn gather(brep: &Brep, net: Net, faces: Vec<FaceMesh>) -> Result<SolidMesh> {
    let mut mesh = SolidMesh {
        outward: brep.faces.iter().map(|f| f.outward).collect(),
        ..SolidMesh::default()
    };
    let shared = net.points.len();
    mesh.points = net.points;
    for (index, face) in faces.into_iter().enumerate() {
        let count = mesh.triangles.len() + face.triangles.len();
        if count > MOST_TRIANGLES {
            return Err(Error::Limit {
                what: "triangles of a solid".into(),
                found: count as u64,
                limit: MOST_TRIANGLES as u64,
            });
        }
        let own = (mesh.points.len() - shared) as u32;
        mesh.points.extend(face.own);
        let renumber = |p: u32| if (p as usize) < shared { p } else { p + own };
        for [a, b, c] in face.triangles {
            let [a, b, c] = [a, b, c].map(renumber);
            mesh.triangles.push(if brep.faces[index].outward { [a, b, c] } else { [a, c, b] });
            mesh.face_of_triangle.push(index as u32);
        }
        mesh.worst = mesh.worst.max(face.worst);
    }
    if net.gap > GAP_WORTH_A_NOTE {
        mesh.notes.push(format!("vertices lie up to {:.2e} mm off their edges", net.gap));
    }
    split_doubled(&mut mesh);
    turn_outwards(brep, &mut mesh);
    drop_unused(&mut mesh);
    Ok(mesh)
}

/// Divides sides between the same two points that two faces made, each in its own inside: they
/// would be one edge of four triangles. Happens where an edge is short against the chord error.
fn split_doubled(mesh: &mut SolidMesh) {
    // A triangle is divided once a round: its other sides wait for the next.
    for _ in 0..MOST_ROUNDS {
        let doubled = doubled_sides(mesh);
        if doubled.is_empty() {
            return;
        }
        let mut touched = std::collections::HashSet::new();
        for (p, q, triangles) in doubled {
            if triangles.iter().any(|t| touched.contains(t)) {
                continue;
            }
            touched.extend(triangles);
            let middle = nalgebra::center(&mesh.points[p as usize], &mesh.points[q as usize]);
            let added = mesh.points.len() as u32;
            mesh.points.push(middle);
            for index in triangles {
                let triangle = mesh.triangles[index];
                mesh.triangles[index] = triangle.map(|t| if t == p { added } else { t });
                mesh.triangles.push(triangle.map(|t| if t == q { added } else { t }));
                mesh.face_of_triangle.push(mesh.face_of_triangle[index]);
            }
        }
    }
}

/// Inner sides that join two points already joined by another face, with their two triangles.
fn doubled_sides(mesh: &SolidMesh) -> Vec<(u32, u32, [usize; 2])> {
    let mut sides: Vec<(u32, u32, u32, usize)> = Vec::with_capacity(3 * mesh.triangles.len());
    for (index, [a, b, c]) in mesh.triangles.iter().enumerate() {
        for (p, q) in [(*a, *b), (*b, *c), (*c, *a)] {
            sides.push((p.min(q), p.max(q), mesh.face_of_triangle[index], index));
        }
    }
    sides.sort_unstable();
    let mut doubled = Vec::new();
    for run in sides.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)).filter(|run| run.len() > 2) {
        // The first two of the run may keep the edge, be they of one face or of two.
        let first_is_inner = run[0].2 == run[1].2;
        let pairs = run.chunk_by(|a, b| a.2 == b.2).filter(|of_face| of_face.len() == 2);
        for pair in pairs.skip(usize::from(first_is_inner)) {
            doubled.push((run[0].0, run[0].1, [pair[0].3, pair[1].3]));
        }
    }
    doubled
}

/// The outer shell encloses a positive volume, the voids a negative one.
fn turn_outwards(brep: &Brep, mesh: &mut SolidMesh) {
    for (shell, first) in brep.shells.iter().enumerate() {
        let last = brep.shells.get(shell + 1).copied().unwrap_or(brep.faces.len());
        let within = |t: usize| (*first..last).contains(&(mesh.face_of_triangle[t] as usize));
        let origin = mesh.points.first().copied().unwrap_or_default();
        let volume: f64 = (0..mesh.triangles.len())
            .filter(|t| within(*t))
            .map(|t| {
                let [a, b, c] = mesh.triangles[t].map(|p| mesh.points[p as usize] - origin);
                a.dot(&b.cross(&c))
            })
            .sum();
        if (volume < 0.0) == (shell == 0) && volume != 0.0 {
            let turned: Vec<usize> = (0..mesh.triangles.len()).filter(|t| within(*t)).collect();
            turned.into_iter().for_each(|t| mesh.triangles[t].swap(1, 2));
            mesh.outward[*first..last].iter_mut().for_each(|o| *o = !*o);
            mesh.notes.push("a shell was inside out and was turned".into());
        }
    }
}

/// Drops points that no triangle uses: those of seams.
fn drop_unused(mesh: &mut SolidMesh) {
    let mut number = vec![u32::MAX; mesh.points.len()];
    let mut kept = Vec::with_capacity(mesh.points.len());
    for corner in mesh.triangles.iter_mut().flatten() {
        let slot = &mut number[*corner as usize];
        if *slot == u32::MAX {
            *slot = kept.len() as u32;
            kept.push(mesh.points[*corner as usize]);
        }
        *corner = *slot;
    }
    mesh.points = kept;
}

fn explain(file: &StepFile<'_>, face: &Face, trouble: Trouble) -> Error {
    let found = match trouble {
        Trouble::Crossing => "bounds that cross or touch each other".to_owned(),
        Trouble::Shape(reason) => format!("a face whose shape is unclear: {reason}"),
        Trouble::TooMany(found) => {
            let what = format!("points on the face {}", file.place(face.id, face.name));
            return Error::Limit { what, found, limit: MOST_POINTS_OF_A_FACE as u64 };
        }
    };
    Error::format(file.path(), file.place(face.id, face.name), found, ALLOWED)
}

const ALLOWED: &str =
    "bounds that enclose the face once, on their left; or export a mesh (STL, PLY or OBJ) instead";
const MOST_ROUNDS: usize = 8;
const MOST_ATTEMPTS: usize = 4;
/// A solid that takes more is not tried again: its bounds cross for another reason than the chords.
const MOST_POINTS_TO_REPEAT: usize = 300_000;
const MOST_TRIANGLES: usize = 20_000_000;
/// What CAD kernels call coincident is usually 1e-7 mm, at worst about this.
const GAP_WORTH_A_NOTE: f64 = 1e-4;
