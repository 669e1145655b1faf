// A tone for 'accepted', another for 'say again', a third for a warning: rising, falling, double.

const SHAPES = { ok: [[880, 0], [1175, 0.09]], again: [[660, 0], [440, 0.16]], warn: [[440, 0], [440, 0.2], [440, 0.4]] };
let context = null;

export function audioContext() {
  context ??= new AudioContext();
  return context;
}

// Whether sound runs: not before somebody has touched the page, nor in Firefox without a loudspeaker.
export async function running(seconds = 2) {
  const audio = audioContext();
  if (audio.state !== "running") {
    const late = new Promise((done) => setTimeout(done, seconds * 1000)); // Firefox needs up to one
    await Promise.race([audio.resume().catch(() => {}), late]);
  }
  return audio.state === "running";
}

// Safari lets sound begin only inside a touch, not when the answer to it comes; it stops it for a call.
function touched() {
  if (audioContext().state !== "running") audioContext().resume().catch(() => {});
}
for (const name of ["pointerup", "touchend", "click", "keydown"]) addEventListener(name, touched, true);

export async function tone(name) {
  const shape = SHAPES[name];
  if (!shape) return;
  const audio = audioContext();
  let end = audio.currentTime;
  for (const [frequency, after] of shape) {
    const start = audio.currentTime + after;
    const oscillator = audio.createOscillator();
    const gain = audio.createGain();
    oscillator.frequency.value = frequency;
    gain.gain.setValueAtTime(0.0001, start);
    gain.gain.exponentialRampToValueAtTime(0.25, start + 0.02);
    gain.gain.exponentialRampToValueAtTime(0.0001, start + 0.14);
    oscillator.connect(gain).connect(audio.destination);
    oscillator.start(start);
    oscillator.stop(start + 0.15);
    end = start + 0.15;
  }
  await new Promise((done) => setTimeout(done, Math.max(0, end - audio.currentTime) * 1000));
}
