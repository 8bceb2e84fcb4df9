// Weather and soil as the operator sees them.
import { draft } from '../draft.js';
import { h } from '../dom.js';
import { numberField, tiles, valueOf } from '../fields.js';
import { say, sendForm } from '../send.js';
import { t, tc } from '../texts.js';
import { typed } from '../units.js';

// Middles of the Beaufort scale's forces 0, 2, 3, 4, 5 and 6 in m/s.
const winds = { calm: 0, light: 2.4, gentle: 4.4, moderate: 6.7, fresh: 9.4, strong: 12.3 };
const points = ['n', 'ne', 'e', 'se', 's', 'sw', 'w', 'nw'];

export function weather({ go, redraw }) {
  const form = draft('weather', () => ({ rain: '0' }));
  const byWord = () => { form.set('wind', typed('wind', winds[form.get('wind_word')])); redraw(); };
  const send = () => {
    const [wind, rain, forecast] = [valueOf(form, 'wind', 'wind'), valueOf(form, 'rain', 'plain'), valueOf(form, 'forecast', 'plain')];
    if (typeof wind !== 'number' || typeof rain !== 'number' || forecast === null || !form.get('soil') || (!form.get('from') && wind > 0)) { say('bad', t('form.missing')); return; }
    const body = { wind_m_s: wind, wind_from_deg: 45 * Math.max(0, points.indexOf(form.get('from'))), rain_mm: rain, soil: form.get('soil') };
    if (forecast !== undefined) body.forecast_rain_mm = forecast;
    sendForm(form, 'weather', body, t('weather.booked'), () => go('home'));
  };
  return { title: t('do.weather'), parts: [
    tiles(form, 'wind_word', t('weather.wind_word'), Object.keys(winds).map((w) => ({ value: w, label: tc('wind', w) })), byWord),
    h('div', { class: 'pair' }, numberField(form, 'wind', t('weather.wind'), 'wind')),
    tiles(form, 'from', t('weather.from'), points.map((p) => ({ value: p, label: tc('point', p) }))),
    tiles(form, 'soil', t('weather.soil'), ['dry', 'moist', 'wet', 'waterlogged', 'frozen'].map((x) => ({ value: x, label: tc('soil', x) }))),
    h('div', { class: 'pair' }, numberField(form, 'rain', t('weather.rain'), 'mm'), numberField(form, 'forecast', t('weather.forecast'), 'mm', { optional: true })),
    h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'book', onclick: send }, t('weather.book'))),
  ] };
}
