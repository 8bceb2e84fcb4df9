// The catch test: what the machine really delivers at its setting.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h, put } from '../dom.js';
import { allOf, numberField, openWrong, several, textField, tiles, valueOf, valueOr } from '../fields.js';
import { say, sendForm, work } from '../send.js';
import { cautions, findings, meanOf, outcome, stepper } from '../stepper.js';
import { t, tc } from '../texts.js';
import { full, inside, number, signed, unitOf } from '../units.js';
import { discs, inForce, optional } from './setting.js';
import { aProduct } from './weigh.js';

const wrong = (...values) => values.some((v) => typeof v !== 'number');

function bodyOf(form, v) {
  const now = v.setting ?? {};
  const masses = allOf(form, 'masses').map((d) => inside('mass', d, form.units));
  const body = {
    product: form.get('product'), gate_mm: valueOr(form, 'gate', 'mm', now.gate_mm), bout_width_m: valueOr(form, 'width', 'length', now.bout_width_m),
    collected_kg: meanOf(masses), caught_at: form.get('at'),
  };
  if (masses.length > 1) body.repeats = masses;
  if (form.get('by') === 'distance') body.distance_m = valueOf(form, 'distance', 'length');
  else {
    body.time_s = valueOf(form, 'time', 'second');
    body.speed_kmh = valueOf(form, 'speed', 'speed');
    if (form.get('driven') === 'ground') body.ground_driven = true;
  }
  optional(body, 'tare_kg', valueOf(form, 'tare', 'mass'));
  optional(body, 'belt_gear', (form.get('gear') ?? '').trim());
  optional(body, 'pto_rpm', valueOr(form, 'pto', 'rpm', now.pto_rpm));
  optional(body, 'disc_set', form.get('discs'));
  return body;
}

function machine(form, redraw) {
  return { title: t('catch.machine'), parts: () => [
    aProduct(form, redraw),
    h('div', { class: 'pair' }, numberField(form, 'gate', t('setting.gate'), 'mm'), numberField(form, 'width', t('setting.width'), 'length'),
      textField(form, 'gear', t('setting.gear'), { optional: true, max: 64 }), numberField(form, 'pto', t('setting.pto'), 'rpm', { optional: true })),
    discs(form),
  ], ready: () => {
    const now = state.view.setting ?? {};
    return wrong(valueOr(form, 'gate', 'mm', now.gate_mm), valueOr(form, 'width', 'length', now.bout_width_m)) || valueOr(form, 'pto', 'rpm', now.pto_rpm) === null ? t('form.missing') : '';
  } };
}

function way(form, redraw) {
  const distance = () => form.get('by') === 'distance';
  return { title: t('catch.way'), parts: () => [
    tiles(form, 'at', t('catch.at'), ['belt', 'full_width'].map((a) => ({ value: a, label: tc('caught', a) }))),
    tiles(form, 'by', t('catch.by'), ['distance', 'time'].map((b) => ({ value: b, label: tc('catch_by', b) })), redraw),
    h('p', {}, distance() ? t('catch.do_distance') : t('catch.do_time')),
    h('div', { class: 'pair' }, distance() ? numberField(form, 'distance', t('catch.distance'), 'length')
      : [numberField(form, 'time', t('catch.time'), 'second'), numberField(form, 'speed', t('catch.speed'), 'speed')]),
    !distance() && tiles(form, 'driven', t('catch.driven'), ['steady', 'ground'].map((d) => ({ value: d, label: tc('driven', d) }))),
  ], ready: () => (distance() ? wrong(valueOf(form, 'distance', 'length')) : wrong(valueOf(form, 'time', 'second'), valueOf(form, 'speed', 'speed'))) ? t('form.missing') : '' };
}

function masses(form) {
  return { title: t('catch.masses'), parts: () => [
    h('p', {}, t('catch.repeat')),
    several(form, 'masses', 'mass', { label: t('catch.mass'), list: t('catch.list'), add: t('pad.add'), undo: t('pad.undo') }),
    numberField(form, 'tare', t('catch.tare'), 'mass', { optional: true }),
  ], ready: () => (allOf(form, 'masses').length === 0 || openWrong(form, 'masses') || valueOf(form, 'tare', 'mass') === null ? t('form.missing') : '') };
}

function resultRows(r) {
  return outcome(
    [t('catch.real'), r.rate_kg_ha === null ? '–' : full('rate', r.rate_kg_ha), r.u95_pct === null ? t('catch.one_only') : `± ${number(r.u95_pct)} %`],
    r.off_pct !== null && [t('catch.off'), `${signed(r.off_pct)} %`, t('catch.against', { rate: full('rate', r.set_kg_ha) })],
    r.gate_try_mm !== null && [t('catch.gate'), `${number(r.gate_try_mm, 0)} ${unitOf('mm')}`]);
}

function result(form, go) {
  const box = h('div', { role: 'status' });
  const body = bodyOf(form, state.view);
  work('catch', body).then((r) => { if (r) put(box, resultRows(r), findings(r)); });
  const send = () => sendForm(form, 'catch', body, t('catch.booked'), () => go('home'));
  return [box, h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'book', onclick: send }, t('test.book')))];
}

export function catchTest({ go, redraw }) {
  const v = state.view;
  const form = draft('catch', (units) => ({ ...inForce(v, units), by: 'distance', at: 'belt', driven: 'steady' }));
  return { title: t('do.catch'), parts: stepper(form, [
    cautions(t('caution.stop'), t('caution.guards'), t('caution.belt'), t('caution.people'), t('caution.dust'), t('caution.manual')),
    machine(form, redraw), way(form, redraw), masses(form),
    { title: t('test.result'), parts: () => result(form, go) },
  ], redraw, (words) => say('bad', words)) };
}
