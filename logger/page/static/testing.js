/** During testing: what is in force, the arm, the row being built, and what was heard. */

import { ask, byId, clock, make, on, say } from "./dom.js";
import { ArmView } from "./gauge.js";
import { drawBody } from "./overlay.js";
import { Speech } from "./speech.js";
import { Tones } from "./tones.js";
import { SLOT_NAMES, STATUS_WORDS, slotText } from "./words.js";

const FAINT_MS = 7000;
const OLD_MS = 1500;
const LAST_ROWS = 6;

export class Testing {
  /** @param {import("./link.js").Link} link @param {any} page @param {import("./devices.js").Devices} devices */
  constructor(link, page, devices) {
    this.link = link;
    this.page = page;
    this.devices = devices;
    this.tones = new Tones();
    this.speech = new Speech(link, devices, (speaking) => page.speaking?.(speaking));
    this.arm = new ArmView({
      dial: byId("gauge"), number: byId("angle-number"), words: byId("angle-words"),
      steady: byId("steady"), advice: byId("look-advice"),
    });
    on(byId("view-testing"), "click", "[data-do]", (button) => this.do(button.dataset.do));
    on(byId("view-prepare"), "click", "[data-tone]", (button) => this.tones.play(button.dataset.tone));
    byId("pause").addEventListener("click", () => this.do("pause"));
    byId("bout-button").addEventListener("click", () => this.do(this.page.state?.running_bout ? "end_bout" : "begin_bout"));
    byId("end").addEventListener("click", () => this.end());
    byId("again").addEventListener("click", () => this.do("resume"));
    setInterval(() => this.refresh(), 500);
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible" && page.stage === "testing") this.keepAwake();
    });
    devices.watch(() => this.checkDevices());
  }

  show() {
    this.options();
    this.role();
    this.arm.blank(this.page.camera ? "Waiting for the camera." : "No camera.");
    this.devices.camera.moveTo(byId("testing-picture"));
    if (this.page.role === "lead") this.startDevices();
    this.keepAwake();
  }

  hide() {
    this.devices.sendSound = false;
    this.devices.camera.sending = false;
    this.speech.stop();
    this.devices.stop();
  }

  options() {
    this.tones.on = byId("tones").checked;
    this.speech.on = byId("read-back").checked;
  }

  role() {
    const leads = this.page.role === "lead";
    for (const button of byId("view-testing").querySelectorAll("[data-do], #pause, #bout-button, #end")) button.disabled = !leads;
    byId("testing-take-over").hidden = leads;
  }

  async startDevices() {
    this.devices.sendSound = true;
    this.devices.camera.sending = true;
    await this.devices.start(this.page.camera);
  }

  checkDevices() {
    if (this.page.stage === "testing" && !this.devices.picture) this.arm.blank(this.devices.words.camera || "No camera.");
  }

  async keepAwake() {
    try {
      await navigator.wakeLock?.request("screen");
    } catch {
      // The screen may go dark then; hearing goes on.
    }
  }

  /** @param {string} what */
  do(what) {
    const asked = what === "pause" && this.page.state?.phase === "paused" ? "resume" : what;
    this.link.send({ kind: "do", what: asked, page_ms: performance.now() });
  }

  /** @param {"left"|"right"} side */
  side(side) {
    this.link.send({ kind: "side", side, page_ms: performance.now() });
  }

  async end() {
    const sure = await ask({ title: "End the session?", text: "The table is shown then; it can be changed and saved.", yes: "End it", no: "Go on testing" });
    if (sure) this.do("end");
  }

  /** @param {any} state @param {any} before */
  state(state, before) {
    if (this.page.stage !== "testing") return;
    say(byId("now-side"), state.side ? state.side.toUpperCase() : "Side not said");
    say(byId("now-test"), state.test || "No test yet");
    say(byId("now-doubt"), state.side_doubts.length ? `? ${state.side_doubts.join("; ")}` : "");
    say(byId("pause-word"), state.phase === "paused" ? "resume" : "pause");
    say(byId("pause"), state.phase === "paused" ? "Resume" : "Pause");
    say(byId("kept-note"), state.keep_media ? "Sound and pictures ARE stored." : "Sound and pictures are not stored.");
    if (before?.side !== state.side) {
      this.arm.show({ window: state.window, side: state.side, angle_deg: null, faint_deg: null, words: "not seen" });
    }
    this.arm.dial.frame(state.window, state.side);
    this.openRow(state.open_row);
    const standing = state.rows.length;
    say(byId("row-count"), standing ? `(${standing} in all)` : "");
    byId("last-rows").replaceChildren(...state.rows.slice(-LAST_ROWS).reverse().map(shortRow));
    this.showBout(state);
    if (before && this.page.role === "lead") this.newWarnings(state, before);
  }

  newWarnings(state, before) {
    for (const warning of state.warnings) if (!before.warnings.includes(warning)) this.page.notice?.(warning);
  }

  /** @param {any} row */
  openRow(row) {
    byId("open-none").hidden = Boolean(row);
    byId("open-row").hidden = !row;
    say(byId("open-title"), row ? `Row ${row.number}, being built` : "Row being built");
    if (!row) return;
    const filled = SLOT_NAMES.filter(([slot]) => row.values[slot] !== null && row.values[slot] !== undefined);
    byId("open-row").replaceChildren(
      ...filled.map(([slot, name]) => make("div", {}, make("dt", {}, name), make("dd", {}, slotText(slot, row.values[slot])))),
      make("div", {}, make("dt", {}, "setup"), make("dd", {}, row.setup.words)),
      make("div", {}, make("dt", {}, "status"), make("dd", { class: `status ${row.status}` }, STATUS_WORDS[row.status])),
    );
  }

  /** @param {any} state */
  showBout(state) {
    this.bout = state.running_bout;
    this.boutFrom = performance.now() - (state.now_s - (this.bout?.start_s ?? 0)) * 1000;
    say(byId("bout-button"), this.bout ? "End bout" : "Begin bout");
    this.refresh();
  }

  refresh() {
    if (this.page.stage !== "testing") return;
    const grade = this.bout?.grade ? `, grade ${this.bout.grade}` : "";
    say(byId("bout"), this.bout ? `Bout${grade}: ${clock((performance.now() - this.boutFrom) / 1000)}` : "");
    if (this.arm.at && performance.now() - this.arm.at > OLD_MS) this.arm.blank("No new picture.");
  }

  /** @param {any} gauge */
  gauge(gauge) {
    this.arm.show(gauge);
    drawBody(byId("testing-picture"), gauge);
    measured(byId("gauge"), gauge);
  }

  /** What a position check has found. @param {any} heard */
  position(heard) {
    const checks = this.page.state?.position_checks.filter((check) => Math.abs(check.at_s - heard.at_s) < 0.06) ?? [];
    if (heard.what !== "command" || !checks.length) return "";
    return `Position: ${checks.map((check) => `${check.side} ${check.words}`).join(", ")}`;
  }

  /** @param {any} heard */
  heard(heard) {
    if (this.page.stage !== "testing") return;
    const line = byId("heard");
    line.classList.remove("gone");
    line.dataset.what = heard.what;
    say(line, this.position(heard) || heardWords(heard));
    clearTimeout(this.fading);
    this.fading = setTimeout(() => line.classList.add("gone"), FAINT_MS);
    this.options();
    if (this.page.role !== "lead") return;
    this.tones.play(heard.what);
    this.speech.say(heard.say);
  }
}

