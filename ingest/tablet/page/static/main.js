import { listen, look, onView, state } from './agent.js';
import { h, put } from './dom.js';
import { drawHead, head, soundNow } from './head.js';
import { dress, prefs } from './prefs.js';
import { turned } from './send.js';
import { wake } from './sound.js';
import { loadTexts, t } from './texts.js';
import { loadUnits } from './units.js';
import { home } from './screens/home.js';
import { finish, job, start } from './screens/job.js';
import { weigh } from './screens/weigh.js';
import { refill } from './screens/refill.js';
import { setting } from './screens/setting.js';
import { catchTest } from './screens/catch.js';
import { density } from './screens/density.js';
import { tray } from './screens/tray.js';
import { check } from './screens/check.js';
import { weather } from './screens/weather.js';
import { log, undo } from './screens/log.js';
import { notices, who } from './screens/crew.js';
import { display } from './screens/display.js';

// Each screen is a function of go and redraw that gives its title, its parts
// and, where it follows the view, a live function.
const screens = { home, job, start, finish, weigh, refill, setting, catch: catchTest, density, tray, check, weather, log, undo, notices, who, display };
const main = document.getElementById('main');
let shown = null;
let shownAt = 0;

const route = () => {
  const [name, arg] = location.hash.slice(1).split('/');
  return { name: name in screens ? name : 'home', arg: arg && decodeURIComponent(arg) };
};

export function go(name) {
  if (location.hash.slice(1) === name || (name === 'home' && location.hash === '')) draw(true);
  else location.hash = name;
}

function draw(fresh) {
  if (!state.view) return;
  const { name, arg } = route();
  shown = screens[name]({ go, redraw: () => draw(false), redress, arg });
  const back = name === 'home' ? null : h('a', { class: 'button back', href: shown.back ? `#${shown.back}` : '#home', 'data-key': 'back' }, `‹ ${t('do.back')}`);
  const title = h('h1', { tabindex: '-1' }, shown.title);
  put(main, h('div', { class: 'title' }, back, title), shown.parts);
  document.title = `${shown.title} – hopperbook`;
  document.body.dataset.screen = name;
  if (!fresh) return;
  main.scrollTop = 0;
  delete document.body.dataset.ready;
  shownAt = performance.now();
  setTimeout(() => { document.body.dataset.ready = name; }, ghost);
  if (started) title.focus({ preventScroll: true });
  started = true;
}

let started = false;
const ghost = 300; // ms: the second tap of a double tap lands on the next screen otherwise

main.addEventListener('click', (e) => {
  if (e.detail > 0 && performance.now() - shownAt < ghost) { e.preventDefault(); e.stopPropagation(); }
}, true);

function redress() { dress(); head(); draw(false); }

window.addEventListener('hashchange', () => { turned(); draw(true); });
for (const touch of ['pointerdown', 'keydown']) window.addEventListener(touch, () => { wake(); setTimeout(soundNow, 50); });

onView(() => {
  if (!state.view) return;
  if (!shown) { head(); draw(true); return; }
  drawHead();
  shown.live?.();
});

async function boot() {
  dress();
  try {
    await Promise.all([loadTexts(), loadUnits()]);
  } catch { setTimeout(boot, 1000); return; }
  document.documentElement.lang = prefs.lang;
  await look();
  listen();
}

boot();
