/**
 * Reads findings back with a voice that is on this machine. While it speaks, and a little longer,
 * the microphone gives silence, and the program is told when that was.
 */

const TAIL_MS = 400;
const LONGEST_MS = 15000;

export class Speech {
  /**
   * @param {import("./link.js").Link} link @param {import("./devices.js").Devices} devices
   * @param {(speaking: boolean) => void} told
   */
  constructor(link, devices, told) {
    this.link = link;
    this.devices = devices;
    this.told = told;
    this.on = false;
    /** @type {string|null} */ this.waiting = null;
    this.speaking = false;
    globalThis.speechSynthesis?.getVoices();
  }

  /** A voice that is on this machine: others would send the words away. */
  voice() {
    const local = (globalThis.speechSynthesis?.getVoices() ?? []).filter((voice) => voice.localService);
    return local.find((voice) => voice.lang.startsWith("en")) ?? null;
  }

  /** @param {string} text The newest only: an old finding is not worth hearing. */
  say(text) {
    if (!this.on || !text) return;
    this.waiting = text;
    if (!this.speaking) this.next();
  }

  /** Wait while somebody speaks: muting would cut off what is being said. */
  next() {
    const text = this.waiting;
    if (text === null || !this.on) return;
    if (this.devices.someoneSpeaks) {
      setTimeout(() => this.next(), 200);
      return;
    }
    const voice = this.voice();
    this.waiting = null;
    if (voice) this.speak(text, voice);
  }

  /** @param {string} text @param {SpeechSynthesisVoice} voice */
  speak(text, voice) {
    const start = performance.now();
    const saying = new SpeechSynthesisUtterance(text);
    saying.voice = voice;
    saying.lang = voice.lang;
    this.hold(true);
    let over = false;
    const end = () => {
      if (over) return;
      over = true;
      this.link.send({ kind: "played", start_ms: start, end_ms: performance.now() + TAIL_MS });
      setTimeout(() => {
        this.hold(false);
        this.next();
      }, TAIL_MS);
    };
    saying.addEventListener("end", end);
    saying.addEventListener("error", end);
    setTimeout(end, LONGEST_MS);
    speechSynthesis.speak(saying);
  }

  /** @param {boolean} speaking */
  hold(speaking) {
    this.speaking = speaking;
    this.devices.mute(speaking);
    this.told(speaking);
  }

  stop() {
    this.waiting = null;
    globalThis.speechSynthesis?.cancel();
  }
}
