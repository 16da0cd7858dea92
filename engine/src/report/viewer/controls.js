// Mouse, touch and keys.

function startControls(view) {
  const { canvas, camera } = view;
  const down = new Map();
  let start = null;
  const place = (e) => {
    const box = canvas.getBoundingClientRect();
    return [e.clientX - box.left, e.clientY - box.top];
  };
  const middle = () => {
    const all = [...down.values()];
    return [0, 1].map((k) => all.reduce((s, p) => s + p[k], 0) / all.length);
  };
  const spread = () => {
    const [a, b] = [...down.values()];
    return b ? Math.hypot(a[0] - b[0], a[1] - b[1]) : 0;
  };

  canvas.addEventListener('pointerdown', (e) => {
    canvas.setPointerCapture(e.pointerId);
    canvas.focus({ preventScroll: true });
    down.set(e.pointerId, place(e));
    start = { at: place(e), moved: false, pan: e.button === 1 || e.button === 2 || e.shiftKey, several: down.size > 1 };
  });
  canvas.addEventListener('pointermove', (e) => {
    if (!down.has(e.pointerId)) return view.hover(...place(e), e.pointerType === 'mouse');
    const [before, apart] = [middle(), spread()];
    down.set(e.pointerId, place(e));
    const [after, now] = [middle(), spread()];
    const [dx, dy] = minus([...after, 0], [...before, 0]);
    if (Math.hypot(...minus([...place(e), 0], [...start.at, 0])) > 4) start.moved = true;
    if (!start.moved) return;
    if (down.size > 1) {
      camera.move(dx, dy);
      if (apart && now) camera.zoom(now / apart, ...after);
    } else if (start.pan) camera.move(dx, dy);
    else camera.turn(dx * 0.008, dy * 0.008);
    view.moved();
  });
  const up = (e) => {
    const was = down.delete(e.pointerId);
    if (was && e.type === 'pointerup' && !start.moved && !start.several && e.button === 0) view.pick(...place(e));
    if (was && down.size) start.moved = true;
  };
  canvas.addEventListener('pointerup', up);
  canvas.addEventListener('pointercancel', up);
  canvas.addEventListener('pointerleave', () => view.hover(-1, -1, false));
  canvas.addEventListener('contextmenu', (e) => e.preventDefault());
  canvas.addEventListener('wheel', (e) => {
    e.preventDefault();
    const lines = e.deltaMode === 1 ? 30 : 1;
    camera.zoom(Math.exp(-0.0015 * lines * e.deltaY), ...place(e));
    view.moved();
  }, { passive: false });
  canvas.addEventListener('dblclick', (e) => {
    const hit = view.under(...place(e));
    if (hit) camera.target = hit.point;
    view.moved();
  });
  canvas.addEventListener('keydown', (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const act = keyed(view, e);
    if (act) {
      e.preventDefault();
      act();
      view.moved();
    }
  });
  byId('v3').addEventListener('click', (e) => {
    const button = e.target.closest('[data-do]');
    if (!button) return;
    const [what, ...axis] = button.dataset.do.split(' ');
    view[what](...axis.map(Number));
  });
  const [across, depth] = [byId('v3-cut'), byId('v3-depth')];
  across.addEventListener('change', () => view.cutAcross(across.value));
  depth.addEventListener('input', () => view.cutAt(Number(depth.value)));
}

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const AXES = [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]];

function keyed(view, e) {
  const { camera } = view;
  const arrow = ARROWS[e.key];
  if (arrow) {
    const [dx, dy] = arrow;
    return e.shiftKey ? () => camera.move(-40 * dx, -40 * dy) : () => camera.turn(dx * 0.1, dy * 0.1);
  }
  if (e.key === '+' || e.key === '=') return () => camera.zoom(1.2);
  if (e.key === '-') return () => camera.zoom(1 / 1.2);
  if (e.key >= '1' && e.key <= '6') return () => view.from(...AXES[e.key - 1]);
  const others = {
    0: () => view.overview(),
    m: () => view.measure(),
    p: () => view.perspective(),
    n: () => view.nextFinding(e.shiftKey ? -1 : 1),
    N: () => view.nextFinding(-1),
    Enter: () => view.pick(camera.width / 2, camera.tall / 2),
    Escape: () => view.clear(),
  };
  return others[e.key];
}
