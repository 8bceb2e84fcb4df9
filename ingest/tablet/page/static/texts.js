// Words from the one catalogue. t takes a written-out key; tc a family of keys
// and a code that came from elsewhere, which is shown as it is where the
// catalogue has no word for it. A test holds every call against the catalogue.
import { prefs } from './prefs.js';

let texts = {};

export async function loadTexts() { texts = (await (await fetch('texts.json')).json()).texts; }

function words(entry, values) {
  return (entry[prefs.lang] ?? entry.en).replace(/\{(\w+)\}/g, (all, name) => values?.[name] ?? all);
}

export function t(key, values) { return key in texts ? words(texts[key], values) : key; }

export function tc(family, code, values) {
  const entry = texts[`${family}.${code}`];
  return entry ? words(entry, values) : String(code).replaceAll('_', ' ');
}

export function has(family, code) { return `${family}.${code}` in texts; }

// regions: a language alone leaves the decimal sign open (Spanish of Mexico
// writes a point, of Spain a comma), so the browser's own region counts first.
export function locale() {
  return (navigator.languages ?? []).find((tag) => tag.slice(0, 2).toLowerCase() === prefs.lang) ?? prefs.lang;
}
