// The read-back clips of the shop PC: fetched once, each decoded when it is first needed.

import { audioContext } from "./tones.js";

export class Clips {
  constructor() {
    this.decoded = new Map();
    this.loading = null;
  }

  load(version) {
    this.loading ??= this.fetched(version).catch((error) => {
      this.loading = null; // the next answer tries again
      throw error;
    });
    return this.loading;
  }

  async fetched(version) {
    const get = async (name) => {
      const answer = await fetch(`/static/clips/${name}?v=${version}`);
      if (!answer.ok) throw new Error(`${name} is not there`);
      return answer;
    };
    const index = await (await get("index.json")).json();
    const sound = await (await get(index.file)).arrayBuffer();
    const whole = Object.values(index.clips).reduce((sum, clip) => sum + clip[1], 0);
    if (sound.byteLength !== whole) throw new Error("the sound is not whole");
    return { clips: index.clips, sound };
  }

  // Returns a clip as an AudioBuffer; throws where it is unknown or damaged.
  async get(name, version) {
    const { clips, sound } = await this.load(version);
    if (!this.decoded.has(name)) {
      const [start, length] = clips[name];
      this.decoded.set(name, await audioContext().decodeAudioData(sound.slice(start, start + length)));
    }
    return this.decoded.get(name);
  }
}
