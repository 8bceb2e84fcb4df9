// The way to the tablet's program: look, hear of changes, book.
export const state = { view: null, alive: false, since: null };
const hearers = new Set();

export function onView(f) { hearers.add(f); }
function tell() { for (const f of hearers) f(); }

let etag = '';
let asking = false;
let again = false;

export async function look() {
  if (asking) { again = true; return; }
  asking = true;
  try {
    const answer = await fetch('view', { headers: etag ? { 'If-None-Match': etag } : {}, cache: 'no-store' });
    if (answer.status !== 200 && answer.status !== 304) throw new Error(answer.status);
    if (answer.status === 200) {
      state.view = await answer.json();
      etag = answer.headers.get('ETag');
    }
    if (!state.alive) { state.alive = true; state.since = new Date(); }
    tell();
  } catch { lost(); } finally {
    asking = false;
    if (again) { again = false; look(); }
  }
}

function lost() {
  if (state.alive || !state.since) { state.alive = false; state.since = new Date(); }
  tell();
}

export function listen() {
  const news = new EventSource('news');
  news.onmessage = look;
  news.onopen = look; // the program may be another one since
  news.onerror = () => {
    lost();
    if (news.readyState === EventSource.CLOSED) setTimeout(listen, 2000);
  };
}

export function freshKey() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, '0')).join('');
}

// book sends one command. What comes back is {done}, {refused} or {lost: true}
// when no answer came; a key that is sent again is not carried out twice.
export async function book(name, body, key = freshKey()) {
  try {
    const answer = await fetch(`do/${name}`, {
      method: 'POST', body: JSON.stringify(body), cache: 'no-store',
      headers: { 'Content-Type': 'application/json', 'Idempotency-Key': key },
    });
    const got = await answer.json();
    return answer.ok ? { done: got } : { refused: got };
  } catch { return { lost: true }; }
}
