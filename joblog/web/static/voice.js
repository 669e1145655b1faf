// Speaks an answer: a tone first, then the words. While anything sounds, the microphone is told so.

import { tone } from "./tones.js";

export class Voice {
  constructor() {
    this.muted = false;
    this.microphone = null;
    this.queue = Promise.resolve();
  }

  say({ spoken, tone: name }) {
    this.queue = this.queue.then(() => this.speak(spoken, name)).catch(() => {});
    return this.queue;
  }

  async speak(text, name) {
    if (this.muted || (!text && name === "none")) return;
    this.microphone?.tell("speaking");
    try {
      await tone(name);
      if (text) await this.words(text);
    } finally {
      this.microphone?.tell("spoken");
    }
  }

  words(text) {
    if (!("speechSynthesis" in window)) return Promise.resolve();
    return new Promise((done) => {
      const said = new SpeechSynthesisUtterance(text);
      said.lang = "en-US";
      const late = setTimeout(done, 1500 + 90 * text.length); // some engines never report the end
      said.onend = said.onerror = () => { clearTimeout(late); done(); };
      speechSynthesis.speak(said);
    });
  }
}
