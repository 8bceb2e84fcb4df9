// What the machine is set to.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h } from '../dom.js';
import { numberField, textField, tiles, valueOr } from '../fields.js';
import { say, sendForm } from '../send.js';
import { t, tc } from '../texts.js';
import { typed } from '../units.js';
import { aProduct, usual } from './weigh.js';

const rateInForce = (v) => v.work.set_rate_kg_ha ?? v.setting?.set_rate_kg_ha;

// inForce is a form's first content: the setting in force as one would type it.
export function inForce(v, units) {
  const now = v.setting ?? {};
  return {
    product: usual(v), width: typed('length', now.bout_width_m, units), rate: typed('rate', rateInForce(v), units),
    gate: typed('mm', now.gate_mm), gear: now.belt_gear ?? '', pto: typed('rpm', now.pto_rpm), discs: now.disc_set, mode: now.rate_mode,
  };
}

export const discs = (form) => tiles(form, 'discs', t('setting.discs'), ['granular', 'powder'].map((d) => ({ value: d, label: tc('form_of', d) })));

export const optional = (body, name, value) => { if (value !== undefined && value !== '') body[name] = value; };

export function setting({ go, redraw }) {
  const v = state.view;
  const form = draft('setting', (units) => inForce(v, units));
  const send = () => {
    const now = v.setting ?? {};
    const [width, rate] = [valueOr(form, 'width', 'length', now.bout_width_m), valueOr(form, 'rate', 'rate', rateInForce(v))];
    const [gate, pto] = [valueOr(form, 'gate', 'mm', now.gate_mm), valueOr(form, 'pto', 'rpm', now.pto_rpm)];
    if (typeof width !== 'number' || typeof rate !== 'number' || gate === null || pto === null) { say('bad', t('form.missing')); return; }
    const body = { product: form.get('product'), bout_width_m: width, set_rate_kg_ha: rate };
    optional(body, 'gate_mm', gate);
    optional(body, 'pto_rpm', pto);
    optional(body, 'belt_gear', (form.get('gear') ?? '').trim());
    optional(body, 'disc_set', form.get('discs'));
    optional(body, 'rate_mode', form.get('mode'));
    if (v.setting?.catch_test && v.setting.product === body.product) body.catch_test = v.setting.catch_test;
    sendForm(form, 'setting', body, t('setting.booked'), () => go('home'));
  };
  return { title: t('do.setting'), parts: [
    aProduct(form, redraw),
    h('div', { class: 'pair' },
      numberField(form, 'rate', t('setting.rate'), 'rate'), numberField(form, 'width', t('setting.width'), 'length'),
      numberField(form, 'gate', t('setting.gate'), 'mm', { optional: true }), textField(form, 'gear', t('setting.gear'), { optional: true, max: 64 }),
      numberField(form, 'pto', t('setting.pto'), 'rpm', { optional: true })),
    discs(form),
    tiles(form, 'mode', t('setting.mode'), ['fixed', 'ground_speed', 'variable'].map((m) => ({ value: m, label: tc('mode', m) }))),
    h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'book', onclick: send }, t('setting.book'))),
  ] };
}
