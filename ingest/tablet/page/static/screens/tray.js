// The tray test: how evenly the machine spreads across its bout width.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h, put } from '../dom.js';
import { allOf, numberField, openWrong, several, textField, valueOf, valueOr } from '../fields.js';
import { say, sendForm, work } from '../send.js';
import { cautions, findings, outcome, stepper } from '../stepper.js';
import { t, tc } from '../texts.js';
import { bare, full, number, signed } from '../units.js';
import { discs, inForce, optional } from './setting.js';
import { aProduct } from './weigh.js';

const width = (form) => valueOr(form, 'width', 'length', state.view.setting?.bout_width_m);

function bodyOf(form) {
  const body = {
    product: form.get('product'), bout_width_m: width(form), tray_spacing_m: valueOf(form, 'spacing', 'length'),
    tray_width_m: valueOf(form, 'tray_width', 'length'), tray_length_m: valueOf(form, 'tray_length', 'length'),
    masses_g: allOf(form, 'masses').map((d) => (d === null ? null : Number(d))),
  };
  optional(body, 'wind_m_s', valueOf(form, 'wind', 'wind'));
  optional(body, 'passes', valueOf(form, 'passes', 'plain'));
  optional(body, 'vane_position', (form.get('vanes') ?? '').trim());
  optional(body, 'disc_set', form.get('discs'));
  return body;
}

function resultRows(r) {
  return outcome(
    [t('tray.cv'), r.cv_pct === null ? '–' : `${number(r.cv_pct)} %`, r.cv_pct === null ? '' : t(r.cv_pct <= r.cv_limit_pct ? 'tray.within' : 'tray.over', { limit: number(r.cv_limit_pct) })],
    r.driving && [t('tray.driving'), tc('driving', r.driving)],
    [t('tray.widest'), r.widest_m === null ? t('tray.no_width') : full('length', r.widest_m)],
    r.rate_kg_ha !== null && [t('tray.rate'), full('rate', r.rate_kg_ha)],
    r.off_side_pct !== null && [t('tray.sides'), `${signed(r.off_side_pct)} %`, `${bare('rate', r.mean_left_kg_ha)} | ${bare('rate', r.mean_right_kg_ha)}`]);
}

function result(form, go) {
  const box = h('div', { role: 'status' });
  const body = bodyOf(form);
  work('tray', body).then((r) => { if (r) put(box, r.void && h('p', { class: 'note bad' }, t('tray.void')), resultRows(r), findings(r)); });
  const send = () => sendForm(form, 'tray', body, t('tray.booked'), () => go('home'));
  return [box, h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'book', onclick: send }, t('test.book')))];
}

export function tray({ go, redraw }) {
  const form = draft('tray', (units) => ({ ...inForce(state.view, units), passes: '1' }));
  const row = { title: t('tray.row'), parts: () => [
    aProduct(form, redraw), h('p', {}, t('tray.how')),
    h('div', { class: 'pair' }, numberField(form, 'width', t('setting.width'), 'length'), numberField(form, 'spacing', t('tray.spacing'), 'length'),
      numberField(form, 'tray_width', t('tray.width'), 'length'), numberField(form, 'tray_length', t('tray.length'), 'length'),
      numberField(form, 'passes', t('tray.passes'), 'plain'), numberField(form, 'wind', t('weather.wind'), 'wind', { optional: true }),
      textField(form, 'vanes', t('tray.vanes'), { optional: true, max: 64 })),
    discs(form),
  ], ready: () => {
    const need = [width(form), ...['spacing', 'tray_width', 'tray_length'].map((f) => valueOf(form, f, 'length'))];
    const passes = valueOf(form, 'passes', 'plain');
    return need.some((n) => typeof n !== 'number') || valueOf(form, 'wind', 'wind') === null || !(passes === undefined || Number.isInteger(passes)) ? t('form.missing') : '';
  } };
  const masses = { title: t('tray.masses'), parts: () => [
    h('p', {}, t('tray.order')),
    several(form, 'masses', 'gram', { label: t('tray.mass'), list: t('tray.list'), add: t('pad.add'), undo: t('pad.undo') }, { missing: true }),
  ], ready: () => (allOf(form, 'masses').length < 3 || openWrong(form, 'masses') ? t('tray.too_few') : '') };
  return { title: t('do.tray'), parts: stepper(form, [
    cautions(t('caution.stop'), t('caution.guards'), t('caution.throw'), t('caution.people'), t('caution.dust'), t('caution.manual')), row, masses,
    { title: t('test.result'), parts: () => result(form, go) }], redraw, (words) => say('bad', words)) };
}
