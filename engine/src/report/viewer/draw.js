// Draws the scene. Nothing is kept on the card that cannot be put there again: contexts get lost.

class Drawing {
  constructor(canvas, things, scales) {
    const gl = canvas.getContext('webgl2', { alpha: false, antialias: true });
    if (!gl) throw new Error('this browser has no WebGL2 here');
    Object.assign(this, { gl, canvas, things, scales, cutLines: null });
    this.upload();
  }

  upload() {
    const gl = this.gl;
    this.whole = program(gl, SURFACE_POINTS, surfacePixels(false));
    this.halved = null;
    this.line = program(gl, LINE_POINTS, LINE_PIXELS);
    for (const thing of this.things) {
      if (thing.surface) thing.drawn = surfaceOnCard(gl, thing.surface);
      if (thing.segments) thing.strokes = segmentsOnCard(gl, thing.segments);
    }
    this.palette = gl.createTexture();
    this.paletteOf(this.things);
    if (this.cutLines) this.setCutLines(this.cutLines.segments);
  }

  // Colour of each label; those of hidden things tint nothing.
  paletteOf(things) {
    const labels = things.reduce((most, t) => Math.max(most, t.label || 0), 0);
    const tall = (labels >> 8) + 1;
    const texels = new Uint8Array(1024 * tall);
    const tint = Math.max(0, ...things.map((t) => (t.surface ? t.surface.tint : 0)));
    for (const t of things) {
      if (t.label && t.shown) texels.set([...t.colour, Math.round(255 * tint)], 4 * t.label);
    }
    const gl = this.gl;
    gl.bindTexture(gl.TEXTURE_2D, this.palette);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, 256, tall, 0, gl.RGBA, gl.UNSIGNED_BYTE, texels);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.NEAREST);
  }

  setCutLines(segments) {
    if (this.cutLines) this.gl.deleteBuffer(this.cutLines.strokes.buffer);
    this.cutLines = segments && segments.length ? { segments, strokes: segmentsOnCard(this.gl, segments) } : null;
  }

  // quality: pixels of the canvas for each of the page's; look: colours of page and ink, what is hot.
  draw(camera, cut, look, quality) {
    const gl = this.gl;
    const [w, h] = [camera.width, camera.tall].map((v) => Math.max(1, Math.round(v * quality)));
    if (this.canvas.width !== w || this.canvas.height !== h) Object.assign(this.canvas, { width: w, height: h });
    gl.viewport(0, 0, w, h);
    gl.clearColor(...times(look.paper, 1 / 255), 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    const plane = cut ? [...cut.normal, cut.at] : WHOLE;
    this.surfaces(camera, plane, look);
    gl.depthMask(false);
    this.lines(camera, plane, look, quality);
    gl.depthMask(true);
    gl.bindVertexArray(null);
  }

  // Draws; with `behind` before that what is hidden, as strongly as it says.
  passes(set, behind, draw) {
    const gl = this.gl;
    if (behind) {
      gl.depthFunc(gl.GREATER);
      set({ alpha: behind });
      draw();
    }
    gl.depthFunc(gl.LEQUAL);
    set({ alpha: 1 });
    draw();
  }

  surfaces(camera, cut, look) {
    const gl = this.gl;
    if (cut !== WHOLE) this.halved ||= program(gl, SURFACE_POINTS, surfacePixels(true));
    const { set, made } = cut === WHOLE ? this.whole : this.halved;
    const { matrix, back, up, right, perspective } = camera;
    gl.useProgram(made);
    gl.bindTexture(gl.TEXTURE_2D, this.palette);
    const eye = plus(camera.target, times(back, camera.distance));
    const lift = 2 * look.lift / camera.reach;
    set({ matrix, lift, back, up, right, eye, perspective, cut, chosen: look.hot && look.hot.label || 0 });
    for (const thing of this.things) {
      if (!thing.shown || !thing.drawn) continue;
      const s = thing.surface;
      const kind = KINDS.indexOf(s.kind);
      set({ kind, colour: COLOURS[kind], curved: !!s.normals, hot: thing === look.hot, banded: !!s.values });
      if (s.values) {
        const { limits, colours: bands, unknown, hatched, marked } = this.scales[s.scale];
        set({ limits, bands, unknown, hatched, marked: [0, 1].map((k) => marked[k] ?? 1e9) });
      }
      gl.bindVertexArray(thing.drawn);
      // An overlap lies within the part: it is shown through it.
      this.passes(set, s.kind === 'overlap' ? 0.55 : 0,
        () => gl.drawElements(gl.TRIANGLES, s.corners.length, gl.UNSIGNED_INT, 0));
    }
  }

  lines(camera, plane, look, quality) {
    const gl = this.gl;
    const { set, made } = this.line;
    gl.useProgram(made);
    // Some pixels, and as far as a feature lies in its surface's noise.
    const lift = (look.lift + 3 / camera.scale) / camera.reach;
    set({ matrix: camera.matrix, half_: [this.canvas.width / 2, this.canvas.height / 2], lift });
    const one = (strokes, width, colour, through, seam, cut) => {
      set({ cut, width: (width + 2 * seam) * quality, seam: seam * quality, colour });
      gl.bindVertexArray(strokes.array);
      this.passes(set, through, () => gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, strokes.count));
    };
    if (this.cutLines) one(this.cutLines.strokes, 1.8, look.ink, 0, 0.8, WHOLE);
    // Findings last: they come first in the list and lie on top.
    for (const thing of [...this.things].reverse()) {
      const called = thing === look.hot;
      if (!thing.shown || !thing.strokes || (thing.lines.on_call && !called)) continue;
      const found = thing.group === 'Findings';
      const through = thing.lines.through ? (found ? 0.9 : 0.3) : 0;
      one(thing.strokes, thing.lines.width + (called ? 2 : 0), thing.colour, through, found || called ? 1.2 : 0,
        found ? WHOLE : plane);
    }
    if (look.measured) {
      const strokes = segmentsOnCard(gl, look.measured);
      one(strokes, 3, [0, 70, 140], 0.9, 1.2, WHOLE);
      gl.deleteBuffer(strokes.buffer);
      gl.deleteVertexArray(strokes.array);
    }
  }
}

