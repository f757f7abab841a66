/** The strip at the top: whether the page listens, how loud it is, and what is wrong. */

import { byId, clock, make, say } from "./dom.js";

const REFRESH_MS = 100;
const SILENT_MS = 1500;

export class Top {
  /** @param {import("./devices.js").Devices} devices */
  constructor(devices) {
    this.devices = devices;
    /** @type {any} */ this.now = null;
    this.at = 0;
    this.leads = false;
    this.connected = true;
    this.speaking = false;
    setInterval(() => this.refresh(), REFRESH_MS);
    devices.watch(() => {
      for (const kind of ["microphone", "camera"]) this.trouble(kind, devices.words[kind], this.again(kind));
    });
  }

  again(kind) {
    const start = () => (kind === "camera" ? this.devices.startCamera() : this.devices.startMicrophone());
    return { label: "Try again", then: start };
  }

  /** @param {string} role @param {boolean} [free] */
  role(role, free) {
    this.leads = role === "lead";
    this.connected = true;
    this.trouble("role", this.leads ? "" : free ? "The tab that led is gone: lead from here if you wish." : "");
  }

  /** @param {any} state */
  state(state) {
    this.now = state;
    this.at = performance.now();
    say(byId("code-shown"), state?.patient_code ? `Patient ${state.patient_code}` : "");
  }

  away() {
    this.connected = false;
  }

  refresh() {
    const loud = Math.min(1, Math.sqrt(this.devices.level));
    byId("level").value = loud;
    byId("prepare-level").value = loud;
    const pill = byId("listening");
    const [is, words] = this.condition();
    pill.dataset.is = is;
    say(pill, words);
    const going = this.now && this.now.phase !== "ended" && this.connected;
    say(byId("elapsed"), going ? clock(this.now.now_s + (performance.now() - this.at) / 1000) : "");
  }

  /** @returns {[string, string]} */
  condition() {
    if (!this.connected) return ["away", "✕ Not connected"];
    const phase = this.now?.phase;
    if (phase !== "testing" && phase !== "paused") return ["idle", "○ Not listening"];
    if (!this.leads) return ["idle", "○ Only watching"];
    if (phase === "paused") return ["paused", "‖ Paused"];
    if (!this.devices.sound || performance.now() - this.devices.lastBlock > SILENT_MS) return ["away", "✕ Hears nothing"];
    if (this.speaking) return ["muted", "‖ Speaking, not listening"];
    return ["listening", "● Listening"];
  }

  /** @param {string} id @param {string} text @param {{label: string, then: () => void}} [action] */
  trouble(id, text, action) {
    const place = byId("troubles");
    const known = place.querySelector(`[data-trouble="${id}"]`);
    if (known && known.dataset.text === text) return;
    known?.remove();
    if (!text) return;
    const worst = ["link", "disk", "ear", "microphone"].includes(id);
    const sign = worst ? "✕ " : "! ";
    place.append(
      make(
        "p",
        { class: worst ? "trouble worst" : "trouble", "data-trouble": id, "data-text": text },
        make("span", {}, sign + text),
        action ? make("button", { type: "button", class: "second", click: action.then }, action.label) : null,
      ),
    );
  }

  /** Something that happened once; it stays until it is put away. @param {string} text */
  notice(text) {
    const id = `notice-${text}`.replace(/\W+/g, "-").slice(0, 60);
    this.trouble(id, text, { label: "Put away", then: () => this.trouble(id, "") });
  }
}
