// Records the microphone into memory while a button is held: a few seconds, handed on as a whole.

import { hear } from "./microphone.js";

async function record() {
  if (!window.isSecureContext || !navigator.mediaDevices || !window.AudioWorkletNode) {
    throw new Error("This browser gives this page no microphone; scan, type, or choose from the list.");
  }
  const pieces = [];
  const ear = await hear((piece) => pieces.push(piece));
  return {
    async stop() {
      await new Promise((done) => setTimeout(done, 150)); // the end of the last word
      ear.close();
      return { rate: ear.rate, samples: await new Blob(pieces).arrayBuffer() };
    },
  };
}

// Records while the button is held by finger, mouse or space bar: onBegin when it goes down, onSound
// with rate and samples when it was let go, onTrouble with a sentence where there is no microphone.
export function recordWhileHeld(button, { onBegin, onSound, onTrouble, keysOf = button, mine = () => true }) {
  let taken = null; // a promise of the recording that runs
  const press = () => {
    if (taken) return;
    button.setAttribute("aria-pressed", "true");
    onBegin();
    taken = record();
    taken.catch((error) => { onTrouble(error.message); release(); });
  };
  const release = async () => {
    if (!taken) return;
    const held = taken;
    taken = null;
    button.setAttribute("aria-pressed", "false");
    const recording = await held.catch(() => null);
    if (!recording) return;
    const sound = await recording.stop();
    if (sound.samples.byteLength) await onSound(sound);
  };
  button.addEventListener("pointerdown", press);
  for (const name of ["pointerup", "pointercancel", "pointerleave"]) button.addEventListener(name, release);
  keysOf.addEventListener("keydown", (event) => {
    if (event.code !== "Space" || event.repeat || !mine(event)) return;
    event.preventDefault();
    press();
  });
  keysOf.addEventListener("keyup", (event) => { if (event.code === "Space") release(); });
}
