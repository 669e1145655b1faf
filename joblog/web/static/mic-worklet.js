// Runs on the audio thread: turns the microphone's floats into 16-bit samples, 100 ms at a time.

class Pieces extends AudioWorkletProcessor {
  constructor() {
    super();
    this.size = Math.round(sampleRate / 10);
    this.piece = new Int16Array(this.size);
    this.filled = 0;
  }

  process(inputs) {
    const channel = inputs[0][0];
    if (!channel) return true;
    for (const value of channel) {
      this.piece[this.filled++] = Math.max(-32768, Math.min(32767, Math.round(value * 32767)));
      if (this.filled === this.size) {
        this.port.postMessage(this.piece.buffer, [this.piece.buffer]);
        this.piece = new Int16Array(this.size);
        this.filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("pieces", Pieces);
