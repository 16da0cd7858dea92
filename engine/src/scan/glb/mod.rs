//! GLB (glTF 2.0, ISO/IEC 12113): triangles and points of the scene, in their nodes' places.
//!
//! The format's metres become millimetres, and its Y-up axes the Z-up ones of CAD: (x, y, z) is read as
//! (x, -z, y). Materials, textures, skins and animations are passed over; no file named inside is opened.
//! Nothing is allocated by a count that the file's own bytes do not bear out.

mod accessor;
mod json;

use nalgebra::{Matrix4, Quaternion, Rotation3, Translation3, UnitQuaternion};

use self::accessor::Accessors;
use self::json::{Gltf, Node, Primitive};
use super::read::Draft;
use super::source::Source;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Vec3};

/// Whether a file begins as GLB does.
pub(super) fn is_glb(head: &[u8]) -> bool {
    head.starts_with(b"glTF")
}

/// Reads all meshes of the scene as one.
pub(super) fn read(source: &Source) -> Result<Draft> {
    let (gltf, accessors) = Chunks::read(source)?.open(source)?;
    let mut content = Content { draft: Draft::mesh("GLB", Vec::new(), Vec::new()), passed: 0 };
    content.draft.is_mesh = false;
    for placed in placed_nodes(source, &gltf)? {
        let Some(mesh) = placed.node.mesh else { continue };
        let place = format!("nodes[{}].mesh", placed.index);
        let mesh = gltf.meshes.get(mesh).ok_or_else(|| {
            source.bad(&place, mesh.to_string(), format!("below {}", gltf.meshes.len()))
        })?;
        for (i, primitive) in mesh.primitives.iter().enumerate() {
            let place = format!("{place}.primitives[{i}]");
            content.add(source, &accessors, primitive, &placed.matrix, &place)?;
        }
    }
    let Content { mut draft, passed } = content;
    if passed > 0 {
        draft.notes.push(format!("{passed} line primitives passed over"));
    }
    draft.notes.push("metres with Y up, as GLB has them, taken to millimetres with Z up".into());
    Ok(draft)
}

/// Where the two chunks of a file lie, bytes.
struct Chunks {
    json: (u64, u64),
    binary: Option<(u64, u64)>,
}

impl Chunks {
    fn read(source: &Source) -> Result<Self> {
        let head = source.head(20)?;
        let word =
            |at: usize| head.get(at..at + 4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        let (Some(version), Some(total)) = (word(4), word(8)) else {
            return Err(source.bad("byte 0", "a cut header", "20 bytes"));
        };
        if version != 2 {
            return Err(source.bad("byte 4", format!("version {version}"), "version 2"));
        }
        if u64::from(total) > source.len {
            let found = format!("a length of {total} bytes in a file of {}", source.len);
            return Err(source.bad("byte 8", found, "the file's own length"));
        }
        let mut chunks = Chunks { json: (0, 0), binary: None };
        let mut at = 12u64;
        while at + 8 <= u64::from(total) {
            let mut header = [0; 8];
            source.read_at(at, &mut header)?;
            let [a, b, c, d, kind @ ..] = header;
            let length = u64::from(u32::from_le_bytes([a, b, c, d]));
            let start = at + 8;
            if start + length > u64::from(total) {
                let found = format!("a chunk of {length} bytes");
                return Err(source.bad(format!("byte {at}"), found, "a chunk within the file"));
            }
            match &kind {
                b"JSON" if at == 12 => chunks.json = (start, length),
                b"BIN\0" if chunks.binary.is_none() => chunks.binary = Some((start, length)),
                // Chunks of other kinds are to be passed over.
                _ => {}
            }
            at = start + length;
        }
        if chunks.json.1 == 0 {
            return Err(source.bad("byte 12", "no JSON chunk", "a JSON chunk first"));
        }
        Ok(chunks)
    }

    fn open<'s>(&self, source: &'s Source<'s>) -> Result<(Gltf, Accessors<'s>)> {
        let (at, length) = self.json;
        if length > LARGEST_JSON {
            let what = format!("{}: bytes of JSON", source.path.display());
            return Err(Error::Limit { what, found: length, limit: LARGEST_JSON });
        }
        let mut text = vec![0; length as usize];
        source.read_at(at, &mut text)?;
        let mut gltf: Gltf = serde_json::from_slice(&text)
            .map_err(|e| source.bad("JSON chunk", e.to_string(), "glTF 2.0"))?;
        if let Some(name) = gltf.extensions_required.iter().find(|e| !KNOWN.contains(&e.as_str())) {
            return Err(Error::Unsupported {
                path: source.path.to_owned(),
                place: "extensionsRequired".into(),
                what: format!("{name:?}"),
                remedy: "export without compression, or as PLY, STL or OBJ".into(),
            });
        }
        let accessors = Accessors::of(source, &mut gltf, self.binary)?;
        Ok((gltf, accessors))
    }
}

/// A node of the scene and where it is.
struct Placed<'a> {
    index: usize,
    node: &'a Node,
    matrix: Matrix4<f64>,
}

