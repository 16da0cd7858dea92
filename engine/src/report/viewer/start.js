// Puts the view together and keeps its state.

class View {
  constructor(scene, arrays) {
    this.scene = scene;
    this.canvas = byId('v3-canvas');
    this.things = scene.things.map((t) => ({
      ...t,
      at: t.at && minus(t.at, scene.middle),
      surface: t.mesh && surfaceOf(t.mesh, arrays, scene.step),
      segments: t.lines && segmentsOf(t.lines, arrays, scene.step),
    }));
    const [low, high] = this.box(this.things);
    this.centre = times(plus(low, high), 0.5);
    this.camera = new Camera(0.55 * size(minus(high, low)) + size(this.centre) || 100);
    Object.assign(this, { cut: null, hot: null, chosen: null, picks: [], measuring: false, onShow: [], quality: 1 });
    this.drawing = new Drawing(this.canvas, this.things, scene.bands);
    this.names = new Names(scene);
    this.dark = matchMedia('(prefers-color-scheme: dark)');
    this.dark.addEventListener('change', () => this.redraw());
    this.canvas.addEventListener('webglcontextlost', (e) => e.preventDefault());
    this.canvas.addEventListener('webglcontextrestored', () => { this.drawing.upload(); this.redraw(); });
    new ResizeObserver(() => this.resize()).observe(this.canvas.parentElement);
    buildList(this);
    startControls(this);
    this.resize();
    this.overview();
    showPicks(this);
  }

