// From the page's two data elements to arrays of whole numbers.

function fromBase64(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const bytes = atob(text);
  return Uint8Array.from({ length: bytes.length }, (_, i) => bytes.charCodeAt(i));
}

async function inflate(bytes, expected) {
  let raw;
  try {
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('deflate'));
    raw = new Uint8Array(await new Response(stream).arrayBuffer());
  } catch {
    throw new Error('its data is damaged');
  }
  if (raw.length !== expected) throw new Error('its data is incomplete');
  return raw;
}

// Four planes of bytes, differences to the number a stride before, folded: see scene/pack.rs.
async function unpack(scene, text) {
  const total = scene.arrays.reduce((sum, [count]) => sum + 4 * count, 0);
  let bytes;
  try {
    bytes = fromBase64(text.trim());
  } catch {
    throw new Error('its data is damaged');
  }
  const raw = await inflate(bytes, total);
  let from = 0;
  return scene.arrays.map(([count, stride]) => {
    const out = new Int32Array(count);
    for (let i = 0, a = from; i < count; i++, a++) {
      const n = raw[a] | raw[a + count] << 8 | raw[a + 2 * count] << 16 | raw[a + 3 * count] << 24;
      out[i] = (i < stride ? 0 : out[i - stride]) + (n >>> 1 ^ -(n & 1));
    }
    from += 4 * count;
    return out;
  });
}

// Places are kept from the middle of the scene: single precision is enough there.
function surfaceOf(mesh, arrays, step) {
  const places = Float32Array.from(arrays[mesh.places], (n) => n * step);
  const corners = new Uint32Array(arrays[mesh.triangles]);
  const surface = { ...mesh, places, corners, values: null, labels: null, boxes: boxesOf(places, corners) };
  if (mesh.values) {
    surface.scale = mesh.values[1];
    surface.values = Float32Array.from(arrays[mesh.values[0]], (n) => n === -2147483648 ? 1e9 : n / 1000);
  }
  if (mesh.labels != null) surface.labels = arrays[mesh.labels];
  if (!['part', 'other'].includes(mesh.kind)) surface.normals = normalsOf(places, corners);
  return surface;
}

// Two places for each segment; a line of one point is a segment without length.
function segmentsOf(lines, arrays, step) {
  const places = arrays[lines.places];
  const out = [];
  let at = 0;
  const point = (k) => out.push(places[3 * k] * step, places[3 * k + 1] * step, places[3 * k + 2] * step);
  for (const count of arrays[lines.counts]) {
    if (count === 1) { point(at); point(at); }
    for (let k = at; k + 1 < at + count; k++) { point(k); point(k + 1); }
    at += count;
  }
  return Float32Array.from(out);
}

// A box about each run of consecutive triangles, which lie together.
const RUN = 128;
function boxesOf(places, corners) {
  const runs = Math.ceil(corners.length / 3 / RUN);
  const boxes = new Float32Array(6 * runs);
  for (let r = 0; r < runs; r++) {
    const box = [Infinity, Infinity, Infinity, -Infinity, -Infinity, -Infinity];
    const end = Math.min(corners.length, 3 * RUN * (r + 1));
    for (let c = 3 * RUN * r; c < end; c++) {
      for (let k = 0; k < 3; k++) {
        const v = places[3 * corners[c] + k];
        if (v < box[k]) box[k] = v;
        if (v > box[k + 3]) box[k + 3] = v;
      }
    }
    boxes.set(box, 6 * r);
  }
  return boxes;
}

// Normals weighted by area, then twice averaged over triangles: noise in the shading hides the shape. Numbers one by
// one, without vectors: this is most of what a page does before its first picture.
function normalsOf(places, corners) {
  let normals = new Float32Array(places.length);
  for (let t = 0; t < corners.length; t += 3) {
    const a = 3 * corners[t], b = 3 * corners[t + 1], c = 3 * corners[t + 2];
    const ux = places[b] - places[a], uy = places[b + 1] - places[a + 1], uz = places[b + 2] - places[a + 2];
    const vx = places[c] - places[a], vy = places[c + 1] - places[a + 1], vz = places[c + 2] - places[a + 2];
    give(normals, a, b, c, uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx);
  }
  toLength(normals, 1);
  for (let pass = 0; pass < 2; pass++) {
    const n = normals;
    normals = new Float32Array(n.length);
    for (let t = 0; t < corners.length; t += 3) {
      const a = 3 * corners[t], b = 3 * corners[t + 1], c = 3 * corners[t + 2];
      give(normals, a, b, c, n[a] + n[b] + n[c], n[a + 1] + n[b + 1] + n[c + 1], n[a + 2] + n[b + 2] + n[c + 2]);
    }
    toLength(normals, pass ? 127 : 1);
  }
  // A fourth byte each: the card wants them in fours.
  const bytes = new Int8Array(normals.length / 3 * 4);
  for (let i = 0, to = 0; i < normals.length; i++, to += i % 3 ? 1 : 2) bytes[to] = Math.round(normals[i]);
  return bytes;
}

function add(sums, at, x, y, z) {
  sums[at] += x;
  sums[at + 1] += y;
  sums[at + 2] += z;
}

// The same to each corner of a triangle.
function give(sums, a, b, c, x, y, z) {
  add(sums, a, x, y, z);
  add(sums, b, x, y, z);
  add(sums, c, x, y, z);
}

function toLength(vectors, length) {
  for (let i = 0; i < vectors.length; i += 3) {
    const by = length / (Math.sqrt(vectors[i] ** 2 + vectors[i + 1] ** 2 + vectors[i + 2] ** 2) || 1);
    for (let k = i; k < i + 3; k++) vectors[k] *= by;
  }
}
