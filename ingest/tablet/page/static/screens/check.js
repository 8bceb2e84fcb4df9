// The machine check, walked item by item.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h } from '../dom.js';
import { numberField, textField, valueOf } from '../fields.js';
import { say, sendForm } from '../send.js';
import { t, tc } from '../texts.js';
import { clock, number } from '../units.js';

const marks = { passed: ['good', '✓'], failed: ['bad', '✗'], unknown: ['plain', '○'] };

function line(c, i, v, pick) {
  const [kind, shape] = marks[c.state] ?? marks.unknown;
  return h('button', { type: 'button', class: 'entry', 'data-key': `item-${c.item}`, onclick: () => pick(i) },
    h('b', {}, h('span', { class: `shape ${kind}`, 'aria-hidden': 'true' }, shape), tc('item', c.item)),
    h('span', {}, tc('check_state', c.state), c.at ? ` · ${clock(c.at, v.time_zone)}` : '', c.safety ? ` · ${t('check.safety')}` : ''));
}

export function check({ redraw }) {
  const v = state.view;
  const walk = draft('check_walk');
  const items = v.checks ?? [];
  const at = walk.get('at');
  const to = (n) => { walk.set('at', n); redraw(); document.getElementById('main').scrollTop = 0; document.querySelector('main h2')?.focus({ preventScroll: true }); };
  const overview = () => [
    h('p', { class: 'note' }, t('caution.stop')),
    h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'walk', onclick: () => to(0) }, t('check.walk'))),
    h('div', { class: 'list' }, items.map((c, i) => line(c, i, v, to))),
  ];
  if (at === undefined || at < 0 || at >= items.length) return { title: t('do.check'), parts: overview() };
  return { title: t('do.check'), parts: one(items[at], at, items.length, to) };
}

function one(c, at, all, to) {
  const form = draft(`check_${c.item}`);
  const send = (pass) => {
    const value = c.unit ? valueOf(form, 'value', 'plain') : pass ? 1 : 0;
    if (typeof value !== 'number') { say('bad', t('form.missing')); document.querySelector('[data-name=value]')?.focus(); return; }
    const body = { item: c.item, value, unit: c.unit || '-', pass }; // the book wants a unit: '-' where the item has none
    const note = (form.get('note') ?? '').trim();
    if (note) body.note = note;
    const position = (form.get('position') ?? '').trim();
    if (position) body.position = position;
    sendForm(form, 'check', body, t('check.booked', { item: tc('item', c.item), state: tc('check_state', pass ? 'passed' : 'failed') }), () => to(at + 1 < all ? at + 1 : -1));
  };
  return [
    h('p', { class: 'step' }, t('step.of', { n: at + 1, all })),
    h('h2', { tabindex: '-1' }, tc('item', c.item)),
    h('p', {}, tc('look', c.item)),
    c.safety && h('p', { class: 'note' }, t('check.safety_long')),
    c.unit && numberField(form, 'value', c.limit_high === null ? t('check.value', { unit: c.unit }) : t('check.value_limit', { unit: c.unit, limit: number(c.limit_high) }), 'plain'),
    h('div', { class: 'grid' },
      h('button', { type: 'button', class: 'main', 'data-key': 'pass', onclick: () => send(true) }, h('span', { 'aria-hidden': 'true' }, '✓ '), t('check.pass')),
      h('button', { type: 'button', class: 'danger', 'data-key': 'fail', onclick: () => send(false) }, h('span', { 'aria-hidden': 'true' }, '✗ '), t('check.fail'))),
    h('div', { class: 'pair' }, textField(form, 'position', t('check.position'), { optional: true, max: 64 }), textField(form, 'note', t('form.note'), { optional: true, max: 2000 })),
    h('div', { class: 'grid' }, h('button', { type: 'button', 'data-key': 'skip', onclick: () => to(at + 1 < all ? at + 1 : -1) }, t('check.skip')), h('button', { type: 'button', 'data-key': 'overview', onclick: () => to(-1) }, t('check.overview'))),
  ];
}
