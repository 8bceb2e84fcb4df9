// The first screen: what comes next, large, and the way to all the rest.
import { state } from '../agent.js';
import { chart } from '../chart.js';
import { h, put } from '../dom.js';
import { tap } from '../send.js';
import { t } from '../texts.js';

const link = (to, words, more = '') => h('a', { class: `button ${more}`, href: `#${to}`, 'data-key': `to-${to}` }, words);

export async function startWork(go) {
  const v = state.view;
  if ((v.work.unsafe ?? []).length > 0) { go('start'); return; }
  const got = await tap('start', {}, t('start.done'));
  if (got?.refused?.key === 'safety') go('start');
}

function first(v, go) {
  const w = v.work;
  if (v.role === 'loader') return [link('weigh', t('do.weigh'), 'main'), link('refill', t('do.fill'), 'main')];
  const load = [link('weigh', t('do.weigh'), w.state === 'working' ? 'main' : ''), link('refill', t('do.refill'), w.state === 'working' ? 'main' : '')];
  if (w.state === 'idle') return [link('job', t('do.pick'), 'main'), load];
  if (w.state === 'picked') return [h('button', { type: 'button', class: 'main', 'data-key': 'start', onclick: () => startWork(go) }, t('do.start')), link('job', t('do.pick_other')), load];
  return [load, link('finish', t('do.finish'))];
}

function spreading(v) {
  // Without any job of the office there is none to start, and the hand alone can tell.
  const jobless = (v.jobs ?? []).length === 0 || v.work.marked_by === 'hand';
  if (v.role === 'loader' || (v.work.state !== 'working' && !jobless)) return null;
  const w = v.work;
  const byHand = w.marked_by === 'hand';
  const one = (key, on, auto, pressed, words) => h('button', { type: 'button', 'data-key': key, 'aria-pressed': String(pressed), onclick: () => tap('spread', { on, auto }) },
    h('span', { class: 'tick', 'aria-hidden': 'true' }), words);
  return h('section', { 'aria-label': t('spread.title') }, h('h2', {}, t('spread.title')), h('div', { class: 'grid three' },
    one('spread-on', true, false, byHand && w.spreading === 'on', t('spread.on')),
    one('spread-off', false, false, byHand && w.spreading !== 'on', t('spread.off')),
    one('spread-auto', w.spreading === 'on', true, !byHand, t('spread.auto'))));
}

function rest(v) {
  const both = [link('check', t('do.check')), link('weather', t('do.weather')), link('log', t('do.log')), link('who', t('do.who')), link('notices', t('do.notices')), link('display', t('do.display'))];
  if (v.role === 'loader') return [link('density', t('do.density')), both];
  return [link('setting', t('do.setting')), link('catch', t('do.catch')), link('density', t('do.density')), link('tray', t('do.tray')), both];
}

const looks = (v) => JSON.stringify([v.role, v.work, v.rate, v.operator]);

export function home({ go }) {
  const body = h('div', {});
  let seen = '';
  const live = () => {
    const v = state.view;
    if (seen === looks(v)) return;
    seen = looks(v);
    put(body,
      !v.operator && h('p', { class: 'note' }, t('who.ask'), ' ', link('who', t('do.who'))),
      h('div', { class: 'grid' }, first(v, go)), spreading(v),
      v.role !== 'loader' && h('section', {}, chart(v.rate)),
      h('section', {}, h('h2', {}, t('home.more')), h('div', { class: 'grid' }, rest(v))));
  };
  live();
  return { title: t('home.title'), parts: [body], live };
}
