// Runs beside the page, in the thread of sound: microphone -> blocks of a tenth of a second, 16-bit, 16 kHz.

const WANTED = 16000;
const BLOCK = 1600;
const TAPS = 24;

/** Brings sound of another rate to 16 kHz by a windowed sinc; exact passing through at 16 kHz. */
class Resampler {
  constructor(rate) {
    this.step = rate / WANTED;
    this.cut = Math.min(1, WANTED / rate) * 0.94;
    this.reach = Math.ceil(TAPS * Math.max(1, this.step));
    this.held = new Float32Array(this.reach);
    this.at = this.reach;
  }

  push(samples) {
    if (this.step === 1) return samples;
    const sound = new Float32Array(this.held.length + samples.length);
    sound.set(this.held);
    sound.set(samples, this.held.length);
    const made = [];
    while (this.at + this.reach < sound.length) {
      made.push(this.value(sound));
      this.at += this.step;
    }
    const from = Math.max(0, Math.floor(this.at) - this.reach);
    this.held = sound.slice(from);
    this.at -= from;
    return Float32Array.from(made);
  }

  value(sound) {
    const middle = Math.floor(this.at);
    let sum = 0;
    for (let i = middle - this.reach + 1; i <= middle + this.reach; i += 1) {
      const x = i - this.at;
      const turn = Math.PI * x * this.cut;
      const sinc = x === 0 ? 1 : Math.sin(turn) / turn;
      const share = x / this.reach;
      sum += sound[i] * sinc * this.cut * (Math.abs(share) < 1 ? 0.5 + 0.5 * Math.cos(Math.PI * share) : 0);
    }
    return sum;
  }
}

class Capture extends AudioWorkletProcessor {
  constructor() {
    super();
    this.resampler = new Resampler(sampleRate);
    this.block = new Int16Array(BLOCK);
    this.filled = 0;
    this.going = true;
    this.port.onmessage = () => {
      this.going = false;
    };
  }

  process([input]) {
    if (input.length) {
      for (const sample of this.resampler.push(input[0])) {
        this.block[this.filled] = Math.max(-32768, Math.min(32767, Math.round(sample * 32768)));
        this.filled += 1;
        if (this.filled === BLOCK) {
          this.port.postMessage(this.block.buffer, [this.block.buffer]);
          this.block = new Int16Array(BLOCK);
          this.filled = 0;
        }
      }
    }
    return this.going;
  }
}

registerProcessor("capture", Capture);
