/** Runs on the sound thread: mono, 16 kHz, twentieths of a second, each with when it was captured. */

import { Resampler, TARGET_HZ } from "./resampler.js";

const BLOCK = TARGET_HZ / 20;

class Microphone extends AudioWorkletProcessor {
  constructor() {
    super();
    this.resampler = new Resampler(sampleRate);
    this.block = new Int16Array(BLOCK);
    this.filled = 0;
    this.loudest = 0;
    this.muted = false;
    this.port.onmessage = (event) => {
      this.muted = event.data.muted;
    };
  }

  /** @param {Float32Array[][]} inputs */
  process(inputs) {
    const channels = inputs[0];
    const length = channels[0]?.length ?? 128;
    const mono = new Float32Array(length);
    for (const channel of channels) {
      for (let i = 0; i < length; i++) mono[i] += channel[i] / channels.length;
    }
    for (const sample of this.resampler.push(mono)) this.take(sample);
    return true;
  }

  /** @param {number} sample */
  take(sample) {
    this.loudest = Math.max(this.loudest, Math.abs(sample));
    const heard = this.muted ? 0 : Math.max(-1, Math.min(1, sample));
    this.block[this.filled++] = Math.round(heard * 32767);
    if (this.filled < BLOCK) return;
    const content = this.block.buffer;
    // The clock of this thread, since the page's own may be busy when this arrives.
    this.port.postMessage({ content, loudest: this.loudest, endedAt: Date.now() }, [content]);
    this.block = new Int16Array(BLOCK);
    this.filled = 0;
    this.loudest = 0;
  }
}

registerProcessor("microphone", Microphone);
