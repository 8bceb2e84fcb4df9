// Elements from plain calls; no markup is ever made from text.
const SVG = 'http://www.w3.org/2000/svg';

export function h(tag, props, ...kids) { return fill(document.createElement(tag), props, kids); }

export function s(tag, props, ...kids) { return fill(document.createElementNS(SVG, tag), props, kids); }

function fill(el, props, kids) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith('on')) el.addEventListener(name.slice(2), value);
    else if (name === 'value' || name === 'checked') el[name] = value;
    else el.setAttribute(name, value === true ? '' : value);
  }
  el.append(...kids.flat(Infinity).filter((k) => k !== null && k !== undefined && k !== false));
  return el;
}

// put replaces what el holds and keeps the focus on the element of the same
// data-key, if there is one.
export function put(el, ...kids) {
  const key = el.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
  el.replaceChildren(...kids.flat(Infinity).filter(Boolean));
  if (key !== undefined) el.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
}

let made = 0;
export function fresh(stem) { made += 1; return `${stem}-${made}`; }
