// The list of what can be shown and hidden; a name leads to its place.

function buildList(view) {
  const panel = byId('v3-things');
  panel.append(element('h2', {}, 'Shown in 3D'));
  for (const group of new Set(view.things.map((t) => t.group))) {
    const members = view.things.filter((t) => t.group === group);
    const all = element('input', { type: 'checkbox' });
    const list = element('ul');
    const boxes = members.map((thing) => {
      const box = element('input', { type: 'checkbox', 'aria-label': 'Show ' + thing.name });
      box.addEventListener('change', () => view.show([thing], box.checked));
      const code = thing.code ? [element('span', { class: 'code' }, thing.code)] : [];
      const mark = thing.label && view.scene.frame === 'scan' ? [swatch(thing.colour)] : [];
      const words = group === 'Findings' ? thing.facts[0].join(' ') + ': ' : '';
      const go = element('button', { class: 'go' }, ...code, ...mark, words, element('bdi', {}, thing.name));
      go.addEventListener('click', () => view.go(thing));
      list.append(element('li', {}, box, go));
      return box;
    });
    const update = () => {
      members.forEach((t, k) => { boxes[k].checked = t.shown; });
      const shown = members.filter((t) => t.shown).length;
      all.checked = shown > 0;
      all.indeterminate = shown > 0 && shown < members.length;
    };
    all.addEventListener('change', () => view.show(members, all.checked));
    view.onShow.push(update);
    update();
    const legend = element('legend', {}, element('label', {}, all, ' ' + group));
    panel.append(element('fieldset', {}, legend, list));
  }
  panel.hidden = false;
  leadFromPage(view);
}

function swatch(colour) {
  const mark = element('span', { class: 'swatch', 'aria-hidden': 'true' });
  mark.style.background = `rgb(${colour})`;
  return mark;
}

// Buttons beside what the page says of a finding.
function leadFromPage(view) {
  for (const thing of view.things.filter((t) => t.group === 'Findings' && (t.look || t.at))) {
    const button = () => {
      const made = element('button', { class: 'lead', 'aria-label': 'Show ' + thing.code + ' in 3D' }, 'in 3D');
      made.addEventListener('click', () => {
        view.go(thing);
        byId('v3').scrollIntoView({ block: 'nearest' });
      });
      return made;
    };
    const card = byId(thing.more);
    const head = card && card.querySelector('h3');
    if (head) head.append(' ', button());
    const link = [...document.querySelectorAll('.short a')].find((a) => a.hash === '#' + thing.more);
    if (link) link.after(button());
  }
}
