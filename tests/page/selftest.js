// Runs in the page beside its own script and writes a line for each check into the document. `expected` is put before
// it by the test: what the outcome says, apart from what the page was given.
(async () => {
  const lines = [];
  const seen = []; // places of the scan that were met
  const check = (what, good, said = '') => lines.push(`${good ? 'ok' : 'FAIL'} ${what} ${said}`);
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));
  const norm = (a) => Math.hypot(...a);
  const less = (a, b) => a.map((v, k) => v - b[k]);
  try {
    for (let i = 0; i < 100 && !window.fitwrightView; i++) await wait(50);
    const view = window.fitwrightView;
    check('started', !!view);
    await all(view);
  } catch (error) {
    check('no exception', false, error.stack);
  }
  const said = document.createElement('pre');
  said.id = 'selftest';
  said.textContent = lines.concat('end').join('\n');
  document.body.append(said);

  async function all(view) {
    listed(view);
    picks(view);
    if (expected.found) named(view);
    else coordinates(view);
    hiding(view);
    cutting(view);
    measuring(view);
    views(view);
    keys(view);
    if (!expected.found) {
      made(view);
      findings(view);
    }
    hostile();
    await tables();
    await lost(view);
  }

  function pixels(view) {
    view.quality = 1;
    view.draw();
    const gl = view.drawing.gl;
    const [w, h] = [gl.drawingBufferWidth, gl.drawingBufferHeight];
    const out = new Uint8Array(4 * w * h);
    gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, out);
    return out;
  }

  // Share of the pixels in which two pictures differ; of one alone those that are not background.
  function share(a, b) {
    let count = 0;
    const paper = a.slice(0, 4);
    for (let i = 0; i < a.length; i += 4) {
      const from = b ? [b[i], b[i + 1], b[i + 2]] : paper;
      if (Math.abs(a[i] - from[0]) + Math.abs(a[i + 1] - from[1]) + Math.abs(a[i + 2] - from[2]) > 24) count++;
    }
    return 4 * count / a.length;
  }

  function listed(view) {
    const names = [...document.querySelectorAll('#v3-things bdi')].map((b) => b.textContent);
    for (const name of expected.names) check('listed', names.includes(name), JSON.stringify(name));
    const filled = share(pixels(view));
    check('something is drawn', filled > 0.1 && filled < 0.95, filled);
    const scan = view.things.find((t) => t.group === 'Scans');
    check('full count is told', scan.facts[0][1].startsWith(String(expected.triangles) + ','), scan.facts[0][1]);
  }

  // Another way than the page's: all corners to the screen, then every triangle in two dimensions.
  function bruteForce(view, spots) {
    const best = spots.map(() => ({ depth: -Infinity }));
    for (const thing of view.things.filter((t) => t.shown && t.surface)) {
      const { places, corners } = thing.surface;
      const seen = new Float64Array(places.length);
      for (let i = 0; i < places.length; i += 3) {
        seen.set(view.camera.project([places[i], places[i + 1], places[i + 2]]), i);
      }
      for (let c = 0; c < corners.length; c += 3) {
        const [a, b, d] = [3 * corners[c], 3 * corners[c + 1], 3 * corners[c + 2]];
        const [ax, ay] = [seen[a], seen[a + 1]];
        const [ux, uy, vx, vy] = [seen[b] - ax, seen[b + 1] - ay, seen[d] - ax, seen[d + 1] - ay];
        const det = ux * vy - uy * vx;
        if (det === 0) continue;
        for (let k = 0; k < spots.length; k++) {
          const [px, py] = [spots[k][0] - ax, spots[k][1] - ay];
          const s = (px * vy - py * vx) / det, t = (ux * py - uy * px) / det;
          if (s < 0 || t < 0 || s + t > 1) continue;
          const depth = seen[a + 2] + s * (seen[b + 2] - seen[a + 2]) + t * (seen[d + 2] - seen[a + 2]);
          if (depth > best[k].depth) best[k] = { depth, thing };
        }
      }
    }
    return best;
  }

  function picks(view) {
    const { camera } = view;
    const spots = [];
    for (let i = 0; i < 150; i++) spots.push([camera.width * ((i * 0.618034 + 0.013) % 1), camera.tall * ((i + 0.37) / 150)]);
    const brute = bruteForce(view, spots);
    let [hits, missed, wrong, worst] = [0, 0, 0, 0];
    spots.forEach(([x, y], k) => {
      const hit = view.cast(x, y);
      if (hit) hits++;
      if (!hit !== !brute[k].thing) missed++;
      if (!hit || !brute[k].thing) return;
      const [px, py, depth] = camera.project(hit.point);
      worst = Math.max(worst, Math.abs(depth - brute[k].depth), Math.hypot(px - x, py - y) / camera.scale);
      if (hit.thing !== brute[k].thing) wrong++;
    });
    check('rays hit', hits > 10, hits);
    check('none missed, none extra', missed === 0, missed);
    check('the same thing', wrong === 0, wrong);
    check('the same depth', worst < 1e-3, worst + ' mm');
    view.perspective();
    worst = 0;
    hits = 0;
    for (const [x, y] of spots) {
      const hit = view.cast(x, y);
      if (!hit) continue;
      hits++;
      const [px, py] = camera.project(hit.point);
      worst = Math.max(worst, Math.hypot(px - x, py - y));
    }
    check('in perspective a hit lies under the pixel', hits > 10 && worst < 0.01, `${hits} ${worst}`);
    view.perspective();
  }

  function texts() {
    return [...document.querySelectorAll('#v3-copy code')].map((c) => c.textContent);
  }

  function numbers(text) {
    return text.match(/-?\d+(\.\d+)?/g).map(Number);
  }

  function coordinates(view) {
    let worst = 0;
    for (const place of expected.places) {
      const at = less(place.machine, view.scene.middle);
      const [x, y] = view.camera.project(at);
      const pick = view.pick(x, y);
      // Another surface may lie before it.
      if (!pick || !pick.surface || pick.surface.group !== 'Scans' || pick.surface.mesh.scanner !== 0 || norm(less(pick.point, at)) > expected.coarse) continue;
      const said = texts().map(numbers);
      seen.push(at);
      worst = Math.max(worst, norm(less(said[1], place.scanner)), norm(less(said[0], place.machine)));
      // Both texts are of one place: the scanner's, taken through the outcome's own motion, is the machine's.
      const moved = expected.motion.map((r) => r[0] * said[1][0] + r[1] * said[1][1] + r[2] * said[1][2] + r[3]);
      worst = norm(less(moved, said[0])) > 0.02 ? Infinity : worst;
      check('a line for a job', /^at = \[-?\d+\.\d\d, -?\d+\.\d\d, -?\d+\.\d\d\]$/.test(texts()[2]), texts()[2]);
    }
    check('points of the scan are read in both coordinates', seen.length > 3 && worst < expected.coarse, `${seen.length} within ${worst} mm`);
    view.clear();
  }

  // Each primitive that is seen from one side or another is named where its own point is.
  function named(view) {
    const met = new Set();
    const wrong = [];
    let [named, nameless] = [0, 0]; // where the survey left points out
    for (const side of ['overview', 'from 1 0 0', 'from -1 0 0', 'from 0 1 0', 'from 0 -1 0', 'from 0 0 1', 'from 0 0 -1']) {
      document.querySelector(`[data-do="${side}"]`).click();
      for (const { name, at } of expected.found) {
        const place = less(at, view.scene.middle);
        const [x, y] = view.camera.project(place);
        const pick = view.pick(x, y);
        // Another surface may lie before it.
        if (!pick || norm(less(pick.point, place)) > expected.coarse) continue;
        met.add(name);
        const said = document.querySelector('#v3-read b').textContent;
        if (pick.thing === pick.surface) nameless++;
        else if (pick.thing.name !== name || said !== name) wrong.push([name, said]);
        else named++;
        const off = norm(less(numbers(texts()[0]), at));
        if (off > expected.coarse || !/^at = \[-?\d+\.\d\d, -?\d+\.\d\d, -?\d+\.\d\d\]$/.test(texts()[1])) wrong.push([name, texts()]);
      }
    }
    document.querySelector('[data-do="overview"]').click();
    for (const { at } of expected.found) {
      const place = less(at, view.scene.middle);
      const [x, y] = view.camera.project(place);
      const hit = view.cast(x, y);
      if (hit && norm(less(hit.point, place)) <= expected.coarse) seen.push(place);
    }
    check('a pick names the primitive', wrong.length === 0, JSON.stringify(wrong));
    check('hardly any is nameless', nameless < 0.05 * named, `${nameless} beside ${named}`);
    check('most were seen', met.size > 0.6 * expected.found.length, `${met.size} of ${expected.found.length}`);
    view.clear();
  }

  function hiding(view) {
    const before = pixels(view);
    const scans = view.things.filter((t) => t.group === 'Scans');
    const box = [...document.querySelectorAll('#v3-things fieldset')].find((f) => f.querySelector('legend').textContent.trim() === 'Scans');
    box.querySelector('legend input').click();
    check('hidden by its box', scans.every((t) => !t.shown));
    let hit = 0;
    for (let i = 0; i < 60; i++) {
      const found = view.cast(view.camera.width * (i % 10 + 0.5) / 10, view.camera.tall * (Math.floor(i / 10) + 0.5) / 6);
      if (found && found.thing.group === 'Scans') hit++;
    }
    check('what is hidden is not picked', hit === 0, hit);
    const changed = share(before, pixels(view));
    check('the picture changes', changed > 0.1, changed);
    box.querySelector('legend input').click();
    check('and comes back', share(before, pixels(view)) < 0.001);
  }

  function cutting(view) {
    const before = pixels(view);
    const choice = document.getElementById('v3-cut');
    for (const across of ['x', 'y', 'z', 'view']) {
      choice.value = across;
      choice.dispatchEvent(new Event('change'));
      let [beyond, hits] = [0, 0];
      for (let i = 0; i < 100; i++) {
        const hit = view.cast(view.camera.width * (i % 10 + 0.5) / 10, view.camera.tall * (Math.floor(i / 10) + 0.5) / 10);
        if (!hit) continue;
        hits++;
        const n = view.cut.normal;
        if (n[0] * hit.point[0] + n[1] * hit.point[1] + n[2] * hit.point[2] > view.cut.at + 1e-6) beyond++;
      }
      check('cut ' + across, hits > 0 && beyond === 0, `${beyond} of ${hits} beyond`);
      check('the cut is seen', share(before, pixels(view)) > 0.01);
      check('the cut is drawn', view.drawing.cutLines.segments.length > 100);
    }
    choice.value = '';
    choice.dispatchEvent(new Event('change'));
    check('the cut goes', share(before, pixels(view)) < 0.001);
  }

  function measuring(view) {
    view.clear();
    document.querySelector('[data-do="measure"]').click();
    const [a, b] = [seen[0], seen[seen.length - 1]].map((p) => view.camera.project(p));
    view.pick(...a);
    const from = numbers(texts()[0]);
    view.pick(...b);
    const to = numbers(texts()[0]);
    const said = [...document.querySelectorAll('#v3-read dd')].map((d) => d.textContent).find((t) => / \(x /.test(t));
    check('distance of two picks', Math.abs(numbers(said)[0] - norm(less(from, to))) < 0.03, said);
    document.querySelector('[data-do="clear"]').click();
    check('cleared', view.picks.length === 0 && !view.measuring);
  }

  function views(view) {
    const ways = { 'from 1 0 0': [1, 0, 0], 'from 0 -1 0': [0, -1, 0], 'from 0 0 1': [0, 0, 1], 'from 0 0 -1': [0, 0, -1] };
    for (const [button, back] of Object.entries(ways)) {
      document.querySelector(`[data-do="${button}"]`).click();
      check(button, norm(less(view.camera.back, back)) < 1e-9, view.camera.back);
    }
    check('from above and below x points right', norm(less(view.camera.right, [1, 0, 0])) < 1e-9, view.camera.right);
    document.querySelector('[data-do="overview"]').click();
  }

  function keys(view) {
    const press = (key, more) => view.canvas.dispatchEvent(new KeyboardEvent('keydown', { key, cancelable: true, ...more }));
    const before = view.camera.azimuth;
    press('ArrowLeft');
    check('an arrow turns', view.camera.azimuth !== before);
    const target = view.camera.target;
    press('ArrowLeft', { shiftKey: true });
    check('with Shift it moves', norm(less(view.camera.target, target)) > 0);
    const scale = view.camera.scale;
    press('+');
    check('plus zooms', view.camera.scale > scale);
    press('5');
    check('5 looks from above', view.camera.back[2] > 0.999999);
    press('0');
    press('Enter');
    press('Escape');
    check('Escape clears', view.picks.length === 0);
  }

  // The scan of the made part is a thing of its own, coloured by its deviations.
  function made(view) {
    const thing = view.things.find((t) => t.group === 'Made part');
    check('the made part is hidden at first', thing && !thing.shown);
    const others = view.things.filter((t) => t !== thing && t.shown);
    view.show(others, false);
    view.show([thing], true);
    view.overview();
    const drawn = pixels(view);
    const [x, y] = [0, 1].map((k) => Array.from({ length: 2000 }, (_, i) => [view.camera.width * ((i * 0.618034) % 1), view.camera.tall * i / 2000])
      .filter(([a, b]) => view.cast(a, b)).map((p) => p[k])[0]);
    const pick = view.pick(x, y);
    check('it is met', pick && pick.thing === thing && Math.abs(pick.value - 0.25) < 1e-3, pick && pick.value);
    const said = document.getElementById('v3-read').textContent;
    check('its deviation is told', said.includes('too much 0.25 mm'), said);
    // A scan without values is grey.
    const at = 4 * (Math.round(view.camera.tall - y) * view.drawing.gl.drawingBufferWidth + Math.round(x));
    const [r, g, b] = [0, 1, 2].map((k) => drawn[at + k]);
    check('and coloured', Math.max(r, g, b) - Math.min(r, g, b) > 20, [r, g, b]);
    view.clear();
    view.show([thing], false);
    view.show(others, true);
  }

  function findings(view) {
    const shown = [...document.querySelectorAll('button.lead')];
    check('findings lead to their places', shown.length >= expected.open, shown.length);
    const before = pixels(view);
    shown[0].click();
    check('the worst is chosen', view.chosen && view.chosen.code === 'A', view.chosen && view.chosen.code);
    const [x, y] = view.camera.project(view.chosen.at);
    const { width, tall } = view.camera;
    check('it is in the picture', x > 0 && y > 0 && x < width && y < tall, `${x} ${y}`);
    check('the view went there', share(before, pixels(view)) > 0.1);
    view.clear();
    view.setCut(null, '');
    view.overview();
  }

  function hostile() {
    check('nothing ran', window.hit === undefined);
    check('no element from a name', document.querySelectorAll('#v3 img, #v3-things img, #v3-things script').length === 0);
    check('three scripts: names and numbers, ours, this one', document.querySelectorAll('script').length === expected.scripts, document.querySelectorAll('script').length);
  }

  async function tables() {
    let copied = '';
    Object.defineProperty(navigator, 'clipboard', { value: { writeText: async (text) => { copied = text; } }, configurable: true });
    const table = document.getElementById(expected.table.id);
    table.querySelector('button.csv').click();
    await wait(20);
    const rows = copied.trim().split('\r\n');
    check('the table as CSV', rows.length === expected.table.rows + 1, rows.length);
    check('no formula in it', !/(^|,)"[=+@]/m.test(copied));
    const heading = [...table.tHead.rows[0].cells].find((c) => c.textContent === expected.table.numbers);
    const values = () => [...table.tBodies[0].rows].map((r) => parseFloat(r.cells[heading.cellIndex].textContent)).filter((v) => !isNaN(v));
    heading.querySelector('button').click();
    check('sorted up', values().every((v, k, all) => !k || v >= all[k - 1]), values());
    heading.querySelector('button').click();
    check('sorted down', values().every((v, k, all) => !k || v <= all[k - 1]), values());
    check('told to a screen reader', heading.getAttribute('aria-sort') === 'descending');
  }

  async function lost(view) {
    const before = pixels(view);
    const way = view.drawing.gl.getExtension('WEBGL_lose_context');
    way.loseContext();
    await wait(100);
    way.restoreContext();
    await wait(300);
    check('a lost context comes back', share(before, pixels(view)) < 0.001);
  }
})();
