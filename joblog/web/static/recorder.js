// Records the microphone into memory while a button is held: a few seconds, sent as a whole.

import { hear } from "./microphone.js";

export async function record() {
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
