'use strict';
// Sorts tables by a column and filters long ones. Without it everything stands there as it is:
// nothing here makes or changes a figure.
(() => {
  const textOf = (row, column) => row.cells[column].textContent.trim();

  // Numbers by size, words by the alphabet; what is not there comes last either way.
  const order = (column, isNumber, sign) => (a, b) => {
    const [one, other] = [textOf(a, column), textOf(b, column)];
    if (!isNumber) return sign * one.localeCompare(other, 'en', { numeric: true });
    const [x, y] = [Number.parseFloat(one), Number.parseFloat(other)];
    if (Number.isNaN(x) || Number.isNaN(y)) return Number.isNaN(x) - Number.isNaN(y);
    return sign * (x - y);
  };

  const sortable = (table) => {
    const body = table.tBodies[0];
    const original = [...body.rows];
    const heads = [...table.tHead.rows[0].cells];
    heads.forEach((head, column) => {
      const button = document.createElement('button');
      const mark = document.createElement('span');
      mark.className = 'arrow';
      mark.setAttribute('aria-hidden', 'true');
      button.type = 'button';
      button.append(...head.childNodes, mark);
      head.append(button);
      button.addEventListener('click', () => {
        const next = { none: 'ascending', ascending: 'descending', descending: 'none' };
        const state = next[head.getAttribute('aria-sort') ?? 'none'];
        for (const other of heads) {
          other.removeAttribute('aria-sort');
          other.querySelector('.arrow').textContent = '';
        }
        const rows = [...original];
        if (state !== 'none') {
          head.setAttribute('aria-sort', state);
          mark.textContent = state === 'ascending' ? ' \u2191' : ' \u2193';
          const sign = state === 'ascending' ? 1 : -1;
          rows.sort(order(column, head.classList.contains('n'), sign));
        }
        body.append(...rows);
      });
    });
  };

  const filterable = (table) => {
    const rows = [...table.tBodies[0].rows];
    const label = document.createElement('label');
    const input = document.createElement('input');
    const shown = document.createElement('span');
    const count = (n) => { shown.textContent = ` ${n} of ${rows.length} rows`; };
    input.type = 'search';
    shown.setAttribute('role', 'status');
    label.className = 'filter';
    label.append('Rows with ', input, shown);
    count(rows.length);
    // Every word must be somewhere in the row.
    input.addEventListener('input', () => {
      const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
      let n = 0;
      for (const row of rows) {
        const text = row.textContent.toLowerCase();
        row.hidden = !words.every((word) => text.includes(word));
        if (!row.hidden) n += 1;
      }
      count(n);
    });
    table.parentElement.before(label);
  };

  document.querySelectorAll('table.sortable').forEach(sortable);
  document.querySelectorAll('table.filterable').forEach(filterable);
})();
