// Sound for notices. Browsers allow it only after a first touch of the page.
let audio = null;

export function wake() {
  const Audio = window.AudioContext ?? window.webkitAudioContext;
  if (!Audio) return;
  audio ??= new Audio();
  if (audio.state === 'suspended') audio.resume();
}

export function audible() { return audio?.state === 'running'; }

// call sounds three rising tones, clear above an engine.
export function call() {
  if (!audible()) return false;
  [880, 1175, 1568].forEach((hertz, i) => tone(hertz, audio.currentTime + i * 0.28));
  return true;
}

function tone(hertz, at) {
  const [swing, loud] = [audio.createOscillator(), audio.createGain()];
  swing.type = 'square';
  swing.frequency.value = hertz;
  loud.gain.setValueAtTime(0.0001, at);
  loud.gain.exponentialRampToValueAtTime(0.5, at + 0.02);
  loud.gain.exponentialRampToValueAtTime(0.0001, at + 0.24);
  swing.connect(loud).connect(audio.destination);
  swing.start(at);
  swing.stop(at + 0.25);
}
