// Speaks an answer: a tone first, then the shop PC's clips, the browser's own voice for words that
// no clip has. From before the first sample until after the last one every microphone of the job is
// told to hear nothing.

import { Clips } from "./clips.js";
import { audioContext, running, tone } from "./tones.js";

const wait = (seconds) => new Promise((done) => setTimeout(done, seconds * 1000));
const MUTED = "joblog-muted";
const NO_CLIPS = "The read-back clips can't be used; answers are spoken by this browser's own voice.";
const NO_VOICE = "This browser has no voice of its own; read the words on the screen.";
const NO_SOUND = "This browser plays no sound yet; touch the page once.";

// Browsers fetch their list of voices late, and some have none.
async function hasVoice() {
  if (!("speechSynthesis" in window)) return false;
  for (let tries = 0; tries < 6 && !speechSynthesis.getVoices().length; tries += 1) await wait(0.05);
  return speechSynthesis.getVoices().length > 0;
}

export class Voice {
  constructor(job, onState = () => {}) {
    Object.assign(this, { job, onState });
    this.who = crypto.getRandomValues(new Uint32Array(2)).join("-");
    this.clips = new Clips();
    this.stock = { version: "", why: "" };
    this.microphone = null;
    this.muted = false;
    this.silent = false;
    this.playing = new Set();
    this.turn = 0; // grows when what is being said must stop
    this.queue = Promise.resolve();
  }

  // What the shop PC says about its clips; comes with every view.
  use(stock) {
    if (stock.version !== this.stock.version || stock.why !== this.stock.why) {
      this.clips = new Clips();
      this.stock = stock;
      this.stateOfClips();
    }
  }

  stateOfClips() {
    const { why } = this.stock;
    this.onState(why ? `${why} Until then answers are spoken by this browser's own voice.` : "");
  }

  // A button that mutes; what was chosen is remembered on this device.
  muteBy(button) {
    const show = () => button.setAttribute("aria-pressed", String(this.muted));
    this.muted = localStorage.getItem(MUTED) === "yes";
    show();
    button.addEventListener("click", () => {
      this.muted = !this.muted;
      localStorage.setItem(MUTED, this.muted ? "yes" : "no");
      if (this.muted) this.hush();
      show();
    });
  }

  // Stops at once: somebody presses the button to talk, or mutes. Resolves when all is silent.
  hush() {
    this.turn += 1;
    for (const source of this.playing) source.stop();
    if ("speechSynthesis" in window) speechSynthesis.cancel();
    return this.queue;
  }

  say(reply) {
    const turn = this.turn;
    this.queue = this.queue.then(() => this.speak(reply, turn)).catch(() => {});
    return this.queue;
  }

  async speak({ spoken, tone: name, pieces }, turn) {
    if (this.muted || turn !== this.turn || (!spoken && name === "none")) return;
    const sounds = await running(this.silent ? 0.2 : 2);
    if (!sounds) this.onState(NO_SOUND);
    else if (this.silent) this.stateOfClips(); // somebody has touched the page since
    this.silent = !sounds;
    if (this.silent || turn !== this.turn) return;
    await this.tell(true, 3 + (spoken ?? "").length / 6);
    try {
      await tone(name);
      if (spoken && turn === this.turn) await this.words(pieces ?? [{ text: spoken }], spoken, turn);
    } finally {
      await this.tell(false, 0);
    }
  }

  async tell(speaking, seconds) {
    const waits = speaking && Boolean(this.microphone?.wanted);
    document.body.classList.toggle("speaking", waits); // the page says that the microphone waits
    this.microphone?.tell(speaking ? "speaking" : "spoken");
    const told = fetch(`/api/jobs/${this.job}/speaking`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ who: this.who, seconds }),
    }).catch(() => {});
    if (speaking) await Promise.race([told, wait(0.5)]);
  }

  async words(pieces, spoken, turn) {
    let clipless = false;
    const runs = await this.runs(pieces).catch(() => {
      clipless = true;
      this.onState(NO_CLIPS);
      return [{ text: spoken }];
    });
    for (const run of runs) {
      if (turn !== this.turn) return;
      await (run.text ? this.free(run.text, clipless) : this.play(run));
    }
  }

  // Joins clips and pauses into runs, each an array of [buffer, seconds after its start].
  async runs(pieces) {
    const found = [];
    let after = 0;
    for (const piece of pieces) {
      if (piece.text) { found.push({ text: piece.text }); continue; }
      if (!Array.isArray(found.at(-1))) { found.push([]); after = 0; }
      if (piece.pause) { after += piece.pause; continue; }
      const buffer = await this.clips.get(piece.clip, this.stock.version);
      found.at(-1).push([buffer, after]);
      after += buffer.duration;
    }
    return found.filter((run) => run.text || run.length);
  }

  async play(run) {
    const audio = audioContext();
    const start = audio.currentTime + 0.02;
    await Promise.all(run.map(([buffer, after]) => new Promise((done) => {
      const source = audio.createBufferSource();
      source.buffer = buffer;
      source.connect(audio.destination);
      source.onended = () => { this.playing.delete(source); done(); };
      this.playing.add(source);
      source.start(start + after);
    })));
    await wait(audio.outputLatency || audio.baseLatency || 0); // until it has left the loudspeaker
  }

  async free(text, clipless) {
    if (!(await hasVoice())) {
      this.onState(clipless || this.stock.why ? `The read-back clips can't be used. ${NO_VOICE}` : NO_VOICE);
      return;
    }
    await new Promise((done) => {
      const said = new SpeechSynthesisUtterance(text);
      said.lang = "en-US";
      const late = setTimeout(done, 1500 + 90 * text.length); // some engines never report the end
      said.onend = said.onerror = () => { clearTimeout(late); done(); };
      speechSynthesis.speak(said);
    });
  }
}
