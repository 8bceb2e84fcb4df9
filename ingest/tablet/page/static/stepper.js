// A form in steps: cautions, figures, masses, result.
import { h } from './dom.js';
import { t } from './texts.js';

// stepper shows the step the draft stands at. Each step is {title, parts,
// ready}: ready gives what is missing as words, or nothing.
export function stepper(form, steps, redraw, warn) {
  const at = Math.min(form.get('step') ?? 0, steps.length - 1);
  const step = steps[at];
  const to = (n) => { form.set('step', n); redraw(); document.getElementById('main').scrollTop = 0; document.querySelector('main h2')?.focus({ preventScroll: true }); };
  const next = () => {
    const missing = step.ready?.();
    if (missing) warn(missing);
    else to(at + 1);
  };
  return [
    h('p', { class: 'step' }, t('step.of', { n: at + 1, all: steps.length })),
    h('h2', { tabindex: '-1' }, step.title),
    step.parts(),
    h('div', { class: 'grid' },
      at > 0 && h('button', { type: 'button', 'data-key': 'step-back', onclick: () => to(at - 1) }, t('step.back')),
      at < steps.length - 1 && h('button', { type: 'button', class: 'main', 'data-key': 'step-next', onclick: next }, step.next ?? t('step.next'))),
  ];
}

// cautions are read before hands go near the machine.
export function cautions(...words) {
  return { title: t('caution.title'), next: t('caution.done'), parts: () => h('ul', { class: 'cautions' }, words.map((w) => h('li', {}, h('span', { class: 'shape', 'aria-hidden': 'true' }, '!'), w))) };
}

export function findings(result) {
  return (result.findings ?? []).length > 0 && h('ul', { class: 'rows' }, result.findings.map((f) => h('li', { class: 'note', lang: 'en' }, f)));
}

export function outcome(...rows) {
  return h('dl', { class: 'outcome' }, rows.filter(Boolean).map(([label, value, note]) => h('div', {}, h('dt', {}, label), h('dd', {}, h('b', {}, value), note && h('span', {}, ` ${note}`)))));
}

// meanOf is the mean of decimal texts as the nearest number.
export function meanOf(numbers) { return numbers.reduce((a, b) => a + b, 0) / numbers.length; }
