//! The JSON of a glTF file, as far as it says where points and triangles are.

use serde::Deserialize;

#[derive(Deserialize)]
pub(super) struct Gltf {
    #[serde(default)]
    pub(super) scene: Option<usize>,
    #[serde(default)]
    pub(super) scenes: Vec<Scene>,
    #[serde(default)]
    pub(super) nodes: Vec<Node>,
    #[serde(default)]
    pub(super) meshes: Vec<Mesh>,
    #[serde(default)]
    pub(super) accessors: Vec<Accessor>,
    #[serde(default, rename = "bufferViews")]
    pub(super) views: Vec<View>,
    #[serde(default)]
    pub(super) buffers: Vec<Buffer>,
    #[serde(default, rename = "extensionsRequired")]
    pub(super) extensions_required: Vec<String>,
}

#[derive(Deserialize)]
pub(super) struct Scene {
    #[serde(default)]
    pub(super) nodes: Vec<usize>,
}

#[derive(Deserialize)]
pub(super) struct Node {
    pub(super) mesh: Option<usize>,
    #[serde(default)]
    pub(super) children: Vec<usize>,
    /// Column by column.
    pub(super) matrix: Option<[f64; 16]>,
    #[serde(default)]
    pub(super) translation: [f64; 3],
    /// x, y, z, w.
    #[serde(default = "no_turn")]
    pub(super) rotation: [f64; 4],
    #[serde(default = "no_scale")]
    pub(super) scale: [f64; 3],
}

#[derive(Deserialize)]
pub(super) struct Mesh {
    pub(super) primitives: Vec<Primitive>,
}

#[derive(Deserialize)]
pub(super) struct Primitive {
    pub(super) attributes: Attributes,
    pub(super) indices: Option<usize>,
    #[serde(default = "triangles")]
    pub(super) mode: u32,
}

#[derive(Deserialize)]
pub(super) struct Attributes {
    #[serde(rename = "POSITION")]
    pub(super) position: Option<usize>,
}

#[derive(Deserialize)]
pub(super) struct Accessor {
    #[serde(rename = "bufferView")]
    pub(super) view: Option<usize>,
    #[serde(default, rename = "byteOffset")]
    pub(super) offset: u64,
    #[serde(rename = "componentType")]
    pub(super) component: u32,
    pub(super) count: u64,
    #[serde(rename = "type")]
    pub(super) kind: String,
    pub(super) sparse: Option<serde::de::IgnoredAny>,
}

#[derive(Deserialize)]
pub(super) struct View {
    pub(super) buffer: usize,
    #[serde(default, rename = "byteOffset")]
    pub(super) offset: u64,
    #[serde(rename = "byteLength")]
    pub(super) length: u64,
    #[serde(rename = "byteStride")]
    pub(super) stride: Option<u64>,
}

#[derive(Deserialize)]
pub(super) struct Buffer {
    pub(super) uri: Option<String>,
    #[serde(rename = "byteLength")]
    pub(super) length: u64,
}

fn no_turn() -> [f64; 4] {
    [0.0, 0.0, 0.0, 1.0]
}

fn no_scale() -> [f64; 3] {
    [1.0; 3]
}

fn triangles() -> u32 {
    4
}
