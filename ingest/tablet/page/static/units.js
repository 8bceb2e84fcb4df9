// Numbers: what was typed becomes the inside unit once and exactly; what is
// inside is shown in the operator's choice of units.
import { locale } from './texts.js';
import { prefs } from './prefs.js';

let table = {};

export async function loadUnits() { table = await (await fetch('units.json')).json(); }

const plain = { unit: '', factor: '1' };
function of(quantity, units) { return table[units ?? prefs.units]?.[quantity] ?? { ...plain, unit: fixed[quantity] ?? '' }; }
const fixed = { gram: 'g', mm: 'mm', rpm: '1/min', wind: 'm/s', litre: 'l', second: 's', volume: 'm³' };

export function unitOf(quantity, units) { return of(quantity, units).unit; }

export function decimalSign() {
  return new Intl.NumberFormat(locale()).formatToParts(1.5).find((p) => p.type === 'decimal').value;
}

// canon turns typed text into digits with a point, or null. One sign is the
// decimal sign. The other region's sign before exactly three digits may be
// meant as thousands: that is refused instead of guessed.
export function canon(text) {
  const typed = text.trim().replace(/[\s'\u00a0\u202f]/g, '');
  const m = /^(\d{0,9})(?:([.,])(\d{0,6}))?$/.exec(typed);
  if (!m || (m[1] === '' && !m[3])) return null;
  if (m[2] && m[2] !== decimalSign() && m[3].length === 3) return null;
  return `${m[1] || '0'}${m[3] ? `.${m[3]}` : ''}`;
}

// times multiplies two decimal texts exactly.
export function times(a, b) {
  const [x, y] = [split(a), split(b)];
  return join(x.digits * y.digits, x.places + y.places);
}

// sum adds decimal texts exactly.
export function sum(list) {
  const parts = list.map(split);
  const places = Math.max(0, ...parts.map((p) => p.places));
  return join(parts.reduce((all, p) => all + p.digits * 10n ** BigInt(places - p.places), 0n), places);
}

function split(text) {
  const negative = text.startsWith('-');
  const [whole, part = ''] = text.replace('-', '').split('.');
  const digits = BigInt(whole + part);
  return { digits: negative ? -digits : digits, places: part.length };
}

function join(digits, places) {
  const sign = digits < 0n ? '-' : '';
  const text = (digits < 0n ? -digits : digits).toString().padStart(places + 1, '0');
  if (places === 0) return sign + text;
  return (sign + text.slice(0, -places) + '.' + text.slice(-places)).replace(/\.?0+$/, '');
}

// inside is the number in the inside unit of canonical digits; the double
// nearest to the exact product.
export function inside(quantity, digits, units) { return Number(times(digits, of(quantity, units).factor)); }

// typed is what an operator would type for an inside number, for forms that
// begin with what is in force.
export function typed(quantity, value, units) {
  if (value === null || value === undefined) return '';
  const shown = value / Number(of(quantity, units).factor);
  return String(Number(shown.toPrecision(6))).replace('.', decimalSign());
}

export function number(value, most = 1) {
  return new Intl.NumberFormat(locale(), { maximumFractionDigits: most, useGrouping: 'min2' }).format(value);
}

// bare is an inside number in the shown unit, without the unit; '–' unknown.
export function bare(quantity, value, most, units) {
  if (value === null || value === undefined) return '–';
  const shown = value / Number(of(quantity, units).factor);
  return number(shown, most ?? (Math.abs(shown) < 100 ? 1 : 0));
}

export function full(quantity, value, most) { return `${bare(quantity, value, most)} ${unitOf(quantity)}`.trim(); }

// digitsShown is canonical digits the way the region writes them, unit behind.
export function digitsShown(quantity, digits, units) {
  return `${number(Number(digits), 6)} ${unitOf(quantity, units)}`.trim();
}

export function signed(value) {
  return new Intl.NumberFormat(locale(), { maximumFractionDigits: 1, signDisplay: 'exceptZero' }).format(value);
}

export function clock(at, zone) {
  if (!at) return '–';
  const of = (timeZone) => new Intl.DateTimeFormat(locale(), { hour: '2-digit', minute: '2-digit', hourCycle: 'h23', timeZone }).format(new Date(at));
  try { return of(zone || undefined); } catch { return of(undefined); }
}
