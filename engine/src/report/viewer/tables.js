// Tables: sorted by a click on a heading, copied as comma-separated values.

const cellText = (cell) => {
  const rows = [...cell.querySelectorAll('.par > div')];
  const text = rows.length ? rows.map((r) => [...r.children].map((c) => c.textContent.trim()).join(' ')).join('; ')
    : cell.textContent;
  return text.replace(/\s+/g, ' ').trim();
};

// The first number in a text; what holds none comes last.
const numberIn = (text) => {
  const found = text.match(/[-+]?\d+(\.\d+)?(e[-+]?\d+)?/i);
  return found ? Number(found[0]) : Infinity;
};

function sortBy(table, column, heading) {
  const down = heading.getAttribute('aria-sort') === 'ascending';
  const isNumber = heading.classList.contains('n');
  const rows = [...table.tBodies[0].rows];
  const keys = new Map(rows.map((row) => {
    const text = row.cells[column] ? cellText(row.cells[column]) : '';
    return [row, isNumber ? numberIn(text) : text];
  }));
  const order = (a, b) => isNumber ? a - b || 0 : a.localeCompare(b, 'en', { numeric: true });
  rows.sort((a, b) => (down ? -1 : 1) * order(keys.get(a), keys.get(b)));
  table.tBodies[0].append(...rows);
  for (const th of table.tHead.rows[0].cells) th.removeAttribute('aria-sort');
  heading.setAttribute('aria-sort', down ? 'descending' : 'ascending');
}

// A cell that a spreadsheet would take for a formula is marked as text: names are foreign.
function asCsv(table) {
  const quoted = (cell) => {
    let text = cellText(cell);
    if (/^[=+\-@\t\r]/.test(text) && !/^[-+]?[\d.]+$/.test(text)) text = "'" + text;
    return '"' + text.replace(/"/g, '""') + '"';
  };
  const rows = [...table.tHead.rows, ...table.tBodies[0].rows];
  return rows.map((row) => [...row.cells].map(quoted).join(',')).join('\r\n') + '\r\n';
}

function startTables() {
  for (const table of document.querySelectorAll('.wide > table')) {
    [...table.tHead.rows[0].cells].forEach((heading, column) => {
      if (!heading.textContent.trim()) return;
      const button = element('button', { class: 'sort' }, ...heading.childNodes);
      button.addEventListener('click', () => sortBy(table, column, heading));
      heading.append(button);
    });
    const name = table.caption.textContent;
    const button = element('button', { class: 'csv', 'aria-label': 'Copy as CSV: ' + name }, 'Copy as CSV');
    button.addEventListener('click', () => copy(asCsv(table), button));
    table.caption.append(' ', button);
  }
}
