// The microphone's line to the recogniser: opens it, keeps it open, says plainly when it can't.

import { audioContext, running } from "./tones.js";

// Opens the microphone and hands on its sound, 100 ms at a time; resolves to its rate, track and close.
export async function hear(onPiece) {
  if (!window.isSecureContext || !navigator.mediaDevices) {
    throw new Error("This browser gives no microphone to a page without HTTPS; see the trust page, or type.");
  }
  if (!window.AudioWorkletNode) {
    throw new Error("This browser is too old to send sound; use a newer one, or type.");
  }
  const audio = audioContext();
  if (audio.state !== "running") audio.resume().catch(() => {}); // begun inside the touch, for Safari
  const stream = await navigator.mediaDevices.getUserMedia({
    audio: { channelCount: 1, echoCancellation: true, noiseSuppression: false, autoGainControl: true },
  }).catch((error) => {
    throw new Error(`The microphone can't be opened (${error.name}); allow it for this page.`);
  });
  const stop = () => { for (const track of stream.getTracks()) track.stop(); };
  try {
    if (!(await running())) { // an open microphone lets sound run even on a page that nobody touched
      throw new Error("Sound doesn't start in this browser: touch the page once, or connect a loudspeaker, and try again.");
    }
    await audio.audioWorklet.addModule("/static/mic-worklet.js");
    const node = new AudioWorkletNode(audio, "pieces", { numberOfOutputs: 0 });
    node.port.onmessage = ({ data }) => onPiece(data);
    const source = audio.createMediaStreamSource(stream);
    source.connect(node);
    return { rate: audio.sampleRate, track: stream.getAudioTracks()[0], close: () => { source.disconnect(); stop(); } };
  } catch (error) {
    stop();
    throw error instanceof DOMException
      ? new Error(`The microphone's sound can't be used (${error.name}); open this page anew, or type.`) : error;
  }
}

export class Microphone {
  constructor(job, by, mode, who, { onReply, onState }) {
    Object.assign(this, { job, by, mode, who, onReply, onState });
    this.wanted = false;
    this.closing = false;
    this.wait = 500;
    this.deaf = false; // the shop PC says that it hears nothing here: joblog speaks
    this.held = false; // the button to talk is down
    this.ready = new Promise((done) => { this.opened = done; }); // the line is open: words count now
  }

  async start() {
    this.wanted = true;
    this.ear = await hear((piece) => {
      if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(piece);
    }).catch((error) => { this.wanted = false; throw error; });
    if (!this.wanted) { this.ear.close(); return; } // switched off meanwhile
    this.ear.track.addEventListener("ended", () => this.onState("The microphone was unplugged; plug it in and switch it on again."));
    this.connect(this.ear.rate);
  }

  connect(rate) {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    this.socket = new WebSocket(`${scheme}://${location.host}/api/jobs/${this.job}/listen`);
    this.socket.onopen = () => {
      this.wait = 500;
      this.hears(true);
      this.socket.send(JSON.stringify({ rate, mode: this.mode, by: this.by, who: this.who }));
      this.opened();
    };
    this.socket.onmessage = ({ data }) => {
      const message = JSON.parse(data);
      if (message.error) this.onState(message.error);
      else if (message.reply) this.onReply(message.reply);
      else if ("hears" in message) this.hears(message.hears);
    };
    this.socket.onclose = ({ code, reason }) => {
      if (!this.wanted) return;
      document.body.classList.remove("deaf"); // there is no line: worse, and told
      if (code >= 4400) {
        this.onState(reason || "The line was closed by the shop PC.");
        return;
      }
      this.onState("The line to the shop PC is broken; trying again");
      setTimeout(() => this.wanted && this.connect(rate), this.wait);
      this.wait = Math.min(8000, this.wait * 2);
    };
  }

  tell(word) {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(word);
  }

  hears(truly) {
    this.deaf = !truly;
    this.show();
  }

  // Down or up with the button to talk.
  hold(down) {
    this.held = down;
    this.tell(down ? "press" : "release");
    this.show();
  }

  // "Listening" stands there only while the shop PC hears.
  show() {
    if (this.socket?.readyState !== WebSocket.OPEN) return; // that is told when it breaks
    document.body.classList.toggle("deaf", this.deaf);
    const open = this.mode === "open" ? "Listening" : "Ready: hold to talk";
    this.onState(this.deaf ? "Answering, wait" : this.held ? "Speak now" : open);
  }

  stop() {
    this.wanted = false;
    this.socket?.close();
    this.ear?.close();
    document.body.classList.remove("deaf");
    this.onState("Microphone is off");
  }
}
