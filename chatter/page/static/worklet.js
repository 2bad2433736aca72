"use strict";
// In the browser's sound thread: samples as they come, to 16 bit, in pieces of about half a second.
const PIECE = 24000;
const LEVEL = 2048;

registerProcessor("keeper", class extends AudioWorkletProcessor {
  constructor() {
    super();
    this.piece = new Int16Array(PIECE);
    this.filled = 0;
    this.peak = 0;
    this.seen = 0;
    this.flat = 0; // samples at full scale, one after the other
    this.clipped = false;
    this.port.onmessage = () => {
      this.hand();
      this.port.postMessage({ over: true });
    };
  }

  hand() {
    if (!this.filled) return;
    const samples = this.piece.slice(0, this.filled).buffer;
    this.filled = 0;
    this.port.postMessage({ samples }, [samples]);
  }

  process(inputs) {
    const heard = inputs[0][0];
    if (!heard) return true;
    for (const value of heard) {
      const size = Math.abs(value);
      if (size > this.peak) this.peak = size;
      this.flat = size >= 0.999 ? this.flat + 1 : 0;
      if (this.flat >= 2) this.clipped = true;
      this.piece[this.filled] = Math.max(-32768, Math.min(32767, Math.round(value * 32767)));
      this.filled += 1;
      if (this.filled === PIECE) this.hand();
    }
    this.seen += heard.length;
    if (this.seen >= LEVEL) {
      this.port.postMessage({ peak: this.peak, clipped: this.clipped, count: this.seen });
      this.peak = 0;
      this.seen = 0;
      this.clipped = false;
    }
    return true;
  }
});