/** What was said, or which key did the same. @param {string} text */
function plain(text) {
  const key = /^\[by hand: (.*)\]$/.exec(text);
  return key ? `${key[1]} (by hand)` : `“${text}”`;
}

/** How long a picture took to the gauge, for whoever measures. @param {any} place @param {any} gauge */
function measured(place, gauge) {
  if (gauge.page_ms === undefined) return;
  place.dataset.delayMs = String(Math.round(performance.now() - gauge.page_ms));
  place.dataset.shown = String(Number(place.dataset.shown ?? 0) + 1);
}

/** @param {any} heard */
function heardWords(heard) {
  const text = plain(heard.text);
  const reason = heard.reason ? `: ${heard.reason}` : "";
  switch (heard.what) {
    case "logged": return `✓ Logged: ${text}`;
    case "completed": return `✓ Added: ${text}`;
    case "check": return `? To check: ${text}${reason}`;
    case "withdrawn": return `✕ Taken back${heard.text ? `: ${text}` : ""}`;
    case "side": return `Side: ${text}`;
    case "command": return `Heard: ${text}${reason}`;
    case "unplaced": return `No row for ${text}${reason}`;
    default: return heard.text ? `Talk, not logged: ${text}` : "Talk, not logged";
  }
}

/** @param {any} row */
function shortRow(row) {
  const parts = SLOT_NAMES.filter(([slot]) => !["side", "test", "motion", "comparison"].includes(slot) && row.values[slot] !== null)
    .map(([slot, name]) => (["mobility", "note"].includes(slot) ? slotText(slot, row.values[slot]) : `${name} ${slotText(slot, row.values[slot])}`));
  const what = [row.values.side ?? "side?", row.what].filter(Boolean).join(" ");
  const why = row.status === "check" ? row.reasons : row.cautions;
  return make("li", { class: row.status === "withdrawn" ? "withdrawn-row" : "", "data-row": row.number },
    make("span", { class: `status ${row.status}` }, STATUS_WORDS[row.status]),
    make("span", { class: "what" }, make("strong", {}, what), parts.length ? `: ${parts.join(", ")}` : ""),
    make("span", { class: "faint" }, row.setup.words),
    why.length ? make("span", { class: "why" }, why.join("; ")) : null);
}