  // Lower and upper corner along some axes of the surfaces, else of the lines; of large ones a sample.
  box(things, axes = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]) {
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    const solid = things.filter((t) => t.surface);
    for (const thing of solid.length ? solid : things) {
      const at = thing.surface ? thing.surface.places : thing.segments || [];
      for (let i = 0; i < at.length; i += 3 * Math.ceil(at.length / 60000)) {
        axes.forEach((axis, k) => {
          const v = axis[0] * at[i] + axis[1] * at[i + 1] + axis[2] * at[i + 2];
          if (v < low[k]) low[k] = v;
          if (v > high[k]) high[k] = v;
        });
      }
    }
    return low[0] <= high[0] ? [low, high] : [[-50, -50, -50], [50, 50, 50]];
  }

  resize() {
    const { clientWidth: width, clientHeight: tall } = this.canvas.parentElement;
    const { camera } = this;
    if (!width || !tall || (camera.width === width && camera.tall === tall)) return;
    if (camera.width > 1) camera.scale *= Math.min(width / camera.width, tall / camera.tall);
    Object.assign(camera, { width, tall });
    this.things.forEach((t) => { t.tagSize = null; });
    this.redraw();
  }

  // After a movement: slow machines draw fewer pixels until it ends.
  moved() {
    const now = performance.now();
    if (now - this.lastMove < 300 && this.lastTook > SLOW) this.quality = 0.5;
    this.lastMove = now;
    clearTimeout(this.settle);
    this.settle = setTimeout(() => { this.quality = 1; this.redraw(); }, 180);
    this.redraw();
  }

  redraw() {
    if (this.waiting) return;
    this.waiting = requestAnimationFrame((began) => {
      this.waiting = 0;
      this.draw();
      // Work on the card shows as a late next frame.
      requestAnimationFrame((next) => { this.lastTook = next - began; });
    });
  }

  draw() {
    const { scene, camera, cut, hot, chosen, picks } = this;
    const dark = this.dark.matches;
    const marks = picks.flatMap((p) => [...p.point, ...p.point]);
    const between = picks.length === 2 ? [...picks[0].point, ...picks[1].point] : [];
    const look = {
      paper: dark ? [34, 39, 43] : [243, 244, 240],
      ink: [24, 24, 28],
      seam: [255, 255, 255],
      lift: scene.lift,
      hot: hot || chosen,
      measured: picks.length ? Float32Array.from([...marks, ...between]) : null,
    };
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    this.drawing.draw(camera, cut, look, ratio * this.quality);
    this.names.place(this);
  }

  overview() {
    const { camera } = this;
    camera.lookFrom(this.scene.from);
    this.fit();
  }

  // All of what is shown, in the present direction.
  fit() {
    const { camera } = this;
    const axes = [camera.right, camera.up, camera.back];
    const shown = this.things.filter((t) => t.shown);
    const [low, high] = this.box(shown.length ? shown : this.things, axes);
    const middle = axes.reduce((sum, axis, k) => plus(sum, times(axis, (low[k] + high[k]) / 2)), [0, 0, 0]);
    const half = times(minus(high, low), 0.54);
    camera.frame(middle, half[1], half[0]);
    this.redraw();
  }

  from(...axis) {
    this.camera.lookFrom(axis);
    this.fit();
  }

  perspective() {
    this.camera.perspective = !this.camera.perspective;
    press('perspective', this.camera.perspective);
    this.redraw();
  }

  measure() {
    this.measuring = !this.measuring;
    press('measure', this.measuring);
    if (!this.measuring) this.picks = this.picks.slice(-1);
    showPicks(this);
    this.redraw();
  }

  clear() {
    Object.assign(this, { picks: [], chosen: null });
    if (this.measuring) this.measure();
    showPicks(this);
    this.redraw();
  }

  stills() {
    press('stills', !document.body.classList.toggle('with3d'));
  }

  show(things, shown) {
    things.forEach((t) => { t.shown = shown; });
    this.onShow.forEach((update) => update());
    this.drawing.paletteOf(this.things);
    this.recut();
    this.redraw();
  }

  // To the place of a thing, as near as suits it.
  go(thing) {
    const { camera, scene } = this;
    this.show([thing], true);
    Object.assign(this, { chosen: thing, picks: [] });
    const look = thing.look;
    this.setCut(null, '');
    if (look) {
      camera.lookFrom(look.from);
      camera.frame(minus(look.target, scene.middle), look.half, 1.3 * look.half);
      if (look.cut) {
        const normal = look.cut.slice(0, 3);
        this.setCut({ normal, at: look.cut[3] - dot(normal, scene.middle) }, 'place');
      }
    } else if (thing.surface || thing.segments) {
      const [low, high] = this.box([thing]);
      const half = Math.max(0.8 * size(minus(high, low)), 0.04 * camera.radius);
      camera.frame(times(plus(low, high), 0.5), half, half);
    }
    showPicks(this);
    this.redraw();
  }

  nextFinding(step) {
    const found = this.things.filter((t) => t.group === 'Findings' && (t.look || t.at));
    if (!found.length) return;
    const at = found.indexOf(this.chosen);
    this.go(found[at < 0 ? 0 : (at + step + found.length) % found.length]);
  }

  cast(x, y) {
    return cast(this.things, this.camera.ray(x, y), this.cut);
  }

  // Which thing and where: a feature's points and lines come before the surface they lie on.
  under(x, y) {
    const { camera, cut, scene } = this;
    const hit = this.cast(x, y);
    const line = lineAt(this.things, camera, x, y, cut, hit, scene.lift);
    if (!hit) return line && { thing: line.thing, surface: null, point: line.point, value: null };
    const { labels, corners } = hit.thing.surface;
    const label = labels ? labels[corners[3 * hit.triangle + 2]] : 0;
    const labelled = label && this.things.find((t) => t.label === label && t.shown);
    const onTop = line && (line.thing.group === 'Findings' || !labelled) ? line.thing : null;
    const point = onTop && onTop.group === 'Findings' ? line.point : hit.point;
    return { thing: onTop || labelled || hit.thing, surface: hit.thing, point, value: valueAt(hit) };
  }

  pick(x, y) {
    const pick = this.under(x, y);
    this.chosen = pick && pick.thing;
    if (!pick) this.picks = this.measuring ? this.picks : [];
    else this.picks = this.measuring && this.picks.length === 1 ? [this.picks[0], pick] : [pick];
    showPicks(this);
    this.redraw();
    return pick;
  }

  hover(x, y, isMouse) {
    this.hovered = [x, y, isMouse];
    if (this.hovering) return;
    this.hovering = requestAnimationFrame(() => {
      this.hovering = 0;
      const [px, py, mouse] = this.hovered;
      const found = mouse ? this.under(px, py) : null;
      const tip = byId('v3-tip');
      tip.hidden = !found;
      if (found) this.tip(tip, found, px, py);
      const hot = found && found.thing;
      if (hot !== this.hot) { this.hot = hot; this.redraw(); }
    });
  }

  tip(tip, { thing, surface, value }, x, y) {
    const words = [thing.name];
    if (value != null) words.push(worded(this.scene, surface.surface, value));
    else if (thing.facts.length) words.push(thing.facts.slice(0, 2).map((f) => f[1]).join(', '));
    tip.textContent = words.join(' · ');
    const left = x > this.camera.width / 2;
    tip.style.left = left ? 'auto' : x + 14 + 'px';
    tip.style.right = left ? this.camera.width - x + 14 + 'px' : 'auto';
    tip.style.top = Math.max(4, y - 34) + 'px';
  }

  // Across an axis or what faces the viewer; 'place' is where a finding was cut.
  cutAcross(what) {
    const axis = 'xyz'.indexOf(what);
    if (!what || what === 'place') return this.setCut(null, '');
    const normal = axis >= 0 ? [0, 1, 2].map((k) => (k === axis ? 1 : 0)) : this.camera.back;
    // What is on the viewer's side goes.
    const sign = dot(normal, this.camera.back) < 0 ? -1 : 1;
    this.setCut({ normal: times(normal, sign), at: sign * dot(normal, this.camera.target) }, what);
  }

  setCut(cut, what) {
    this.cut = cut;
    byId('v3-cut').value = what;
    for (const id of ['v3-depth', 'v3-other']) byId(id).hidden = !cut;
    if (cut) {
      const reach = this.camera.radius;
      Object.assign(byId('v3-depth'), { min: -reach, max: reach, step: reach / 1000, value: cut.at });
    }
    this.recut();
    this.redraw();
  }

  cutAt(at) {
    this.cut.at = at;
    this.recut();
    this.moved();
  }

  otherSide() {
    this.setCut({ normal: times(this.cut.normal, -1), at: -this.cut.at }, byId('v3-cut').value);
  }

  recut() {
    this.drawing.setCutLines(this.cut && cutLines(this.things, this.cut));
  }
}

function press(what, on) {
  document.querySelector(`[data-do="${what}"]`).setAttribute('aria-pressed', on);
}

async function startView() {
  const [scene, block, place] = [byId('scene'), byId('block'), byId('v3')];
  if (!scene || !place) return;
  try {
    const said = JSON.parse(scene.textContent);
    const arrays = await unpack(said, block.textContent);
    block.remove();
    place.hidden = false;
    document.body.classList.add('with3d');
    window.fitwrightView = new View(said, arrays);
  } catch (error) {
    place.hidden = true;
    byId('v3-things').hidden = true;
    document.body.classList.remove('with3d');
    byId('v3-off').hidden = false;
    byId('v3-off').textContent = `The 3D view could not start: ${error.message}. The pictures and tables of this page hold the same findings.`;
  }
}

// A frame that takes longer, ms, is drawn with half as many pixels each way while things move.
const SLOW = 70;

startTables();
startView();