/// Nodes of the scene (of all roots if no scene is named), parents first.
fn placed_nodes<'a>(source: &Source, gltf: &'a Gltf) -> Result<Vec<Placed<'a>>> {
    let roots: Vec<usize> = match gltf.scenes.get(gltf.scene.unwrap_or(0)) {
        Some(scene) => scene.nodes.clone(),
        None => {
            let children: std::collections::BTreeSet<usize> =
                gltf.nodes.iter().flat_map(|n| n.children.iter().copied()).collect();
            (0..gltf.nodes.len()).filter(|i| !children.contains(i)).collect()
        }
    };
    let mut seen = vec![false; gltf.nodes.len()];
    let mut placed = Vec::new();
    let mut open: Vec<(usize, Matrix4<f64>)> =
        roots.into_iter().rev().map(|i| (i, machine())).collect();
    while let Some((index, parent)) = open.pop() {
        let place = || format!("nodes[{index}]");
        let Some(node) = gltf.nodes.get(index) else {
            return Err(source.bad(place(), "no such node", format!("below {}", gltf.nodes.len())));
        };
        // The format wants a forest: a node met again is a cycle or has two parents.
        if std::mem::replace(&mut seen[index], true) {
            return Err(source.bad(place(), "a node with two parents", "a tree of nodes"));
        }
        let matrix = parent * local(source, node, &place())?;
        open.extend(node.children.iter().rev().map(|&child| (child, matrix)));
        placed.push(Placed { index, node, matrix });
    }
    Ok(placed)
}

/// Millimetres with Z up from metres with Y up.
fn machine() -> Matrix4<f64> {
    let m = 1000.0;
    Matrix4::new(m, 0., 0., 0., 0., 0., -m, 0., 0., m, 0., 0., 0., 0., 0., 1.)
}

fn local(source: &Source, node: &Node, place: &str) -> Result<Matrix4<f64>> {
    let matrix = match &node.matrix {
        Some(m) => Matrix4::from_column_slice(m),
        None => {
            let [x, y, z, w] = node.rotation;
            let turn = UnitQuaternion::try_new(Quaternion::new(w, x, y, z), 1e-12)
                .ok_or_else(|| source.bad(format!("{place}.rotation"), "0", "a unit quaternion"))?;
            let turn: Rotation3<f64> = turn.into();
            Translation3::from(node.translation).to_homogeneous()
                * turn.to_homogeneous()
                * Matrix4::new_nonuniform_scaling(&Vec3::from(node.scale))
        }
    };
    let affine = matrix.row(3).iter().zip([0., 0., 0., 1.]).all(|(a, b)| *a == b);
    if affine && matrix.iter().all(|x| x.is_finite()) {
        return Ok(matrix);
    }
    Err(source.bad(
        place,
        "a transformation that is not affine",
        "finite numbers, last row 0 0 0 1",
    ))
}

struct Content {
    draft: Draft,
    /// Primitives of lines.
    passed: usize,
}

impl Content {
    fn add(
        &mut self,
        source: &Source,
        accessors: &Accessors<'_>,
        primitive: &Primitive,
        matrix: &Matrix4<f64>,
        place: &str,
    ) -> Result<()> {
        if matches!(primitive.mode, 1..=3) {
            self.passed += 1;
            return Ok(());
        }
        if primitive.mode > 6 {
            return Err(source.bad(place, format!("mode {}", primitive.mode), "0 to 6"));
        }
        let Some(position) = primitive.attributes.position else {
            return Err(source.bad(place, "no POSITION", "positions"));
        };
        let already = self.draft.points.len() as u64;
        let corners = accessors.positions(position, place, already)?;
        let first = self.draft.points.len() as u32;
        for (i, corner) in corners.iter().enumerate() {
            let moved = matrix.transform_point(&Point3::from(*corner));
            let point = source.point_mm(moved, || format!("{place}: position {i}"))?;
            self.draft.points.push(point);
        }
        if primitive.mode == 0 {
            return Ok(());
        }
        self.draft.is_mesh = true;
        let ids = match primitive.indices {
            Some(indices) => accessors.indices(indices, place, corners.len())?,
            None => (0..corners.len() as u32).collect(),
        };
        source.allow_triangles((self.draft.triangles.len() + ids.len() / 3) as u64)?;
        // A mirroring node turns the triangles inside out.
        let flipped = matrix.fixed_view::<3, 3>(0, 0).determinant() < 0.0;
        let mut add = |[a, b, c]: [u32; 3]| {
            let t = if flipped { [a, c, b] } else { [a, b, c] };
            self.draft.triangles.push(t.map(|id| id + first));
        };
        match primitive.mode {
            4 if !ids.len().is_multiple_of(3) => {
                let found = format!("{} corners", ids.len());
                return Err(source.bad(place, found, "three corners a triangle"));
            }
            4 => ids.as_chunks().0.iter().for_each(|t| add(*t)),
            5 => ids.windows(3).enumerate().for_each(|(i, w)| match i % 2 {
                0 => add([w[0], w[1], w[2]]),
                _ => add([w[1], w[0], w[2]]),
            }),
            _ => ids.windows(2).skip(1).for_each(|w| add([ids[0], w[0], w[1]])),
        }
        source.allow_triangles(self.draft.triangles.len() as u64)
    }
}

/// Extensions that say nothing about where points are.
const KNOWN: [&str; 4] = [
    "KHR_materials_unlit",
    "KHR_texture_transform",
    "KHR_lights_punctual",
    "KHR_materials_specular",
];
/// 256 MiB of JSON describe far more nodes than any scan has.
const LARGEST_JSON: u64 = 1 << 28;
