// Where from, how large. Places are from the middle of the scene; z is up. Measuring wants no perspective: it is off
// until asked for.

class Camera {
  constructor(radius) {
    this.radius = radius;
    this.target = [0, 0, 0];
    this.azimuth = -1; // of the direction to the viewer, rad about z from x
    this.height = 0.6; // of the direction to the viewer over the plane of x and y, rad
    this.scale = 1; // pixels per mm at the target
    this.perspective = false;
    this.width = 1;
    this.tall = 1;
  }

  get back() {
    const c = Math.cos(this.height);
    return [c * Math.cos(this.azimuth), c * Math.sin(this.azimuth), Math.sin(this.height)];
  }

  // From the azimuth alone, so that the view from straight above has one, too.
  get right() { return [-Math.sin(this.azimuth), Math.cos(this.azimuth), 0]; }
  get up() { return cross(this.back, this.right); }

  // How far the eye is from the target in perspective: 30 degrees from bottom to top.
  get distance() { return this.tall / this.scale / 2 / Math.tan(Math.PI / 12); }

  // What lies farther than this from the target is not drawn.
  get reach() { return this.radius + size(this.target); }

  lookFrom(back) {
    const flat = Math.hypot(back[0], back[1]);
    // From straight above and below x points to the right.
    this.azimuth = flat > 1e-6 ? Math.atan2(back[1], back[0]) : -Math.PI / 2;
    this.height = Math.atan2(back[2], flat);
  }

  turn(dx, dy) {
    this.azimuth -= dx;
    this.height = clamp(this.height + dy, -Math.PI / 2, Math.PI / 2);
  }

  // By pixels: what is at the target's depth stays under the finger.
  move(dx, dy) {
    const by = plus(times(this.right, -dx / this.scale), times(this.up, dy / this.scale));
    this.target = plus(this.target, by);
  }

  // What is under the pixel stays there.
  zoom(factor, x = this.width / 2, y = this.tall / 2) {
    const scale = clamp(this.scale * factor, 0.05 * this.tall / this.radius, 500 * this.tall / this.radius);
    const by = this.scale / scale - 1;
    this.move((x - this.width / 2) * by, (y - this.tall / 2) * by);
    this.scale = scale;
  }

  frame(target, halfTall, halfWide = 0) {
    this.target = target;
    this.scale = Math.min(this.tall / 2 / halfTall, halfWide ? this.width / 2 / halfWide : Infinity);
  }

  // Column by column, for the graphics card.
  get matrix() {
    const [r, u, b, t] = [this.right, this.up, this.back, this.target];
    const [sx, sy] = [2 * this.scale / this.width, 2 * this.scale / this.tall];
    const rows = [[...times(r, sx), -sx * dot(r, t)], [...times(u, sy), -sy * dot(u, t)]];
    const depth = [...b, -dot(b, t)]; // towards the viewer from the target
    if (!this.perspective) {
      rows.push(depth.map((v) => -v / this.reach), [0, 0, 0, 1]);
    } else {
      const far = this.distance;
      const [near, last] = [Math.max(far - this.reach, 0.02 * far), far + this.reach];
      const w = depth.map((v, k) => (k === 3 ? far - v : -v) / far);
      const [p, q] = [(last + near) / (last - near), 2 * last * near / (last - near) / far];
      rows.push(w.map((v, k) => p * v - (k === 3 ? q : 0)), w);
    }
    return Float32Array.from({ length: 16 }, (_, i) => rows[i % 4][i >> 2]);
  }

  // Pixels from the left and the top, and mm towards the viewer from the target; null behind the eye.
  project(p) {
    const v = minus(p, this.target);
    const depth = dot(this.back, v);
    const w = this.perspective ? 1 - depth / this.distance : 1;
    if (w <= 0.02) return null;
    return [this.width / 2 + dot(this.right, v) * this.scale / w, this.tall / 2 - dot(this.up, v) * this.scale / w, depth];
  }

  // The ray under a pixel, away from the viewer.
  ray(x, y) {
    const [dx, dy] = [(x - this.width / 2) / this.scale, (this.tall / 2 - y) / this.scale];
    const onTarget = plus(this.target, plus(times(this.right, dx), times(this.up, dy)));
    if (!this.perspective) return { from: plus(onTarget, times(this.back, this.reach)), along: times(this.back, -1) };
    const eye = plus(this.target, times(this.back, this.distance));
    return { from: eye, along: unit(minus(onTarget, eye)) };
  }
}
