// The real rate of the last loads beside the set rate, as a picture and as a
// table that says the same.
import { h, s } from './dom.js';
import { bare, full, signed, unitOf } from './units.js';
import { t } from './texts.js';

const [wide, high, foot] = [360, 180, 32];

export function chart(rate) {
  const points = (rate.series ?? []).slice(-7);
  if (points.length === 0) return h('p', { class: 'quiet-text' }, t('chart.none'));
  const most = 1.15 * Math.max(rate.set_kg_ha ?? 0, ...points.map((p) => p.kg_ha));
  const y = (kgHa) => high - foot - (kgHa / most) * (high - foot - 8);
  const step = wide / points.length;
  const last = points.at(-1);
  return h('figure', { class: 'chart' },
    h('figcaption', {}, t('chart.title', { unit: unitOf('rate') })),
    s('svg', { viewBox: `0 0 ${wide} ${high}`, role: 'img', preserveAspectRatio: 'xMinYMid meet', 'aria-label': t('chart.said', { n: points.length, last: full('rate', last.kg_ha), set: full('rate', rate.set_kg_ha) }) },
      points.map((p, i) => [
        s('rect', { class: Math.abs(p.off_pct) > 5 ? 'bar off' : 'bar', x: i * step + step * 0.14, width: step * 0.72, y: y(p.kg_ha), height: high - foot - y(p.kg_ha) }),
        s('text', { class: 'tag', x: i * step + step / 2, y: high - 7, 'text-anchor': 'middle' }, signed(Math.round(p.off_pct))),
      ]),
      rate.set_kg_ha && s('line', { class: 'aim', x1: 0, x2: wide, y1: y(rate.set_kg_ha), y2: y(rate.set_kg_ha) })),
    h('details', {}, h('summary', { 'data-key': 'chart-table' }, t('chart.table')),
      h('table', {}, h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, t('chart.load')), h('th', { scope: 'col' }, unitOf('rate')), h('th', { scope: 'col' }, '± %'))),
        h('tbody', {}, points.map((p, i) => h('tr', {}, h('td', {}, String(i + 1)), h('td', {}, bare('rate', p.kg_ha)), h('td', {}, signed(p.off_pct))))))));
}
