// Gathers the sound of the first channel into blocks of 1024 samples. The first 0.3 s are dropped: they may hold a stale
// time and zeros. A gap in the clock of the sound is counted in blocks, so that their numbers tell of it.
const BLOCK = 1024;
const DROPPED = 0.3;

class Ear extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(BLOCK);
    this.filled = 0;
    this.number = 0;
    this.begin = null;
    this.due = null;
  }

  process(inputs) {
    const sound = inputs[0] && inputs[0][0];
    if (!sound) return true;
    if (this.begin === null) this.begin = currentFrame + Math.round(DROPPED * sampleRate);
    if (currentFrame < this.begin) { this.due = null; return true; }
    if (this.due !== null && currentFrame !== this.due) {
      this.number += Math.max(1, Math.round((currentFrame - this.due) / BLOCK));
      this.filled = 0;
    }
    this.due = currentFrame + sound.length;
    for (let from = 0; from < sound.length;) {
      const count = Math.min(BLOCK - this.filled, sound.length - from);
      this.block.set(sound.subarray(from, from + count), this.filled);
      this.filled += count;
      from += count;
      if (this.filled === BLOCK) {
        this.port.postMessage({ number: this.number, samples: this.block }, [this.block.buffer]);
        this.block = new Float32Array(BLOCK);
        this.number += 1;
        this.filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("ear", Ear);
