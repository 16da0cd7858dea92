// Vectors are arrays of three numbers, mm.

const plus = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
const minus = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const times = (a, s) => [a[0] * s, a[1] * s, a[2] * s];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [
  a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0],
];
const size = (a) => Math.sqrt(dot(a, a));
const unit = (a) => times(a, 1 / (size(a) || 1));
const clamp = (v, low, high) => Math.min(high, Math.max(low, v));

// An element with attributes; its content is set as text, never as markup.
function element(tag, attributes = {}, ...content) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) made.setAttribute(name, '');
    else if (value !== false && value != null) made.setAttribute(name, value);
  }
  made.append(...content);
  return made;
}

const byId = (id) => document.getElementById(id);

async function copy(text, button) {
  const before = button.textContent;
  try {
    await navigator.clipboard.writeText(text);
    button.textContent = 'copied';
  } catch {
    button.textContent = 'could not copy';
  }
  setTimeout(() => { button.textContent = before; }, 1500);
}
