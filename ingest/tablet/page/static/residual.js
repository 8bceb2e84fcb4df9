// What was left in the hopper: empty, by the level picture, a number, not known.
import { h, s } from './dom.js';
import { keypad, tiles, valueOf } from './fields.js';
import { t, tc } from './texts.js';

const steps = [0.05, 0.1, 0.25, 0.5, 0.75, 1];
const told = { 0.05: '1/20', 0.1: '1/10', 0.25: '1/4', 0.5: '1/2', 0.75: '3/4', 1: '1/1' };

// picture draws a hopper that is share full by volume: the level of a trough
// with sloping sides stands higher than the share of its height.
export function picture(share) {
  const [top, floor, high] = [88, 34, 60];
  const rise = levelOf(share, floor, top) * high;
  const width = floor + (top - floor) * (rise / high);
  const [mid, base] = [50, 68];
  const side = (w) => [mid - w / 2, mid + w / 2];
  const [a, b] = side(width);
  const [f1, f2] = side(floor);
  const [t1, t2] = side(top);
  return s('svg', { viewBox: '0 0 100 76', class: 'hopper-picture', 'aria-hidden': 'true' },
    s('polygon', { class: 'fill', points: `${f1},${base} ${f2},${base} ${b},${base - rise} ${a},${base - rise}` }),
    s('polyline', { class: 'wall', points: `${t1},${base - high} ${f1},${base} ${f2},${base} ${t2},${base - high}` }));
}

// levelOf solves floor x + (top - floor) x^2 / 2 = share (floor + top) / 2 for
// the height x, both as shares.
function levelOf(share, floor, top) {
  const a = (top - floor) / 2;
  const c = -share * (floor + top) / 2;
  return (-floor + Math.sqrt(floor * floor - 4 * a * c)) / (2 * a);
}

export function residual(form, redraw) {
  const method = form.get('residual');
  return h('div', { class: 'residual' },
    tiles(form, 'residual', t('residual.title'), ['empty', 'level', 'number', 'unknown'].map((value) => ({ value, label: tc('residual', value) })), redraw),
    method === 'level' && tiles(form, 'share', t('residual.how_full'), steps.map((v) => ({ value: String(v), label: told[v], picture: picture(v) })), redraw),
    method === 'number' && keypad(form, 'residual_number', t('residual.number_label'), 'mass'));
}

// residualOf is the body's residual, or null with what is missing to say.
export function residualOf(form) {
  switch (form.get('residual')) {
    case 'empty': return { method: 'empty' };
    case 'unknown': return { method: 'unknown' };
    case 'level': return form.get('share') ? { method: 'level', share: Number(form.get('share')) } : null;
    case 'number': {
      const kg = valueOf(form, 'residual_number', 'mass');
      return typeof kg === 'number' ? { method: 'cells', kg } : null;
    }
    default: return null;
  }
}
