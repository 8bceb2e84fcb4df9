// Language, units, day and night, sound.
import { h } from '../dom.js';
import { prefer, prefs } from '../prefs.js';
import { say } from '../send.js';
import { call, wake } from '../sound.js';
import { t, tc } from '../texts.js';

const languages = { en: 'English', es: 'Español', pt: 'Português' };

function choice(title, name, options, redress) {
  return h('section', { 'aria-label': title }, h('h2', {}, title), h('div', { class: 'grid three' }, options.map(([value, label, lang]) =>
    h('button', { type: 'button', lang, 'data-key': `${name}-${value}`, 'aria-pressed': String(prefs[name] === value), onclick: () => { prefer({ [name]: value }); redress(); } },
      h('span', { class: 'tick', 'aria-hidden': 'true' }), label))));
}

export function display({ redress }) {
  const test = () => { wake(); setTimeout(() => say(call() ? 'good' : 'bad', t('display.sound_said')), 100); };
  return { title: t('do.display'), parts: [
    choice(t('display.language'), 'lang', Object.entries(languages).map(([code, name]) => [code, name, code]), redress),
    choice(t('display.units'), 'units', ['kg', 'lb'].map((u) => [u, tc('units', u)]), redress),
    choice(t('display.theme'), 'theme', ['auto', 'light', 'dark'].map((x) => [x, tc('theme', x)]), redress),
    h('section', {}, h('h2', {}, t('display.sound')), h('div', { class: 'grid' }, h('button', { type: 'button', 'data-key': 'sound', onclick: test }, t('display.sound_test')))),
  ] };
}
