// Words over the picture: names with leaders, the axes, a scale. The list says the same to a screen reader.

// Where a name may hang from its point, pixels, in order of preference.
const HANGS = [[26, 26], [40, 0], [50, 62], [90, 30], [70, 110]].flatMap(([x, y]) => [[x, -y], [-x, -y], [x, y], [-x, y]]);
const MOST_NAMES = 28;

class Names {
  constructor(scene) {
    this.scene = scene;
    this.words = byId('v3-names');
    this.paths = [...byId('v3-lines').querySelectorAll('path')];
    this.axes = ['x', 'y', 'z'].map((name) => element('span', { class: 'axis' }, name));
    this.bar = element('span', { class: 'bar' });
    this.words.append(...this.axes, this.bar);
  }

  // The tag of a thing, measured anew when it changes; a bare border where the page shows no names but those called for.
  tagOf(thing, called) {
    if (!thing.tag) {
      thing.tag = element('span', { class: 'tag ' + thing.class });
      if (thing.code) thing.tag.append(element('b', {}, thing.code));
      thing.tag.append(element('i', {}, element('bdi', {}, thing.name)));
      this.words.append(thing.tag);
    }
    if (!thing.tagSize || thing.tagCalled !== called) {
      thing.tag.hidden = false;
      thing.tag.classList.toggle('hot', called);
      Object.assign(thing, { tagCalled: called, tagSize: [thing.tag.offsetWidth, thing.tag.offsetHeight] });
    }
    return thing.tag;
  }

  place({ things, camera, cut, hot, chosen }) {
    const lines = [];
    const [w, h] = [camera.width, camera.tall];
    const taken = [[0, h - 90, 96, h], [w - 190, h - 44, w, h]];
    let count = 0;
    const first = things.filter((t) => t === hot || t === chosen);
    const byRank = things.filter((t) => !first.includes(t)).sort((a, b) => b.rank - a.rank);
    for (const thing of [...first, ...byRank]) {
      if (!thing.at) continue;
      const called = first.includes(thing);
      const free = thing.shown && count < MOST_NAMES && this.room(thing, called, camera, cut, taken, w, h);
      if (!free) {
        if (thing.tag) thing.tag.hidden = true;
        continue;
      }
      count++;
      const { tag } = thing;
      tag.hidden = false;
      tag.style.left = free.box[0].toFixed(1) + 'px';
      tag.style.top = free.box[1].toFixed(1) + 'px';
      taken.push(free.box);
      lines.push(`M${free.from[0].toFixed(1)} ${free.from[1].toFixed(1)}L${free.to[0].toFixed(1)} ${free.to[1].toFixed(1)}`);
    }
    this.paths.forEach((p) => p.setAttribute('d', lines.join('') + this.corner(camera) + this.scale(camera)));
  }

  // A box beside the thing's point where no other name is.
  room(thing, called, camera, cut, taken, w, h) {
    if (cut && thing.group !== 'Findings' && dot(cut.normal, thing.at) > cut.at) return null;
    const from = camera.project(thing.at);
    if (!from || from[0] < 2 || from[1] < 2 || from[0] > w - 2 || from[1] > h - 2) return null;
    this.tagOf(thing, called);
    const [wide, tall] = thing.tagSize;
    if (wide < 8) return null;
    for (const [dx, dy] of HANGS) {
      const to = [from[0] + dx, from[1] + dy];
      const left = dx < 0 ? to[0] - wide : to[0];
      const box = [left, to[1] - tall / 2, left + wide, to[1] + tall / 2];
      const inside = box[0] > 2 && box[1] > 2 && box[2] < w - 2 && box[3] < h - 2;
      if (inside && taken.every((t) => box[2] < t[0] || t[2] < box[0] || box[3] < t[1] || t[3] < box[1])) {
        return { box, from, to };
      }
    }
    return null;
  }

  corner(camera) {
    const [x, y] = [46, camera.tall - 44];
    return this.axes.map((word, k) => {
      const axis = [0, 1, 2].map((i) => (i === k ? 1 : 0));
      const [dx, dy] = [dot(camera.right, axis), -dot(camera.up, axis)];
      const long = Math.hypot(dx, dy);
      word.hidden = long < 0.15;
      if (word.hidden) return '';
      word.style.left = (x + 28 * dx + 11 * dx / long) + 'px';
      word.style.top = (y + 28 * dy + 11 * dy / long) + 'px';
      return `M${x} ${y}l${(28 * dx).toFixed(1)} ${(28 * dy).toFixed(1)}`;
    }).join('');
  }

  // A round length; in perspective it would hold at one depth only.
  scale(camera) {
    this.bar.hidden = camera.perspective;
    if (camera.perspective) return '';
    const most = Math.min(160, 0.25 * camera.width) / camera.scale / this.scene.mm;
    const power = 10 ** Math.floor(Math.log10(most));
    const round = [5, 2, 1].find((s) => s * power <= most) * power;
    const wide = round * this.scene.mm * camera.scale;
    const [right, y] = [camera.width - 16, camera.tall - 14];
    this.bar.textContent = Number(round.toPrecision(3)) + ' ' + this.scene.unit;
    this.bar.style.left = (right - wide / 2) + 'px';
    this.bar.style.top = (y - 8) + 'px';
    return `M${(right - wide).toFixed(1)} ${y - 6}v6H${right}v-6`;
  }
}
