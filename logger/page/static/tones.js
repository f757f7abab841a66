/** Three short tones, told apart by their number and direction, not by pitch alone. */

const NOTES = {
  logged: [{ hz: 660, at: 0, s: 0.12 }],
  completed: [{ hz: 660, at: 0, s: 0.12 }],
  check: [
    { hz: 520, at: 0, s: 0.1 },
    { hz: 520, at: 0.16, s: 0.1 },
  ],
  withdrawn: [
    { hz: 520, at: 0, s: 0.1 },
    { hz: 390, at: 0.12, s: 0.1 },
    { hz: 290, at: 0.24, s: 0.16 },
  ],
};
const LOUDNESS = 0.22;

export class Tones {
  constructor() {
    /** @type {AudioContext|null} */ this.context = null;
    this.on = true;
    /** @type {string[]} What was played, newest last; for whoever wants to know. */
    this.played = [];
  }

  /** @param {string} kind */
  play(kind) {
    const notes = NOTES[kind];
    if (!notes || !this.on) return;
    this.played = [...this.played.slice(-20), kind];
    document.body.dataset.lastTone = kind;
    this.context ??= new AudioContext();
    this.context.resume();
    for (const note of notes) this.note(this.context, note);
  }

  note(context, { hz, at, s }) {
    const start = context.currentTime + 0.02 + at;
    const gain = new GainNode(context, { gain: 0 });
    const sound = new OscillatorNode(context, { frequency: hz, type: "sine" });
    gain.gain.setValueAtTime(0, start);
    gain.gain.linearRampToValueAtTime(LOUDNESS, start + 0.015);
    gain.gain.setValueAtTime(LOUDNESS, start + s - 0.03);
    gain.gain.linearRampToValueAtTime(0, start + s);
    sound.connect(gain).connect(context.destination);
    sound.start(start);
    sound.stop(start + s);
  }
}
