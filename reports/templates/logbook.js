'use strict';
(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const byEntry = new Map(data.forms.map(form => [form.entry, form]));
  const byLog = new Map(data.forms.map(form => [form.log, form]));
  const at = id => document.getElementById(id);
  const place = 'rowshelf-logbook:' + data.garden;
  const store = { kept: [], saved: [], drafts: {}, units: {}, kind: data.forms[0].entry };
  let form = data.forms[0];
  let remembers = true;

  const make = (name, attributes = {}, ...inside) => {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.append(...inside);
    return element;
  };
  const warn = (id, text) => { at(id).textContent = text; at(id).hidden = !text; };
  const say = text => { at('said').textContent = text; };

  // What is written is kept at every letter, so that a reload or a flat battery loses nothing.
  const recall = () => {
    try {
      const found = JSON.parse(localStorage.getItem(place) || '{}');
      for (const key of ['kept', 'saved']) if (Array.isArray(found[key])) store[key] = found[key].filter(row => row && row.cells && byLog.has(row.log));
      for (const key of ['drafts', 'units']) if (found[key] && typeof found[key] === 'object') store[key] = found[key];
      if (byEntry.has(found.kind)) store.kind = found.kind;
    } catch { remembers = false; }
  };
  const remember = () => {
    try {
      localStorage.setItem(place, JSON.stringify(store));
      remembers = localStorage.getItem(place) !== null;
    } catch { remembers = false; }
    warn('warning', remembers ? '' : 'This browser keeps nothing for this page: save your rows before you close it, or open the page in another browser.');
  };

  const today = () => {
    const now = new Date();
    const two = number => String(number).padStart(2, '0');
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  };
  const draft = () => store.drafts[form.entry] || (store.drafts[form.entry] = {});

  const field = cell => {
    const id = 'cell-' + cell.name;
    const shared = { id, name: cell.name, 'aria-describedby': 'hint-' + cell.name };
    if (cell.needed) shared['aria-required'] = 'true';
    let input;
    if (cell.kind === 'words') {
      input = make('select', shared, make('option', { value: '' }, ''));
      for (const [word, meaning] of cell.words) input.append(make('option', { value: word }, meaning && meaning !== word ? `${word}: ${meaning}` : word));
    } else {
      input = make('input', { ...shared, type: cell.kind === 'day' ? 'date' : 'text' });
      if (cell.kind === 'number') input.setAttribute('inputmode', 'decimal');
    }
    const offered = data.offers[cell.name];
    const own = cell.name === 'batch_id' && form.entry === 'batch' || cell.name === 'sowing_id' && form.entry === 'sowing';
    const box = make('div', { class: 'field' }, make('label', { for: id }, cell.label + (cell.needed ? ' (needed)' : '')), make('span', { class: 'hint', id: 'hint-' + cell.name }, cell.hint));
    if (offered && !own && cell.kind === 'text') {
      const list = make('datalist', { id: 'list-' + cell.name });
      for (const [word, more] of offered) list.append(make('option', { value: word }, more ? `${word}: ${more}` : word));
      input.setAttribute('list', list.id);
      box.append(list);
    }
    const written = draft()[cell.name];
    input.value = written !== undefined ? written : cell.name === form.day ? today() : '';
    if (cell.units.length) {
      const unit = make('select', { 'aria-label': `Unit of ${cell.label}`, id: 'unit-' + cell.name });
      for (const word of cell.units) unit.append(make('option', { value: word }, word));
      const last = store.units[form.entry + ' ' + cell.name];
      if (cell.units.includes(last)) unit.value = last;
      unit.addEventListener('change', () => { store.units[form.entry + ' ' + cell.name] = unit.value; remember(); });
      box.append(make('div', { class: 'pair' }, input, unit));
    } else {
      box.append(input);
    }
    input.addEventListener('input', () => { draft()[cell.name] = input.value; input.removeAttribute('aria-invalid'); remember(); });
    return box;
  };

  const show = entry => {
    form = byEntry.get(entry);
    store.kind = entry;
    for (const radio of at('kinds').querySelectorAll('input')) radio.checked = radio.value === entry;
    at('title').textContent = form.title;
    at('first').replaceChildren(...form.cells.filter(cell => cell.first).map(field));
    at('more').replaceChildren(...form.cells.filter(cell => !cell.first).map(field));
    at('fold').open = form.cells.some(cell => !cell.first && draft()[cell.name]);
    warn('wrong', '');
    remember();
  };

  const read = cell => {
    let text = at('cell-' + cell.name).value.replace(/[\u0000-\u001f\u007f\u0085\u2028\u2029]+/g, ' ').trim();
    // A bare number takes the unit chosen beside it; whoever writes a unit means that one.
    if (text && cell.units.length && /^[+-]?[\d\s.,/\u00bc-\u00be\u2150-\u215e]+$/.test(text)) text += ' ' + at('unit-' + cell.name).value;
    return text;
  };
  const isFormula = text => data.formula.some(start => text.startsWith(start));

  const keep = () => {
    const cells = {};
    const wrong = [];
    const blame = (cell, why) => { wrong.push([cell, why]); };
    for (const cell of form.cells) {
      let text = read(cell);
      if (cell.needed && !text) blame(cell, `${cell.label}: every row needs it.`);
      if (text && isFormula(text) && cell.guarded === 'refused') blame(cell, `${cell.label}: begins with ${text[0]}, as a formula does; write another.`);
      if (isFormula(text) && cell.guarded === 'quoted') text = "'" + text;
      cells[cell.name] = text;
    }
    for (const group of form.one_of) {
      if (!group.some(name => cells[name])) blame(form.cells.find(cell => cell.name === group[0]), `Fill in ${group.join(' or ').replace(/_/g, ' ')}.`);
    }
    warn('wrong', wrong.map(([, why]) => why).join(' '));
    for (const cell of form.cells) at('cell-' + cell.name).removeAttribute('aria-invalid');
    if (wrong.length) {
      for (const [cell] of wrong) at('cell-' + cell.name).setAttribute('aria-invalid', 'true');
      at('cell-' + wrong[0][0].name).focus();
      return;
    }
    store.kept.push({ log: form.log, cells });
    delete store.drafts[form.entry];
    show(form.entry);
    list();
    say(`Kept: ${words(cells)}.`);
  };

  const words = cells => Object.values(cells).filter(text => text).join(', ');

  const line = (rows, row) => {
    const form = byLog.get(row.log);
    const away = make('button', { type: 'button', 'aria-label': `Take away ${form.entry}: ${words(row.cells)}` }, 'Take away');
    away.addEventListener('click', () => {
      rows.splice(rows.indexOf(row), 1);
      remember();
      list();
      say(`Taken away: ${words(row.cells)}.`);
      at('kept-title').scrollIntoView({ block: 'nearest' });
    });
    return make('div', { class: 'row' }, make('p', {}, words(row.cells)), away);
  };

  const parts = (rows, button) => data.forms.flatMap(form => {
    const own = rows.filter(row => row.log === form.log);
    if (!own.length) return [];
    const heading = make('h3', {}, `${form.log}: ${own.length} row${own.length === 1 ? '' : 's'}`);
    const text = make('textarea', { readonly: '', rows: 4, id: `text-${rows === store.kept ? 'kept' : 'saved'}-${form.log}` });
    text.value = csv(form, own);
    text.addEventListener('focus', () => text.select());
    // Where a browser saves no files, the same text can be copied or sent.
    const copy = make('details', {}, make('summary', {}, 'Or copy the rows as text'), make('label', { for: text.id }, `Text of ${form.log}.csv`), text);
    return [heading, ...own.map(row => line(rows, row)), button(form, own), copy];
  });

  const list = () => {
    at('none').hidden = store.kept.length > 0;
    at('kept').replaceChildren(...parts(store.kept, (form, rows) => saver(form, rows, 'Save', true)));
    at('saved-part').hidden = store.saved.length === 0;
    at('saved').replaceChildren(...parts(store.saved, (form, rows) => saver(form, rows, 'Save again', false)));
  };

  const csv = (form, rows) => {
    const cell = text => /[",\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
    // A cell of a column that this page no longer has is handed over all the same.
    const names = [...new Set([...form.cells.map(column => column.name), ...rows.flatMap(row => Object.keys(row.cells))])];
    const lines = [names, ...rows.map(row => names.map(name => row.cells[name] || ''))];
    return lines.map(cells => cells.map(cell).join(',') + '\r\n').join('');
  };

  const saver = (form, rows, text, first) => {
    const button = make('button', { type: 'button' }, `${text} ${form.log} (${rows.length})`);
    button.addEventListener('click', () => {
      const now = new Date().toTimeString().slice(0, 8).replace(/:/g, '');
      const name = `${form.log}-phone-${today()}-${now}.csv`;
      const link = make('a', { download: name, href: URL.createObjectURL(new Blob([csv(form, rows)], { type: 'text/csv;charset=utf-8' })) });
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(link.href), 60000);
      if (first) {
        store.kept = store.kept.filter(row => !rows.includes(row));
        store.saved.push(...rows);
        remember();
        list();
      }
      say(`Saved as ${name}. Put it into the season folder.`);
    });
    return button;
  };

  // logbook.html#log=use&batch_id=B12 opens at that entry with the cell filled in; anything unknown is passed over.
  const prefill = () => {
    const asked = new URLSearchParams(location.hash.slice(1));
    const wanted = byEntry.get(asked.get('log')) || byLog.get(asked.get('log'));
    if (!wanted) return false;
    form = wanted;
    for (const cell of wanted.cells) if (asked.has(cell.name)) draft()[cell.name] = asked.get(cell.name).slice(0, 200);
    show(wanted.entry);
    return true;
  };

  // The page open twice: each takes over what the other kept, so that neither writes over it.
  window.addEventListener('storage', event => {
    if (event.key !== place) return;
    const mine = store.drafts;
    recall();
    store.drafts = { ...store.drafts, ...mine };
    list();
  });

  recall();
  at('kinds').addEventListener('change', event => show(event.target.value));
  at('form').addEventListener('submit', event => { event.preventDefault(); keep(); });
  window.addEventListener('hashchange', prefill);
  // A page left open overnight has the new day.
  document.addEventListener('visibilitychange', () => {
    if (!document.hidden && draft()[form.day] === undefined) at('cell-' + form.day).value = today();
  });
  if (!prefill()) show(store.kind);
  list();
})();
