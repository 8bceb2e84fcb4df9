// What the operator chose to see: language, units, theme. It outlives a restart.
const NAME = 'hopperbook.display';

function read() {
  try { return JSON.parse(localStorage.getItem(NAME)) ?? {}; } catch { return {}; }
}

function languageOf(tags) {
  for (const tag of tags) {
    const lang = tag.slice(0, 2).toLowerCase();
    if (['en', 'es', 'pt'].includes(lang)) return lang;
  }
  return 'en';
}

export const prefs = {
  lang: languageOf(navigator.languages ?? [navigator.language ?? 'en']),
  units: 'kg', theme: 'auto', people: [], ...read(),
};

export function prefer(change) {
  Object.assign(prefs, change);
  try { localStorage.setItem(NAME, JSON.stringify(prefs)); } catch { /* it holds until the page is closed */ }
  dress();
}

export function dress() {
  document.documentElement.lang = prefs.lang;
  if (prefs.theme === 'auto') delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = prefs.theme;
}
