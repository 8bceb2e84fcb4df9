// What is always in view: rates, hopper, drift, what is not sent, receiver,
// link, notices.
import { state } from './agent.js';
import { h, put } from './dom.js';
import { bare, clock, number, signed, unitOf } from './units.js';
import { t, tc } from './texts.js';
import { audible, call } from './sound.js';

const big = (label, value, note, more = 'half') => h('div', { class: `big ${more}` }, h('dt', {}, label, note && h('span', { class: more === 'last' ? 'off' : null }, ` ${note}`)), h('dd', {}, value));

// both: where the window is narrow the brief form is seen and the words are
// read out.
const both = (words, short) => [h('span', { class: 'words' }, words), h('span', { class: 'brief', 'aria-hidden': 'true' }, short)];

// sign is a state by shape and word besides its colour.
function sign(kind, shape, words, key, short) {
  return h('li', { class: `sign ${kind}`, 'data-sign': key }, h('span', { class: 'shape', 'aria-hidden': 'true' }, shape),
    both(words, short));
}

function figures(v) {
  if (v.role === 'loader') {
    const waiting = v.waiting_loads ?? [];
    const kg = waiting.reduce((all, l) => all + l.net_kg, 0);
    return [big(t('head.waiting'), String(waiting.length), ''), big(t('head.waiting_mass'), bare('mass', kg, 0), unitOf('mass'))];
  }
  const r = v.rate;
  const hopper = v.hopper;
  return [
    big(t('head.now'), bare('rate', r.now_kg_ha), '', 'now'),
    big(t('head.last'), bare('rate', r.last_kg_ha), r.last_off_pct === null ? '' : `${signed(r.last_off_pct)} %`, 'last'),
    big(t('head.set'), bare('rate', r.set_kg_ha), unitOf('rate'), 'set'),
    big(t('head.hopper'), bare('mass', hopper.kg, 0), unitOf('mass'), 'hopper'),
    big(both(t('head.left'), t('short.left')), bare('area', hopper.ha_left, 1), unitOf('area'), 'left'),
  ];
}

const drifts = { holding: ['good', '●'], watch: ['warn', '▲'], recalibrate: ['bad', '◆'] };
const receivers = { none: ['bad', '✗'], searching: ['warn', '…'], poor: ['warn', '▲'], good: ['good', '✓'] };
const links = { off: ['plain', '○'], down: ['warn', '✗'], up: ['good', '✓'], refused: ['bad', '!'] };

function driftWords(d) {
  if (!d) return t('drift.none');
  return d.state === 'holding' ? tc('drift', d.state) : `${tc('drift', d.state)} ${signed(d.size_pct)} %`;
}

function signs(v) {
  const drift = drifts[v.drift?.state] ?? ['plain', '○'];
  const receiver = receivers[v.gnss.state] ?? ['warn', '?'];
  const link = links[v.link.state] ?? ['warn', '?'];
  const spreading = (v.work.state === 'working' || v.work.marked_by === 'hand') && (v.work.spreading === 'on' ? ['good', '▶'] : ['plain', '■']);
  return [
    v.role !== 'loader' && sign(drift[0], drift[1], driftWords(v.drift), 'drift', v.drift && v.drift.state !== 'holding' ? `${signed(v.drift.size_pct)} %` : t('short.drift')),
    spreading && sign(spreading[0], spreading[1], tc('spreading', v.work.spreading), 'spreading', ''),
    sign(v.outbox.waiting > 0 ? 'warn' : 'good', v.outbox.waiting > 0 ? '⬆' : '✓', v.outbox.waiting > 0 ? t('head.unsent', { n: v.outbox.waiting }) : t('head.all_sent'), 'unsent', v.outbox.waiting > 0 ? number(v.outbox.waiting, 0) : ''),
    sign(receiver[0], receiver[1], tc('gnss', v.gnss.state), 'gnss', 'GNSS'),
    sign(link[0], link[1], tc('link', v.link.state), 'link', t('short.link')),
  ];
}

function alarms(v) {
  const first = v.notices?.[0];
  return [
    !state.alive && state.since && h('p', { class: 'alarm bad' }, h('span', { class: 'shape', 'aria-hidden': 'true' }, '✗'), t('head.dead', { at: clock(state.since, v.time_zone) })),
    v.outbox.state !== 'ok' && h('p', { class: 'alarm bad', 'data-sign': 'outbox' }, h('span', { class: 'shape', 'aria-hidden': 'true' }, '!'), h('span', {}, h('b', {}, tc('outbox', v.outbox.state)), ` ${room(v.outbox)}`)),
    first && h('a', { class: 'alarm warn', href: '#notices', 'data-key': 'notice' }, h('span', { class: 'shape', 'aria-hidden': 'true' }, '!'),
      h('span', { class: 'clip' }, h('b', {}, tc('notice', first.kind)), ` ${first.text}`), h('span', { class: 'go' }, t('head.read', { n: v.notices.length }))),
  ];
}

// room is how long the tablet's disk lasts, and what to do about it.
function room(o) {
  if (o.state === 'full') return t('outbox.full_do');
  return o.days_left === null ? t('outbox.filling_do') : `${t('outbox.days', { n: number(o.days_left, o.days_left < 3 ? 1 : 0) })} ${t('outbox.filling_do')}`;
}

const sounded = new Set();

// sound calls once for each notice, and each time the disk gets scarcer.
function sound(v) {
  if (v.outbox.state === 'ok') for (const state of ['filling', 'full']) sounded.delete(`outbox ${state}`);
  const loud = [...(v.notices ?? []).map((n) => n.notice), ...(v.outbox.state === 'ok' ? [] : [`outbox ${v.outbox.state}`])];
  const silent = loud.filter((key) => !sounded.has(key));
  if (silent.length > 0 && call()) for (const key of silent) sounded.add(key);
}

// Before a first touch no sound is allowed: it is made up for at the touch.
export function soundNow() { if (state.view && audible()) sound(state.view); }

let parts = null;

export function head() {
  parts = {
    where: h('p', { class: 'where' }), figures: h('dl', { class: 'figures' }), signs: h('ul', { class: 'signs' }),
    alarms: h('div', { class: 'alarms', role: 'status' }),
  };
  put(document.getElementById('head'), parts.where, parts.alarms, parts.figures, parts.signs);
  document.getElementById('head').setAttribute('aria-label', t('head.title'));
  drawHead();
}

const drawn = new WeakMap();

// change redraws a part only where it looks another way, so that a screen
// reader tells what changed and a finger does not lose its target.
function change(el, kids) {
  const looks = kids.flat().filter(Boolean).map((k) => k.outerHTML ?? k).join('');
  if (drawn.get(el) === looks) return;
  drawn.set(el, looks);
  put(el, kids);
}

export function drawHead() {
  const v = state.view;
  if (!parts || !v) return;
  const w = v.work;
  const place = w.state === 'idle' ? t('work.idle') : `${w.field_name || w.job} · ${productName(v, w.product)}`;
  change(parts.where, [h('b', {}, place), h('span', {}, [v.machine_name || v.device, v.operator].filter(Boolean).join(' · '))]);
  change(parts.alarms, alarms(v));
  change(parts.figures, figures(v));
  change(parts.signs, signs(v));
  sound(v);
}

export function productName(v, product) { return (v.products ?? []).find((p) => p.product === product)?.name || product || '–'; }

