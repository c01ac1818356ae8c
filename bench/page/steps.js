'use strict';
// Goes through the steps of a trace, forwards and backwards, and marks where each is in the
// source and in the listing. Without it every step stands in the table all the same.
(() => {
  const byId = (id) => document.getElementById(id);
  const rows = [...document.querySelectorAll('#steps tbody tr')];
  const stepper = byId('stepper');
  if (rows.length === 0) return;
  document.documentElement.classList.add('stepping');
  stepper.hidden = false;

  let at = -1;
  let marked = [];

  // Every row that can be marked has its mark from the start, unseen: one that came and went
  // would have all of a long table laid out anew at each step.
  for (const row of document.querySelectorAll('#steps tbody tr, .pane tr[id]')) {
    const arrow = document.createElement('span');
    arrow.className = 'arrow';
    arrow.textContent = '\u25b6 ';
    row.cells[0].prepend(arrow);
  }

  const scrollInto = (row) => {
    // The pane scrolls, and the page stays where it is.
    const pane = row.closest('.pane, .scroll');
    if (!pane) return;
    const [outer, inner] = [pane.getBoundingClientRect(), row.getBoundingClientRect()];
    const room = 48;
    if (inner.top < outer.top + room) pane.scrollTop += inner.top - outer.top - room;
    if (inner.bottom > outer.bottom - room) pane.scrollTop += inner.bottom - outer.bottom + room;
  };

  const mark = (row) => {
    row.classList.add('current');
    row.setAttribute('aria-current', 'step');
    marked.push(row);
    scrollInto(row);
  };

  const say = (row) => {
    const cell = (index) => row.cells[index].textContent.replace('\u25b6', '').trim();
    const now = byId('now');
    const piece = (name, text, className) => {
      const span = document.createElement('span');
      if (className) span.className = className;
      span.textContent = text;
      now.append(`${name} `, span, ' ');
    };
    now.textContent = '';
    const number = cell(0) === '+' ? 'a further operation' : `instruction ${cell(0)}`;
    piece(`Step ${at + 1} of ${rows.length}, ${number}, line ${cell(2) || '\u2013'}:`, cell(4), 'op');
    piece('before (', cell(5), 'value');
    piece(') after (', cell(6), row.cells[6].className);
    now.append(')');
  };

  const go = (to) => {
    const next = Math.min(Math.max(to, 0), rows.length - 1);
    if (next === at) return;
    at = next;
    for (const row of marked) {
      row.classList.remove('current');
      row.removeAttribute('aria-current');
    }
    marked = [];
    const row = rows[at];
    [row, byId(row.dataset.place), byId(row.dataset.line)].filter(Boolean).forEach(mark);
    say(row);
    byId('first').disabled = byId('back').disabled = byId('line-back').disabled = at === 0;
    const isLast = at === rows.length - 1;
    byId('last').disabled = byId('forward').disabled = byId('line-forward').disabled = isLast;
  };

  // To where another source line begins, or to the end.
  const lineOf = (index) => rows[index].dataset.line;
  const lineForward = () => {
    let to = at;
    while (to < rows.length - 1 && lineOf(to) === lineOf(at)) to += 1;
    go(to);
  };
  const lineBack = () => {
    let to = Math.max(at - 1, 0);
    while (to > 0 && lineOf(to - 1) === lineOf(to)) to -= 1;
    go(to);
  };

  const does = {
    first: () => go(0),
    'line-back': lineBack,
    back: () => go(at - 1),
    forward: () => go(at + 1),
    'line-forward': lineForward,
    last: () => go(rows.length - 1),
  };
  for (const [id, act] of Object.entries(does)) byId(id).addEventListener('click', act);

  const keys = {
    ArrowLeft: 'back',
    ArrowRight: 'forward',
    'Shift+ArrowLeft': 'line-back',
    'Shift+ArrowRight': 'line-forward',
    Home: 'first',
    End: 'last',
  };
  let byTab = false;
  document.addEventListener('pointerdown', () => { byTab = false; });
  document.addEventListener('keydown', (event) => {
    if (event.key === 'Tab') byTab = true;
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const act = does[keys[(event.shiftKey ? 'Shift+' : '') + event.key]];
    // What is wider than its window scrolls sideways by the same keys, where Tab led there; a
    // click into it means nothing of the kind.
    const own = event.target.closest?.('.pane, .scroll');
    const isIn = byTab && own === event.target;
    if (!act || (isIn && own.scrollWidth > own.clientWidth)) return;
    event.preventDefault();
    act();
  });

  const stepOfHash = () => {
    const id = decodeURIComponent(location.hash.slice(1));
    return rows.findIndex((row) => row.id === id);
  };
  window.addEventListener('hashchange', () => {
    const step = stepOfHash();
    if (step >= 0) go(step);
  });
  go(Math.max(stepOfHash(), 0));
})();
