// What is half-typed in a form. It survives a reload, keeps the units it was
// begun in and the key its command is sent with.
import { prefs } from './prefs.js';

const memory = new Map(); // where the browser keeps nothing

// first is what the fields hold before anything is typed, by the draft's units.
export function draft(name, first = () => ({})) {
  const place = `hopperbook.draft.${name}`;
  const read = () => {
    try { return JSON.parse(sessionStorage.getItem(place)); } catch { return memory.get(place); }
  };
  let kept = read() ?? null;
  const write = () => {
    try { sessionStorage.setItem(place, JSON.stringify(kept)); } catch { memory.set(place, kept); }
  };
  return {
    name,
    get units() { return kept?.units ?? prefs.units; },
    get(field) { return kept?.values[field] ?? first(kept?.units ?? prefs.units)[field]; },
    touched(field) { return kept?.values[field] !== undefined; },
    set(field, value) {
      kept ??= { units: prefs.units, values: {} };
      kept.values[field] = value;
      write();
    },
    // The key stays with the form until its command is carried out, whatever is
    // changed in it after an answer was lost.
    key(make) {
      if (!kept?.key) { kept ??= { units: prefs.units, values: {} }; kept.key = make(); write(); }
      return kept.key;
    },
    dropKey() { if (kept) { delete kept.key; write(); } },
    clear() {
      kept = null;
      memory.delete(place);
      try { sessionStorage.removeItem(place); } catch { /* nothing is kept there */ }
    },
  };
}
