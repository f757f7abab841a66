/**
 * Brings sound to 16 kHz, block by block, with a windowed sinc.
 *
 * The passband ends at 7.2 kHz and what lies above 8.8 kHz is kept out, so that it does not come
 * back as something else. Every phase of the filter is worked out once.
 */

export const TARGET_HZ = 16000;
const HALF_ZEROS = 24;
const CUTOFF = 0.94;

export class Resampler {
  /** @param {number} fromHz */
  constructor(fromHz) {
    if (!Number.isInteger(fromHz) || fromHz < 8000 || fromHz > 384000) {
      throw new Error(`sound at ${fromHz} Hz cannot be used`);
    }
    const shared = divisor(fromHz, TARGET_HZ);
    this.step = fromHz / shared; // in input samples, in parts of `phases`
    this.phases = TARGET_HZ / shared;
    const scale = Math.min(1, TARGET_HZ / fromHz) * CUTOFF;
    this.half = Math.ceil(HALF_ZEROS / scale);
    this.taps = filter(this.phases, this.half, scale);
    this.kept = new Float32Array(2 * this.half); // silence before the first sample
    this.at = this.half * this.phases; // where the next output lies, in parts of a sample of `kept`
  }

  /** @param {Float32Array} input @returns {Float32Array} */
  push(input) {
    const sound = new Float32Array(this.kept.length + input.length);
    sound.set(this.kept);
    sound.set(input, this.kept.length);
    const width = 2 * this.half;
    const end = (sound.length - this.half) * this.phases;
    const output = new Float32Array(Math.max(0, Math.ceil((end - this.at) / this.step)));
    let made = 0;
    for (; this.at < end; this.at += this.step) {
      const whole = Math.floor(this.at / this.phases);
      const taps = this.taps[this.at % this.phases];
      const first = whole - this.half + 1;
      let sum = 0;
      for (let i = 0; i < width; i++) sum += taps[i] * sound[first + i];
      output[made++] = sum;
    }
    const spent = Math.floor(this.at / this.phases) - this.half;
    this.kept = sound.slice(spent);
    this.at -= spent * this.phases;
    return output.subarray(0, made);
  }
}

/** @param {number} a @param {number} b @returns {number} */
function divisor(a, b) {
  return b === 0 ? a : divisor(b, a % b);
}

/** @param {number} phases @param {number} half @param {number} scale @returns {Float32Array[]} */
function filter(phases, half, scale) {
  const all = [];
  for (let phase = 0; phase < phases; phase++) {
    const taps = new Float32Array(2 * half);
    let sum = 0;
    for (let i = 0; i < 2 * half; i++) {
      const x = i - half + 1 - phase / phases;
      const window = 0.42 + 0.5 * Math.cos((Math.PI * x) / half) + 0.08 * Math.cos((2 * Math.PI * x) / half);
      taps[i] = Math.abs(x) > half ? 0 : sinc(scale * x) * window;
      sum += taps[i];
    }
    for (let i = 0; i < 2 * half; i++) taps[i] /= sum;
    all.push(taps);
  }
  return all;
}

/** @param {number} x */
function sinc(x) {
  return x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x);
}
