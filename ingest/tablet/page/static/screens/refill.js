// Loads entering the hopper, and what was left in it just before.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h } from '../dom.js';
import { keypad, tick, tiles, valueOf } from '../fields.js';
import { productName } from '../head.js';
import { residual, residualOf } from '../residual.js';
import { say, sendForm } from '../send.js';
import { t } from '../texts.js';
import { clock, full } from '../units.js';
import { aProduct, onlyOne, spreaders, usual } from './weigh.js';

export function refill({ go, redraw }) {
  const v = state.view;
  const loader = v.role === 'loader';
  const form = draft('refill', () => ({ for: onlyOne(v), product: usual(v) }));
  const waiting = v.waiting_loads ?? [];
  const ours = waiting.filter((l) => !loader || !l.for || !form.get('for') || l.for === form.get('for'));
  const chosen = () => waiting.filter((l) => form.get(`load_${l.load}`)).map((l) => l.load);
  const send = () => {
    const left = residualOf(form);
    if (loader && !form.get('for')) { say('bad', t('refill.no_spreader')); return; }
    if (!left) { say('bad', t('residual.missing')); document.querySelector('.residual input')?.focus(); return; }
    const told = valueOf(form, 'told', 'mass');
    if (told === null) { say('bad', t('weigh.no_number')); return; }
    const body = { loads: chosen(), residual: left };
    if (loader) body.for = form.get('for');
    if (told !== undefined && form.get('called')) { body.told_kg = told; body.product = form.get('product'); }
    sendForm(form, 'refill', body, t('refill.booked'), () => go('home'));
  };
  const name = (l) => `${full('mass', l.net_kg, 0)} · ${productName(v, l.product)} · ${clock(l.at, v.time_zone)}`;
  return { title: loader ? t('do.fill') : t('do.refill'), parts: [
    loader && tiles(form, 'for', t('refill.for'), spreaders(v), redraw),
    h('fieldset', { class: 'tiles' }, h('legend', {}, t('refill.loads')),
      ours.length === 0 ? h('p', {}, t('refill.no_loads')) : ours.map((l) => tick(form, `load_${l.load}`, name(l)))),
    !loader && tick(form, 'called', t('refill.called'), redraw),
    !loader && form.get('called') && [keypad(form, 'told', t('refill.told'), 'mass'), aProduct(form, redraw)],
    residual(form, redraw),
    h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'book', onclick: send }, t('refill.book'))),
  ] };
}
