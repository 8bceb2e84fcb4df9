// Weighing a load: lifts that add up, or one number.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h } from '../dom.js';
import { allOf, folded, keypad, numberField, openWrong, several, textField, tick, tiles, valueOf } from '../fields.js';
import { residual, residualOf } from '../residual.js';
import { say, sendForm } from '../send.js';
import { t, tc } from '../texts.js';
import { canon, digitsShown, inside, sum, times } from '../units.js';

export const products = (v) => (v.products ?? []).map((p) => ({ value: p.product, label: p.name || p.product }));
export const spreaders = (v) => (v.spreaders ?? []).map((m) => ({ value: m.machine, label: m.name || m.machine }));

// aProduct is a choice of the office's products; where it has sent none the
// name is typed.
export function aProduct(form, redraw) {
  const all = products(state.view);
  if (all.length > 0) return folded(form, 'product', t('form.product'), all, redraw);
  return [textField(form, 'product', t('form.product'), { max: 48, hint: t('form.product_typed'), onchange: () => form.set('product', token(form.get('product'))) })];
}

// token is a typed name as the book names products: Ground lime, ground-lime.
const token = (words) => words.normalize('NFD').replace(/[\u0300-\u036f]/g, '').toLowerCase().replace(/[^a-z0-9_]+/g, '-').replace(/^[-_]+|-+$/g, '');

export const onlyOne = (v) => (v.spreaders?.length === 1 ? v.spreaders[0].machine : undefined);

export function usual(v) { return v.work.product || v.setting?.product || v.products?.[0]?.product; }

// net is the digits of the load as it stands, or null where something is off.
function net(form) {
  if (form.get('method') !== 'bucket') return canon(form.get('one') ?? '');
  const lifts = allOf(form, 'lifts');
  if (lifts.length === 0 || openWrong(form, 'lifts')) return null;
  const tare = (form.get('tare') ?? '').trim() === '' ? '0' : canon(form.get('tare'));
  return tare === null ? null : sum([...lifts, times(`-${tare}`, String(lifts.length))]);
}

function bodyOf(form, loader) {
  const bucket = form.get('method') === 'bucket';
  const mass = (digits) => inside('mass', digits, form.units);
  const body = { product: form.get('product'), method: form.get('method') };
  if (bucket) {
    body.lifts_kg = allOf(form, 'lifts').map(mass);
    const tare = valueOf(form, 'tare', 'mass');
    if (tare !== undefined) body.tare_kg = tare;
  } else if (body.method === 'volume') body.volume_m3 = Number(canon(form.get('one')));
  else body.net_kg = mass(canon(form.get('one')));
  if (form.get('pile')) body.stockpile = form.get('pile');
  if (form.get('docket')) body.docket = form.get('docket').trim();
  if (form.get('scale')) body.scale = form.get('scale').trim();
  if (loader && form.get('for')) body.for = form.get('for');
  if (form.get('into')) { body.refill = true; body.residual = residualOf(form); }
  return body;
}

export function weigh({ go, redraw }) {
  const v = state.view;
  const loader = v.role === 'loader';
  const form = draft('weigh', () => ({ product: usual(v), method: 'bucket', into: !loader, for: onlyOne(v) }));
  const bucket = form.get('method') === 'bucket';
  const volume = form.get('method') === 'volume';
  const total = h('p', { class: 'total', 'aria-live': 'polite' });
  const add = () => {
    const digits = net(form);
    const n = allOf(form, 'lifts').length;
    total.replaceChildren(t('weigh.total'), ' ', h('b', {}, digits === null ? '–' : volume ? digitsShown('volume', digits) : digitsShown('mass', digits, form.units)), bucket ? ` · ${t('weigh.lifts', { n })}` : '');
  };
  const send = () => {
    if (net(form) === null) { say('bad', t('weigh.no_number')); return; }
    if (form.get('into') && !residualOf(form)) { say('bad', t('residual.missing')); document.querySelector('.residual input')?.focus(); return; }
    if (loader && form.get('into') && !form.get('for')) { say('bad', t('refill.no_spreader')); return; }
    const into = form.get('into');
    const body = bodyOf(form, loader);
    const told = volume ? t('weigh.booked') : t('weigh.booked_kg', { mass: digitsShown('mass', net(form), form.units) });
    sendForm(form, 'load', body, told, () => go(loader || into ? 'home' : 'refill'));
  };
  const piles = (v.stockpiles ?? []).filter((p) => p.product === form.get('product')).map((p) => ({ value: p.stockpile, label: p.stockpile }));
  add();
  return { title: t('do.weigh'), parts: [
    loader && tiles(form, 'for', t('refill.for'), spreaders(v)),
    aProduct(form, redraw),
    bucket ? several(form, 'lifts', 'mass', { label: t('weigh.lift'), list: t('weigh.list'), add: t('weigh.add'), undo: t('weigh.undo') }, { onchange: add })
      : keypad(form, 'one', tc('method', form.get('method')), volume ? 'volume' : 'mass', add),
    total,
    tick(form, 'into', loader ? t('weigh.into_for') : t('weigh.into'), redraw),
    form.get('into') && residual(form, redraw),
    h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'book', onclick: send }, t('weigh.book'))),
    h('details', { class: 'more' }, h('summary', { 'data-key': 'more' }, t('weigh.more')),
      tiles(form, 'method', t('weigh.method'), ['bucket', 'weighbridge', 'cells', 'volume'].map((m) => ({ value: m, label: tc('method', m) })), redraw),
      bucket && numberField(form, 'tare', t('weigh.tare'), 'mass', { optional: true, onchange: add }),
      piles.length > 0 && tiles(form, 'pile', t('weigh.pile'), piles),
      textField(form, 'docket', t('weigh.docket'), { optional: true, max: 64 }), textField(form, 'scale', t('weigh.scale'), { optional: true, max: 64 })),
  ] };
}

