// What lies under a pixel: rays against triangles, run by run. Nothing is read back from the card, which would wait.

// How far along the ray a box is met; Infinity if not.
function meets(boxes, at, from, inverse) {
  let low = 0, high = Infinity;
  for (let k = 0; k < 3; k++) {
    const a = (boxes[at + k] - from[k]) * inverse[k], b = (boxes[at + k + 3] - from[k]) * inverse[k];
    // A ray within a side's plane gives no number: it may meet.
    const near = Math.min(a, b), far = Math.max(a, b);
    if (near > low) low = near;
    if (far < high) high = far;
  }
  return low <= high * (1 + 1e-12) + 1e-9 ? low : Infinity;
}

// Distance along the ray to a triangle; Infinity if it passes by (Möller, Trumbore, 1997).
function strike(p, a, b, c, from, along) {
  const ux = p[b] - p[a], uy = p[b + 1] - p[a + 1], uz = p[b + 2] - p[a + 2];
  const vx = p[c] - p[a], vy = p[c + 1] - p[a + 1], vz = p[c + 2] - p[a + 2];
  const qx = along[1] * vz - along[2] * vy, qy = along[2] * vx - along[0] * vz, qz = along[0] * vy - along[1] * vx;
  const det = ux * qx + uy * qy + uz * qz;
  if (Math.abs(det) < 1e-14) return Infinity;
  const sx = from[0] - p[a], sy = from[1] - p[a + 1], sz = from[2] - p[a + 2];
  const u = (sx * qx + sy * qy + sz * qz) / det;
  if (u < 0 || u > 1) return Infinity;
  const rx = sy * uz - sz * uy, ry = sz * ux - sx * uz, rz = sx * uy - sy * ux;
  const v = (along[0] * rx + along[1] * ry + along[2] * rz) / det;
  if (v < 0 || u + v > 1) return Infinity;
  const t = (vx * rx + vy * ry + vz * rz) / det;
  return t > 0 ? t : Infinity;
}

// The nearest surface along a ray that is shown and not cut away: { thing, triangle, distance, point }, or null.
function cast(things, ray, cut) {
  const inverse = ray.along.map((v) => 1 / v);
  let best = null;
  for (const thing of things) {
    if (!thing.shown || !thing.surface) continue;
    const { places, corners, boxes } = thing.surface;
    for (let r = 0; 6 * r < boxes.length; r++) {
      if (meets(boxes, 6 * r, ray.from, inverse) >= (best ? best.distance : Infinity)) continue;
      const end = Math.min(corners.length, 3 * RUN * (r + 1));
      for (let c = 3 * RUN * r; c < end; c += 3) {
        const t = strike(places, 3 * corners[c], 3 * corners[c + 1], 3 * corners[c + 2], ray.from, ray.along);
        if (t >= (best ? best.distance : Infinity)) continue;
        const point = plus(ray.from, times(ray.along, t));
        if (!cut || dot(cut.normal, point) <= cut.at) best = { thing, triangle: c / 3, distance: t, point };
      }
    }
  }
  return best;
}

// The thing whose line passes within six pixels, the nearest of them; surfaces hide lines that do not show through.
function lineAt(things, camera, x, y, cut, hit, lift) {
  let best = null;
  for (const thing of things) {
    if (!thing.shown || !thing.segments || !thing.lines.named || thing.lines.on_call) continue;
    const reach = Math.max(6, thing.lines.width / 2 + 2);
    const onTop = thing.group === 'Findings';
    for (let i = 0; i < thing.segments.length; i += 6) {
      const ends = [thing.segments.slice(i, i + 3), thing.segments.slice(i + 3, i + 6)];
      const [a, b] = ends.map((p) => camera.project(p));
      if (!a || !b || Math.min(a[0], b[0]) > x + reach || Math.max(a[0], b[0]) < x - reach) continue;
      const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
      const s = clamp(((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy || 1), 0, 1);
      const off = Math.hypot(a[0] + s * dx - x, a[1] + s * dy - y);
      if (off > reach || (best && off >= best.off)) continue;
      const point = plus(ends[0], times(minus(ends[1], ends[0]), s));
      if (!onTop && cut && dot(cut.normal, point) > cut.at) continue;
      if (!onTop && hit && dot(minus(hit.point, point), camera.back) > lift + 4 / camera.scale) continue;
      best = { thing, point, off };
    }
  }
  return best;
}

// The value of a surface at a point of one of its triangles, between those of the corners.
function valueAt(hit) {
  const { places, corners, values } = hit.thing.surface;
  if (!values) return null;
  const ids = [0, 1, 2].map((k) => corners[3 * hit.triangle + k]);
  const at = ids.map((i) => [places[3 * i], places[3 * i + 1], places[3 * i + 2]]);
  const area = (p, q, r) => size(cross(minus(q, p), minus(r, p)));
  const shares = [area(hit.point, at[1], at[2]), area(at[0], hit.point, at[2]), area(at[0], at[1], hit.point)];
  const value = ids.reduce((sum, i, k) => sum + values[i] * shares[k], 0) / (shares[0] + shares[1] + shares[2] || 1);
  return value < 9e8 ? value : null;
}

// Where a plane meets the surfaces that are shown, as segments.
function cutLines(things, cut) {
  const out = [];
  for (const thing of things) {
    if (!thing.shown || !thing.surface) continue;
    const { places, corners, boxes } = thing.surface;
    const high = (i) => dot(cut.normal, [places[3 * i], places[3 * i + 1], places[3 * i + 2]]) - cut.at;
    for (let r = 0; 6 * r < boxes.length; r++) {
      // Far corner of the box one way and the other.
      let [low, top] = [-cut.at, -cut.at];
      for (let k = 0; k < 3; k++) {
        const ends = [cut.normal[k] * boxes[6 * r + k], cut.normal[k] * boxes[6 * r + k + 3]];
        low += Math.min(...ends);
        top += Math.max(...ends);
      }
      if (low > 0 || top < 0) continue;
      const end = Math.min(corners.length, 3 * RUN * (r + 1));
      for (let c = 3 * RUN * r; c < end; c += 3) {
        const h = [high(corners[c]), high(corners[c + 1]), high(corners[c + 2])];
        for (let k = 0; k < 3; k++) {
          const [i, j] = [corners[c + k], corners[c + (k + 1) % 3]];
          const [a, b] = [h[k], h[(k + 1) % 3]];
          if (a > 0 === b > 0) continue;
          const s = a / (a - b);
          for (let m = 0; m < 3; m++) out.push(places[3 * i + m] + s * (places[3 * j + m] - places[3 * i + m]));
        }
      }
    }
  }
  return Float32Array.from(out);
}
