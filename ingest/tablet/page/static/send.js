// Sending a command and saying what came of it.
import { book, freshKey, look } from './agent.js';
import { h, put } from './dom.js';
import { bare, unitOf } from './units.js';
import { has, t, tc } from './texts.js';

// say shows a line and lets screen readers tell it; kind: good, bad, ask.
export function say(kind, text, ...more) {
  // What went well is said on the screen that follows.
  if (kind === 'good') document.getElementById('say').dataset.keep = '';
  const mark = { good: '✓', bad: '✗', ask: '?' }[kind];
  put(document.getElementById('say'),
    h('div', { class: `said ${kind}` },
      h('p', {}, h('span', { class: 'mark', 'aria-hidden': 'true' }, mark), text),
      h('div', { class: 'row' }, ...more, h('button', { type: 'button', 'data-key': 'said', onclick: hush }, t('do.close')))));
}

// turned is a change of screen: what was said goes, what was just done stays once.
export function turned() {
  const line = document.getElementById('say').dataset;
  if (line.keep === undefined) hush();
  delete line.keep;
}

export function hush() { document.getElementById('say').replaceChildren(); }

export function why(refused) {
  const values = {};
  for (const [name, value] of Object.entries(refused.values ?? {})) values[name] = `${bare('mass', value)} ${unitOf('mass')}`;
  if (refused.key && has('refused', refused.key)) {
    const text = tc('refused', refused.key, values);
    return ['test', 'contract', 'body'].includes(refused.key) ? `${text} (${refused.text})` : text;
  }
  return refused.hint || refused.text;
}

const busy = new Set();

// tap carries out a command that needs no form. The same command is not sent
// again while it is under way.
export async function tap(name, body, words) {
  if (busy.has(name)) return null;
  busy.add(name);
  try {
    const got = await book(name, body);
    if (got.done) { if (words) say('good', words); await look(); return got.done; }
    if (got.lost) say('bad', t('lost.tap'));
    else if (got.refused.key !== 'safety') say('bad', why(got.refused));
    return got.refused ? { refused: got.refused } : null;
  } finally { busy.delete(name); }
}

// sendForm carries out a form's command under the form's key. What is typed
// stays until it is carried out.
export async function sendForm(form, name, body, words, then) {
  if (busy.has(form.name)) return;
  busy.add(form.name);
  try {
    const got = await book(name, body, form.key(freshKey));
    if (got.lost) { say('bad', t('lost.form')); return; }
    if (got.done) { form.clear(); await look(); say('good', typeof words === 'function' ? words(got.done) : words); then?.(got.done); return; }
    if (got.refused.confirm) { askAgain(form, name, body, words, then, got.refused); return; }
    if (got.refused.key === 'used') form.dropKey();
    say('bad', why(got.refused));
  } finally { busy.delete(form.name); }
}

function askAgain(form, name, body, words, then, refused) {
  say('ask', why(refused), h('button', { type: 'button', class: 'main', 'data-key': 'confirm', onclick: () => {
    hush();
    sendForm(form, name, { ...body, confirm: true }, words, then);
  } }, t('do.confirm')));
}

// work works a test out without booking it.
export async function work(test, data) {
  const got = await book('try', { test, data });
  if (got.done) return got.done.result;
  say('bad', got.lost ? t('lost.form') : why(got.refused));
  return null;
}