// A program and how to set its uniforms by name.
function program(gl, points, pixels) {
  const made = gl.createProgram();
  for (const [kind, source] of [[gl.VERTEX_SHADER, points], [gl.FRAGMENT_SHADER, pixels]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS) && !gl.isContextLost()) {
    const said = gl.getAttachedShaders(made).map((s) => gl.getShaderInfoLog(s));
    throw new Error('the graphics driver refused it: ' + said.join(' ') + gl.getProgramInfoLog(made));
  }
  const how = {
    [gl.FLOAT]: '1f', [gl.FLOAT_VEC2]: '2f', [gl.FLOAT_VEC3]: '3f', [gl.FLOAT_VEC4]: '4f', [gl.INT]: '1i', [gl.BOOL]: '1i',
  };
  const known = {};
  for (let i = gl.getProgramParameter(made, gl.ACTIVE_UNIFORMS) - 1; i >= 0; i--) {
    const { name, type } = gl.getActiveUniform(made, i);
    known[name.replace('[0]', '')] = [gl.getUniformLocation(made, name), how[type]];
  }
  const set = (values) => {
    for (const [name, value] of Object.entries(values)) {
      const [place, type] = known[name] || [];
      if (name === 'matrix') gl.uniformMatrix4fv(place, false, value);
      else if (type) gl[`uniform${type}v`](place, [value].flat(2).map(Number));
    }
  };
  return { made, set };
}

function attribute(gl, slot, data, width, type, stride = 0, offset = 0) {
  if (data) {
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
  }
  gl.enableVertexAttribArray(slot);
  gl.vertexAttribPointer(slot, width, type, type === gl.BYTE, stride, offset);
}

function surfaceOnCard(gl, s) {
  const array = gl.createVertexArray();
  gl.bindVertexArray(array);
  attribute(gl, 0, s.places, 3, gl.FLOAT);
  if (s.normals) attribute(gl, 1, s.normals, 3, gl.BYTE, 4);
  if (s.values) attribute(gl, 2, s.values, 1, gl.FLOAT);
  if (s.labels) attribute(gl, 3, Float32Array.from(s.labels), 1, gl.FLOAT);
  gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, s.corners, gl.STATIC_DRAW);
  gl.bindVertexArray(null);
  return array;
}

function segmentsOnCard(gl, segments) {
  const array = gl.createVertexArray();
  const buffer = gl.createBuffer();
  gl.bindVertexArray(array);
  gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  gl.bufferData(gl.ARRAY_BUFFER, segments, gl.STATIC_DRAW);
  for (const slot of [0, 1]) {
    attribute(gl, slot, null, 3, gl.FLOAT, 24, 12 * slot);
    gl.vertexAttribDivisor(slot, 1);
  }
  gl.bindVertexArray(null);
  return { array, buffer, count: segments.length / 6 };
}

const WHOLE = [0, 0, 0, 1]; // a cut that takes nothing
const KINDS = ['scan', 'part', 'other', 'overlap', 'made'];
const COLOURS = [[196, 199, 196], [206, 211, 216], [226, 214, 166], [130, 20, 84], [196, 199, 196]];
