// The density test: a container of known volume, weighed.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h, put } from '../dom.js';
import { allOf, numberField, openWrong, several, valueOf } from '../fields.js';
import { say, sendForm, work } from '../send.js';
import { cautions, findings, meanOf, outcome, stepper } from '../stepper.js';
import { t } from '../texts.js';
import { bare, full, inside, signed } from '../units.js';
import { optional } from './setting.js';
import { aProduct, usual } from './weigh.js';

function bodyOf(form) {
  const masses = allOf(form, 'masses').map((d) => inside('mass', d, form.units));
  const body = { product: form.get('product'), mass_kg: meanOf(masses), volume_l: valueOf(form, 'volume', 'litre') };
  if (masses.length > 1) body.repeats = masses;
  optional(body, 'tare_kg', valueOf(form, 'tare', 'mass'));
  return body;
}

function result(form, go) {
  const box = h('div', { role: 'status' });
  const body = bodyOf(form);
  work('density', body).then((r) => {
    if (r) put(box, outcome([t('density.is'), full('density', r.density_kg_m3), `± ${bare('density', r.u95_kg_m3)}`],
      r.rate_change_pct !== null && [t('density.change'), `${signed(r.rate_change_pct)} %`]), findings(r));
  });
  const send = () => sendForm(form, 'density', body, t('density.booked'), () => go('home'));
  return [box, h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'book', onclick: send }, t('test.book')))];
}

export function density({ go, redraw }) {
  const form = draft('density', () => ({ product: usual(state.view) }));
  const what = { title: t('density.container'), parts: () => [
    aProduct(form, redraw), h('p', {}, t('density.how')),
    h('div', { class: 'pair' }, numberField(form, 'volume', t('density.volume'), 'litre'), numberField(form, 'tare', t('density.tare'), 'mass', { optional: true })),
  ], ready: () => (typeof valueOf(form, 'volume', 'litre') !== 'number' || valueOf(form, 'tare', 'mass') === null ? t('form.missing') : '') };
  const masses = { title: t('density.masses'), parts: () => [
    h('p', {}, t('density.repeat')),
    several(form, 'masses', 'mass', { label: t('density.mass'), list: t('density.list'), add: t('pad.add'), undo: t('pad.undo') }),
  ], ready: () => (allOf(form, 'masses').length === 0 || openWrong(form, 'masses') ? t('form.missing') : '') };
  return { title: t('do.density'), parts: stepper(form, [cautions(t('caution.stop'), t('caution.dust'), t('caution.manual')), what, masses,
    { title: t('test.result'), parts: () => result(form, go) }], redraw, (words) => say('bad', words)) };
}
