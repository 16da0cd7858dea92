// What was picked: its name and numbers, its place in the machine's and the scanner's coordinates, how far from another.

const shownNumber = (scene, mm, more = 0) => {
  const text = (mm / scene.mm).toFixed(scene.decimals + more);
  return /^-[0.]*$/.test(text) ? text.slice(1) : text;
};
const shownPoint = (scene, p) => p.map((v) => shownNumber(scene, v)).join(', ');

// Coordinates in the frame, and those of the scanner whose surface it is (the first one's for the rest).
function placesOf(scene, pick) {
  const inFrame = plus(pick.point, scene.middle);
  const mesh = pick.surface && pick.surface.surface;
  const to = (s) => s.rows.map((r) => dot(r, inFrame) + r[3]);
  const [first] = scene.scanners;
  const own = mesh && mesh.scanner != null ? scene.scanners[mesh.scanner] : first;
  return { inFrame, first: first && { name: first.name, at: to(first) }, own: own && { name: own.name, at: to(own) } };
}

// Text of a value with its word: overlap 0.40, gap 3.21.
function worded(scene, surface, value) {
  const scale = scene.bands[surface.scale];
  return `${scale.words[value < 0 ? 0 : 1]} ${shownNumber(scene, Math.abs(value))} ${scene.unit}`;
}

function showPicks(view) {
  const { scene, picks } = view;
  const status = byId('v3-read');
  const tools = byId('v3-copy');
  status.replaceChildren();
  tools.replaceChildren();
  const pick = picks[picks.length - 1];
  const thing = pick ? pick.thing : view.chosen;
  if (!thing) {
    status.append(element('p', {}, 'Click a place for its name, numbers and coordinates.'));
    return;
  }
  status.append(element('p', {}, ...(thing.code ? [element('span', { class: 'code' }, thing.code)] : []),
    element('b', {}, element('bdi', {}, thing.name)), thing.more ? ' ' : '', ...(thing.more ? [more(thing)] : [])));
  const list = element('dl');
  const fact = (what, value) => list.append(element('div', {}, element('dt', {}, what), element('dd', {}, value)));
  thing.facts.forEach(([what, value]) => fact(what, value));
  if (pick) {
    if (pick.value != null) fact('Here', worded(scene, pick.surface.surface, pick.value));
    const places = placesOf(scene, pick);
    const offer = (what, text) => {
      const button = element('button', { 'aria-label': 'Copy ' + what }, 'copy');
      button.addEventListener('click', () => copy(text, button));
      tools.append(element('div', {}, element('span', { class: 'soft' }, what), element('code', {}, text), button));
    };
    if (scene.frame === 'machine') offer('machine x, y, z', shownPoint(scene, places.inFrame));
    if (places.own) offer(scene.frame === 'machine' ? 'scanner x, y, z, ' + places.own.name : 'scan x, y, z', shownPoint(scene, places.own.at));
    if (places.first) offer('line for a job', `at = [${shownPoint(scene, places.first.at)}]`);
  }
  if (picks.length === 2) {
    const by = minus(picks[1].point, picks[0].point);
    fact('Distance', `${shownNumber(scene, size(by))} ${scene.unit} (${['x', 'y', 'z'].map((a, k) => a + ' ' + shownNumber(scene, by[k])).join(', ')})`);
    fact('Between', 'two picks on what is shown, as good as the scan there; the tables hold what was fitted');
  } else if (view.measuring) {
    fact('Distance', picks.length ? 'pick the other place' : 'pick the first place');
  }
  status.append(list);
}

const more = (thing) => element('a', { href: '#' + thing.more }, thing.group === 'Findings' ? 'more below' : 'table');
