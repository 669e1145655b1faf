// Records the microphone into memory while a button is held: a few seconds, sent as a whole.

import { audioContext } from "./tones.js";

export async function record() {
  if (!window.isSecureContext || !navigator.mediaDevices || !window.AudioWorkletNode) {
    throw new Error("This browser gives this page no microphone; scan, type, or choose from the list.");
  }
  const audio = audioContext();
  if (audio.state !== "running") await audio.resume();
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      audio: { channelCount: 1, echoCancellation: true, noiseSuppression: false, autoGainControl: true },
    });
  } catch (error) {
    throw new Error(`The microphone can't be opened (${error.name}); allow it for this page.`);
  }
  await audio.audioWorklet.addModule("/static/mic-worklet.js");
  const node = new AudioWorkletNode(audio, "pieces", { numberOfOutputs: 0 });
  const pieces = [];
  node.port.onmessage = ({ data }) => pieces.push(data);
  const source = audio.createMediaStreamSource(stream);
  source.connect(node);
  return {
    async stop() {
      await new Promise((done) => setTimeout(done, 150)); // the end of the last word
      source.disconnect();
      for (const track of stream.getTracks()) track.stop();
      return { rate: audio.sampleRate, samples: await new Blob(pieces).arrayBuffer() };
    },
  };
}
