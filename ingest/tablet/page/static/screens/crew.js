// Who is in the cab, and what the office tells the crew.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h, put } from '../dom.js';
import { textField } from '../fields.js';
import { prefer, prefs } from '../prefs.js';
import { say, sendForm, tap } from '../send.js';
import { t, tc } from '../texts.js';

export function who({ go }) {
  const form = draft('who', () => ({ name: state.view.operator }));
  const send = (name) => {
    if (!name) { say('bad', t('form.missing')); document.querySelector('[data-name=name]').focus(); return; }
    sendForm(form, 'who', { operator: name }, t('who.booked', { name }), () => {
      prefer({ people: [name, ...prefs.people.filter((p) => p !== name)].slice(0, 6) });
      go('home');
    });
  };
  return { title: t('do.who'), parts: [
    prefs.people.length > 0 && h('div', { class: 'grid' }, prefs.people.map((p) => h('button', { type: 'button', 'data-key': `person-${p}`, onclick: () => { form.set('name', p); send(p); } }, p))),
    textField(form, 'name', t('who.name'), { max: 120 }),
    h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'book', onclick: () => send((form.get('name') ?? '').trim()) }, t('who.book'))),
  ] };
}

export function notices() {
  const list = h('ul', { class: 'rows' });
  let seen = '';
  const live = () => {
    const now = JSON.stringify(state.view.notices);
    if (now === seen) return;
    seen = now;
    put(list, (state.view.notices ?? []).length === 0 ? h('li', {}, t('notice.none_open')) : state.view.notices.map((n) => h('li', { class: 'entry' },
      h('b', {}, h('span', { class: 'shape warn', 'aria-hidden': 'true' }, '!'), tc('notice', n.kind)), h('p', {}, n.text),
      h('button', { type: 'button', class: 'main', 'data-key': `seen-${n.notice}`, onclick: () => tap('notice', { notice: n.notice }, t('notice.seen_done')) }, t('notice.seen')))));
  };
  live();
  return { title: t('do.notices'), parts: [list], live };
}
