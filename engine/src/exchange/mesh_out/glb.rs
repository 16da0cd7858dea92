//! GLB: glTF 2.0 (ISO/IEC 12113) in one file.
//!
//! Single precision is counted from each body's middle, whose place is double in its node: 10 m from the
//! origin nothing is lost.

use serde_json::{Value, json};

use super::MeshBody;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Vec3};

pub(super) fn bytes(bodies: &[MeshBody<'_>]) -> Result<Vec<u8>> {
    let mut scene = Scene::default();
    for body in bodies {
        scene.add(body)?;
    }
    scene.file()
}

#[derive(Default)]
struct Scene {
    binary: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
    meshes: Vec<Value>,
    materials: Vec<Value>,
    nodes: Vec<Value>,
}

impl Scene {
    fn add(&mut self, body: &MeshBody<'_>) -> Result<()> {
        let middle = middle(body.points);
        let single = |p: &Point3| (p - middle).map(|x| x as f32);
        let (mut low, mut high) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
        let start = self.binary.len();
        for p in body.points {
            let local = single(p);
            if !local.iter().all(|x| x.is_finite()) {
                let field = format!("body \"{}\": point", body.name);
                return Err(Error::argument(field, p, "coordinates of single precision for GLB"));
            }
            for k in 0..3 {
                (low[k], high[k]) = (low[k].min(local[k]), high[k].max(local[k]));
                self.binary.extend_from_slice(&local[k].to_le_bytes());
            }
        }
        let position = self.accessor(start, VERTICES, json!({
            "componentType": 5126, "type": "VEC3", "count": body.points.len(), "min": low, "max": high,
        }));
        let mut primitive = json!({ "attributes": { "POSITION": position }, "mode": 0 });
        if !body.triangles.is_empty() {
            let start = self.binary.len();
            for id in body.triangles.as_flattened() {
                self.binary.extend_from_slice(&id.to_le_bytes());
            }
            let count = 3 * body.triangles.len();
            let indices = json!({ "componentType": 5125, "type": "SCALAR", "count": count });
            primitive["mode"] = json!(4);
            primitive["indices"] = self.accessor(start, CORNERS, indices).into();
        }
        if let Some(colour) = body.colour {
            primitive["material"] = self.materials.len().into();
            let [r, g, b] = colour.map(linear);
            self.materials.push(json!({
                // Scans are open: their back is seen too.
                "doubleSided": true,
                "name": body.name,
                "pbrMetallicRoughness": {
                    "baseColorFactor": [r, g, b, 1.0], "metallicFactor": 0.0, "roughnessFactor": 0.7,
                },
            }));
        }
        self.nodes.push(json!({
            "name": body.name, "mesh": self.meshes.len(), "translation": [middle.x, middle.y, middle.z],
        }));
        self.meshes.push(json!({ "name": body.name, "primitives": [primitive] }));
        match self.binary.len() as u64 {
            found if found > LARGEST => {
                Err(Error::Limit { what: "bytes of a GLB file".into(), found, limit: LARGEST })
            }
            _ => Ok(()),
        }
    }

    /// Bytes from `start` on as numbers; returns the accessor's place.
    fn accessor(&mut self, start: usize, target: u32, mut accessor: Value) -> usize {
        accessor["bufferView"] = self.views.len().into();
        let length = self.binary.len() - start;
        self.views.push(json!({
            "buffer": 0, "byteOffset": start, "byteLength": length, "target": target,
        }));
        self.accessors.push(accessor);
        self.accessors.len() - 1
    }

    fn file(mut self) -> Result<Vec<u8>> {
        let children: Vec<usize> = (0..self.nodes.len()).collect();
        let root = self.nodes.len();
        // Column by column: (x, y, z) mm become (x, z, -y) m.
        let m = 1e-3;
        let turned = [m, 0., 0., 0., 0., 0., -m, 0., 0., m, 0., 0., 0., 0., 0., 1.];
        self.nodes
            .push(json!({ "name": "millimetre, Z up", "matrix": turned, "children": children }));
        let mut gltf = json!({
            "asset": { "version": "2.0", "generator": concat!("fitwright ", env!("CARGO_PKG_VERSION")) },
            "scene": 0,
            "scenes": [{ "nodes": [root] }],
            "nodes": self.nodes,
            "meshes": self.meshes,
            "accessors": self.accessors,
            "bufferViews": self.views,
            "buffers": [{ "byteLength": self.binary.len() }],
        });
        // An empty list is not allowed.
        if !self.materials.is_empty() {
            gltf["materials"] = self.materials.into();
        }
        let mut text = serde_json::to_vec(&gltf).map_err(|e| Error::Internal(e.to_string()))?;
        text.resize(text.len().next_multiple_of(4), b' ');
        let total = 12 + 8 + text.len() + 8 + self.binary.len();
        let mut file = Vec::with_capacity(total);
        file.extend_from_slice(b"glTF");
        for word in [2, total as u32, text.len() as u32] {
            file.extend_from_slice(&word.to_le_bytes());
        }
        file.extend_from_slice(b"JSON");
        file.append(&mut text);
        file.extend_from_slice(&(self.binary.len() as u32).to_le_bytes());
        file.extend_from_slice(b"BIN\0");
        file.append(&mut self.binary);
        Ok(file)
    }
}

/// Middle of the box round the points in whole millimetres, so that taking it off rounds nothing near it.
fn middle(points: &[Point3]) -> Vec3 {
    let first = points.first().copied().unwrap_or_default();
    let ends = points.iter().fold((first, first), |(low, high), p| (low.inf(p), high.sup(p)));
    ((ends.0.coords + ends.1.coords) / 2.0).map(f64::round)
}

/// Linear light of an sRGB value (IEC 61966-2-1).
fn linear(value: u8) -> f64 {
    let v = f64::from(value) / 255.0;
    if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

const VERTICES: u32 = 34962;
const CORNERS: u32 = 34963;
/// The format counts bytes in 32 bits; room for the JSON is left.
const LARGEST: u64 = (u32::MAX as u64) - (1 << 24);
