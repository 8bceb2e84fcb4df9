// The parts that forms are made of. Each keeps what is typed in its draft.
import { fresh, h, put } from './dom.js';
import { canon, decimalSign, digitsShown, inside, unitOf } from './units.js';
import { t } from './texts.js';

// numberField is a typed number with its unit; quantity as in units.js.
export function numberField(form, name, label, quantity, more = {}) {
  const id = fresh('n');
  const unit = unitOf(quantity, form.units);
  const input = h('input', {
    id, type: 'text', inputmode: 'decimal', autocomplete: 'off', 'data-name': name, value: form.get(name) ?? '',
    'aria-describedby': `${id}-said`, oninput: (e) => { form.set(name, e.target.value); judge(); more.onchange?.(); },
  });
  const said = h('span', { id: `${id}-said`, class: 'said-wrong' });
  const judge = () => {
    const wrong = input.value.trim() !== '' && canon(input.value) === null;
    said.textContent = wrong ? t('form.number_wrong', { example: `1234${decimalSign()}5` }) : '';
    input.setAttribute('aria-invalid', String(wrong));
  };
  judge();
  return h('div', { class: 'field' },
    h('label', { for: id }, label, unit ? h('span', { class: 'unit' }, ` ${unit}`) : null, more.optional ? h('span', { class: 'unit' }, ` · ${t('form.optional')}`) : null),
    input, said);
}

// valueOf is the inside number of a field; undefined where it is empty, null
// where it is no number.
export function valueOf(form, name, quantity) {
  const text = String(form.get(name) ?? '');
  if (text.trim() === '') return undefined;
  const digits = canon(text);
  return digits === null ? null : inside(quantity, digits, form.units);
}

// valueOr is valueOf, and where nothing was typed the exact number in force.
export function valueOr(form, name, quantity, inForce) {
  return form.touched(name) ? valueOf(form, name, quantity) : inForce ?? undefined;
}

export function textField(form, name, label, more = {}) {
  const id = fresh('w');
  return h('div', { class: 'field' },
    h('label', { for: id }, label, more.optional ? h('span', { class: 'unit' }, ` · ${t('form.optional')}`) : null),
    h('input', { id, type: 'text', maxlength: more.max ?? 200, autocomplete: 'off', 'data-name': name, value: form.get(name) ?? '',
      'aria-describedby': more.hint ? `${id}-hint` : null, oninput: (e) => { form.set(name, e.target.value); more.onchange?.(); } }),
    more.hint && h('span', { id: `${id}-hint` }, more.hint));
}

// tiles is a choice of one; options are {value, label, picture}.
export function tiles(form, name, label, options, onchange) {
  const group = fresh('c');
  return h('fieldset', { class: 'tiles' }, h('legend', {}, label), h('div', { class: options.every((o) => o.label.length <= 10) ? 'grid short' : 'grid' },
    options.map((o) => {
      const id = fresh('o');
      return h('label', { class: 'tile', for: id },
        h('input', { id, type: 'radio', name: group, 'data-name': name, value: o.value, checked: form.get(name) === o.value,
          onchange: () => { form.set(name, o.value); onchange?.(); } }),
        h('span', { class: 'tick', 'aria-hidden': 'true' }), o.picture, h('span', {}, o.label));
    })));
}

// folded is a choice that shows what is chosen and opens at a touch.
export function folded(form, name, label, options, onchange) {
  const chosen = options.find((o) => o.value === form.get(name));
  if (!chosen && options.length > 0) return tiles(form, name, label, options, onchange);
  if (options.length < 2) return h('p', { class: 'folded' }, `${label}: `, h('b', {}, chosen?.label ?? '–'));
  return h('details', { class: 'folded' },
    h('summary', { 'data-key': `fold-${name}` }, h('span', {}, `${label}: `, h('b', {}, chosen.label), h('span', { class: 'unit' }, ` · ${t('form.change')}`))),
    tiles(form, name, label, options, onchange));
}

export function tick(form, name, label, onchange) {
  const id = fresh('k');
  return h('label', { class: 'tile wide', for: id },
    h('input', { id, type: 'checkbox', 'data-name': name, checked: Boolean(form.get(name)), onchange: (e) => { form.set(name, e.target.checked); onchange?.(); } }),
    h('span', { class: 'tick', 'aria-hidden': 'true' }), h('span', {}, label));
}

// keypad types into a field of the draft and shows it large.
export function keypad(form, name, label, quantity, onchange) {
  const id = fresh('p');
  const shown = h('input', { id, class: 'typed', type: 'text', inputmode: 'none', autocomplete: 'off', 'data-name': name, value: form.get(name) ?? '',
    oninput: (e) => { form.set(name, e.target.value); onchange?.(); } });
  const change = (text) => { shown.value = text; form.set(name, text); onchange?.(); };
  const press = (sign) => {
    if (sign === '⌫') change(shown.value.slice(0, -1));
    else if (sign !== decimalSign() || !shown.value.includes(sign)) change((shown.value + sign).slice(0, 10));
  };
  const key = (sign, name) => h('button', { type: 'button', class: 'key', 'data-sign': sign, 'aria-label': name, onclick: () => press(sign) }, sign);
  return h('div', { class: 'keypad' },
    h('div', { class: 'typed-row' }, h('label', { for: id }, label), shown, h('span', { class: 'unit' }, unitOf(quantity, form.units))),
    h('div', { class: 'keys' }, ['1', '2', '3'].map((n) => key(n)), key('⌫', t('pad.rub')), ['4', '5', '6'].map((n) => key(n)),
      key(decimalSign(), t('pad.decimal')), ['7', '8', '9', '0'].map((n) => key(n))));
}

// several is a keypad with a list: each number is added, the last can be taken
// back. Numbers are kept as canonical digits; null: missing (where it may be).
export function several(form, name, quantity, words, more = {}) {
  const entry = `${name}_typed`;
  const box = h('div', { class: 'list-box' });
  const list = () => form.get(name) ?? [];
  const changed = () => { draw(); more.onchange?.(); };
  const pad = keypad(form, entry, words.label, quantity, changed);
  const typing = () => pad.querySelector('.typed');
  const empty = () => { form.set(entry, ''); typing().value = ''; };
  const add = () => {
    const digits = canon(form.get(entry) ?? '');
    if (digits === null) { typing().focus(); return; }
    form.set(name, [...list(), digits]);
    empty();
    changed();
  };
  const undo = () => { form.set(name, list().slice(0, -1)); changed(); };
  const miss = () => { form.set(name, [...list(), null]); changed(); };
  function draw() {
    put(box,
      h('ol', { class: 'lifts', 'aria-label': words.list }, list().map((d, i) => h('li', {}, h('span', { class: 'unit' }, `${i + 1} · `), d === null ? t('pad.missing') : digitsShown(quantity, d, form.units)))),
      list().length > 0 && h('button', { type: 'button', 'data-key': 'back-last', class: 'quiet', onclick: undo }, words.undo));
  }
  draw();
  return h('div', { class: 'several' }, pad,
    h('div', { class: 'row' }, h('button', { type: 'button', class: 'add', onclick: add }, words.add), more.missing && h('button', { type: 'button', class: 'quiet', onclick: miss }, t('pad.miss'))), box);
}

// allOf is the list with what is typed and not added yet.
export function allOf(form, name) {
  const open = canon(form.get(`${name}_typed`) ?? '');
  return [...(form.get(name) ?? []), ...(open === null ? [] : [open])];
}

export function openWrong(form, name) {
  const text = (form.get(`${name}_typed`) ?? '').trim();
  return text !== '' && canon(text) === null;
}

