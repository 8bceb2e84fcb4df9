// Picking a job, starting it (with a safety check that failed) and finishing it.
import { state } from '../agent.js';
import { draft } from '../draft.js';
import { h, put } from '../dom.js';
import { textField } from '../fields.js';
import { productName } from '../head.js';
import { sendForm, tap } from '../send.js';
import { has, t, tc } from '../texts.js';
import { bare, full, number, unitOf } from '../units.js';

function away(j) {
  if (j.away_m === null) return t('job.away_unknown');
  if (j.away_m <= 0) return t('job.here');
  return j.away_m < 1000 ? t('job.away_m', { n: number(j.away_m, 0) }) : t('job.away_km', { n: number(j.away_m / 1000, 1) });
}

export function job({ go }) {
  const list = h('div', { class: 'list' });
  let seen = '';
  const one = (j) => {
    const picked = state.view.work.job === j.job && state.view.work.field === j.field;
    return h('button', { type: 'button', class: 'entry', 'data-key': `${j.job}/${j.field}`, 'aria-pressed': String(picked), onclick: async () => {
      const got = await tap('pick', { job: j.job, field: j.field }, t('job.picked', { field: j.field_name || j.field }));
      if (got && !got.refused) go('home');
    } },
    h('b', {}, j.field_name || j.field), h('span', {}, away(j)),
    h('span', {}, `${productName(state.view, j.product)} · ${full('rate', j.set_rate_kg_ha)}`),
    h('span', {}, `${j.customer_name} · ${bare('area', j.area_ha, 1)} ${unitOf('area')} · ${tc('job_state', j.state)}`));
  };
  const live = () => {
    const v = state.view;
    const now = JSON.stringify([v.jobs, v.work.job, v.work.field]);
    if (now === seen) return;
    seen = now;
    put(list, (v.jobs ?? []).length === 0 ? h('p', {}, t('job.none')) : v.jobs.map(one));
  };
  live();
  return { title: t('do.pick'), parts: [h('p', {}, t('job.order')), list], live };
}

export function start({ go }) {
  const form = draft('start');
  const failed = state.view.work.unsafe ?? [];
  const anyway = () => {
    const reason = (form.get('reason') ?? '').trim();
    if (reason) sendForm(form, 'start', { override_reason: reason }, t('start.done'), () => go('home'));
    else document.querySelector('[data-name=reason]').focus();
  };
  if (failed.length === 0) {
    return { title: t('do.start'), parts: [h('p', {}, t('start.safe')), h('div', { class: 'grid' },
      h('button', { type: 'button', class: 'main', 'data-key': 'start', onclick: async () => { const got = await tap('start', {}, t('start.done')); if (got && !got.refused) go('home'); } }, t('do.start')))] };
  }
  return { title: t('start.stop'), parts: [
    h('p', { class: 'note bad' }, h('span', { class: 'shape', 'aria-hidden': 'true' }, '✗'), t('start.failed')),
    h('ul', { class: 'rows' }, failed.map((c) => h('li', { class: 'entry' }, h('b', {}, tc('item', c.item)), h('span', {}, has('fix', c.item) ? tc('fix', c.item) : t('start.put_right'))))),
    h('div', { class: 'grid' }, h('a', { class: 'button main', href: '#check', 'data-key': 'to-check' }, t('start.check_again'))),
    h('section', {}, h('h2', {}, t('start.override')), textField(form, 'reason', t('start.reason')),
      h('div', { class: 'grid' }, h('button', { type: 'button', class: 'danger', 'data-key': 'anyway', onclick: anyway }, t('start.anyway')))),
  ] };
}

export function finish({ go }) {
  const w = state.view.work;
  return { title: t('do.finish'), parts: [
    h('p', {}, t('finish.ask', { field: w.field_name || w.job })),
    h('div', { class: 'grid' }, h('button', { type: 'button', class: 'main', 'data-key': 'finish', onclick: async () => {
      const got = await tap('finish', {}, t('finish.done'));
      if (got && !got.refused) go('home');
    } }, t('finish.yes'))),
  ] };
}
