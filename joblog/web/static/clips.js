// The read-back clips of the shop PC: fetched once, each decoded when it is first needed. They are Ogg
// Opus; a browser that decodes no Ogg (Safari before 18.4) takes the same clips as MP3.

import { audioContext } from "./tones.js";

const OGG = 0; // where a clip's line in the index holds its place in the file of that form
const MP3 = 3;

export class Clips {
  constructor() {
    this.decoded = new Map();
    this.loading = {};
    this.form = OGG;
  }

  // After a failure the next answer tries again.
  load(name, version) {
    this.loading[name] ??= fetch(`/static/clips/${name}?v=${version}`).then((answer) => {
      if (!answer.ok) throw new Error(`${name} is not there`);
      return name.endsWith(".json") ? answer.json() : answer.arrayBuffer();
    }).catch((error) => {
      delete this.loading[name];
      throw error;
    });
    return this.loading[name];
  }

  // Returns a clip as an AudioBuffer; throws where it is unknown or damaged.
  async get(name, version) {
    if (!this.decoded.has(name)) this.decoded.set(name, await this.decode(name, version));
    return this.decoded.get(name);
  }

  async decode(name, version) {
    const index = await this.load("index.json", version);
    if (this.form === OGG) {
      const data = await this.cut(index, index.file, name, version);
      try {
        return await audioContext().decodeAudioData(data);
      } catch {
        this.form = MP3;
      }
    }
    return audioContext().decodeAudioData(await this.cut(index, index.mp3.file, name, version));
  }

  async cut(index, file, name, version) {
    const form = file === index.file ? OGG : MP3;
    const sound = await this.load(file, version);
    const whole = Object.values(index.clips).reduce((sum, clip) => sum + clip[form + 1], 0);
    if (sound.byteLength !== whole) {
      delete this.loading[file];
      throw new Error("the sound is not whole");
    }
    const [start, length] = index.clips[name].slice(form);
    return sound.slice(start, start + length);
  }
}
