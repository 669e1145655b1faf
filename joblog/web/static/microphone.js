// The microphone's line to the recogniser: opens it, keeps it open, says plainly when it can't.

import { audioContext } from "./tones.js";

export class Microphone {
  constructor(job, by, mode, who, { onReply, onState }) {
    Object.assign(this, { job, by, mode, who, onReply, onState });
    this.wanted = false;
    this.closing = false;
    this.wait = 500;
    this.ready = new Promise((done) => { this.opened = done; }); // the line is open: words count now
  }

  async start() {
    if (!window.isSecureContext || !navigator.mediaDevices) {
      throw new Error("This browser gives no microphone to a page without HTTPS; see the trust page, or type.");
    }
    if (!window.AudioWorkletNode) {
      throw new Error("This browser is too old to send sound; use a newer one, or type.");
    }
    this.wanted = true;
    const audio = audioContext();
    if (audio.state !== "running") await audio.resume();
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({
        audio: { channelCount: 1, echoCancellation: true, noiseSuppression: false, autoGainControl: true },
      });
    } catch (error) {
      throw new Error(`The microphone can't be opened (${error.name}); allow it for this page.`);
    }
    for (const track of this.stream.getTracks()) {
      track.addEventListener("ended", () => this.onState("The microphone was unplugged; plug it in and switch it on again."));
    }
    await audio.audioWorklet.addModule("/static/mic-worklet.js");
    this.node = new AudioWorkletNode(audio, "pieces", { numberOfOutputs: 0 });
    this.node.port.onmessage = ({ data }) => {
      if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(data);
    };
    this.source = audio.createMediaStreamSource(this.stream);
    this.source.connect(this.node);
    this.connect(audio.sampleRate);
  }

  connect(rate) {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    this.socket = new WebSocket(`${scheme}://${location.host}/api/jobs/${this.job}/listen`);
    this.socket.onopen = () => {
      this.wait = 500;
      this.socket.send(JSON.stringify({ rate, mode: this.mode, by: this.by, who: this.who }));
      this.onState(this.mode === "open" ? "Listening" : "Ready: hold to talk");
      this.opened();
    };
    this.socket.onmessage = ({ data }) => {
      const message = JSON.parse(data);
      if (message.error) this.onState(message.error);
      else if (message.reply) this.onReply(message.reply);
    };
    this.socket.onclose = ({ code, reason }) => {
      if (!this.wanted) return;
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

  stop() {
    this.wanted = false;
    this.socket?.close();
    this.source?.disconnect();
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    this.onState("Microphone is off");
  }
}
