window.spoken = [];
const voice = { name: "local", lang: "en-GB", localService: true };
const far = { name: "far", lang: "en-GB", localService: false };
Object.defineProperty(window, "speechSynthesis", { value: {
  getVoices: () => window.onlyFar ? [far] : [far, voice],
  cancel: () => undefined,
  speak: (saying) => {
    window.spoken.push({ text: saying.text, voice: saying.wanted.name, at: performance.now() });
    setTimeout(() => saying.dispatchEvent(new Event("end")), 1500);
  },
}});
window.SpeechSynthesisUtterance = class extends EventTarget {
  constructor(text) { super(); this.text = text; }
  set voice(wanted) { this.wanted = wanted; }
};
window.blocks = [];
const send = WebSocket.prototype.send;
WebSocket.prototype.send = function (data) {
  if (data instanceof Uint8Array && data[0] === 65) {
    const sound = new Int16Array(data.buffer.slice(16));
    window.blocks.push({ at: performance.now(), loudest: sound.reduce((m, s) => Math.max(m, Math.abs(s)), 0) });
  } else if (typeof data === "string") (window.texts ??= []).push(JSON.parse(data));
  return send.call(this, data);
};
