// The last entries of this tablet, and taking one back.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h, put } from '../dom.js';
import { textField } from '../fields.js';
import { sendForm } from '../send.js';
import { t, tc } from '../texts.js';
import { clock, full } from '../units.js';

const lasting = ['event.amended', 'notice.acknowledged', 'pass.logged'];

const about = (e) => `${tc('entry', e.type)}${e.kg === null ? '' : ` · ${full('mass', e.kg, 0)}`}${e.words ? ` · ${e.words}` : ''}`;

export function log() {
  const list = h('ul', { class: 'rows' });
  let seen = '';
  const live = () => {
    const v = state.view;
    const now = JSON.stringify([v.last, v.undo]);
    if (now === seen) return;
    seen = now;
    const latest = v.undo?.event;
    put(list, (v.last ?? []).length === 0 ? h('li', {}, t('log.none')) : v.last.map((e) => h('li', { class: e.undone ? 'entry undone' : 'entry' },
      h('b', {}, `${clock(e.at, v.time_zone)} · ${about(e)}`),
      h('span', {}, h('span', { class: 'shape', 'aria-hidden': 'true' }, e.sent ? '✓' : '⬆'), e.sent ? t('log.sent') : t('log.unsent'), e.undone ? ` · ${t('log.undone')}` : ''),
      !e.undone && !lasting.includes(e.type) && h('a', { class: e.event === latest ? 'button main' : 'button quiet', href: `#undo/${e.event}`, 'data-key': `undo-${e.event}`, 'aria-label': `${t('undo.title')}: ${about(e)}` }, t('undo.title')))));
  };
  live();
  return { title: t('do.log'), parts: [h('p', {}, t('log.kept')), list], live };
}

export function undo({ go, arg }) {
  const v = state.view;
  const form = draft(`undo_${arg}`);
  const e = (v.last ?? []).find((x) => x.event === arg);
  if (!e) return { title: t('undo.title'), back: 'log', parts: [h('p', {}, t('undo.gone'))] };
  const send = () => {
    const body = { event: e.event };
    const reason = (form.get('reason') ?? '').trim();
    if (reason) body.reason = reason;
    sendForm(form, 'undo', body, t('undo.done', { entry: about(e) }), () => go('log'));
  };
  return { title: t('undo.title'), back: 'log', parts: [
    h('p', { class: 'entry' }, h('b', {}, `${clock(e.at, v.time_zone)} · ${about(e)}`)), h('p', {}, t('undo.means')),
    textField(form, 'reason', t('undo.reason'), { optional: true, max: 500 }),
    h('div', { class: 'grid' }, h('button', { type: 'button', class: 'danger', 'data-key': 'undo', onclick: send }, t('undo.yes'))),
  ] };
}
