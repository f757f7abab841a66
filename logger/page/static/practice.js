/** Practice without speech: a target, the arm, and a score sheet of attempts. */

import { byId, make, say } from "./dom.js";
import { ArmView, fitWords } from "./gauge.js";
import { drawBody } from "./overlay.js";
import { fillCamera } from "./pickers.js";
import { Tones } from "./tones.js";

const OLD_MS = 1500;

export class Practice {
  /** @param {import("./link.js").Link} link @param {any} page @param {import("./devices.js").Devices} devices */
  constructor(link, page, devices) {
    this.link = link;
    this.page = page;
    this.devices = devices;
    this.tones = new Tones();
    this.attempts = 0;
    this.arm = new ArmView({
      dial: byId("practice-gauge"), number: byId("practice-number"), words: byId("practice-angle-words"),
      steady: byId("practice-steady"), advice: byId("practice-advice"),
    });
    byId("practice-go").addEventListener("click", () => this.go());
    byId("practice-camera").addEventListener("change", (event) => devices.choose("camera", event.target.value));
    devices.watch(() => this.showDevices());
    setInterval(() => {
      if (page.stage === "practice" && this.arm.at && performance.now() - this.arm.at > OLD_MS) this.arm.blank("No new picture.");
    }, 500);
  }

  async show() {
    this.attempts = 0;
    say(byId("target"), "Choose a test");
    say(byId("practice-words"), "");
    say(byId("practice-time"), "");
    say(byId("practice-go"), "Begin");
    byId("sheet").tBodies[0].replaceChildren();
    byId("sheet-none").hidden = false;
    byId("sheet-region").hidden = true;
    this.arm.blank("Waiting for the camera.");
    this.devices.camera.moveTo(byId("practice-picture"));
    this.devices.camera.sending = true;
    if (!this.devices.picture) await this.devices.startCamera();
    this.showDevices();
  }

  hide() {
    this.devices.camera.sending = false;
    this.devices.stop();
  }

  welcome() {
    this.packChosen();
  }

  packChosen() {
    byId("practice-test").replaceChildren(
      make("option", { value: "" }, "The page chooses"),
      ...(this.page.pack?.tests ?? []).map((test) => make("option", { value: test.key }, `${test.title}, ${test.window[0]}° to ${test.window[1]}°`)),
    );
  }

  async showDevices() {
    if (this.page.stage !== "practice") return;
    const lists = await this.devices.lists();
    fillCamera(byId("practice-camera"), lists.camera, this.devices);
    say(byId("practice-device-words"), this.devices.words.camera);
    if (!this.devices.picture) this.arm.blank(this.devices.words.camera || "No camera.");
  }

  /** Begin with the target that was chosen, or with one that was not the last. */
  go() {
    const others = (this.page.pack?.tests ?? []).map((test) => test.key).filter((key) => key !== this.last);
    this.last = byId("practice-test").value || others[Math.floor(Math.random() * others.length)];
    this.link.send({ kind: "practise", test: this.last, side: byId("practice-side").value });
    say(byId("practice-go"), "Next target");
  }

  /** @param {any} gauge */
  gauge(gauge) {
    this.arm.show(gauge);
    drawBody(byId("practice-picture"), gauge);
  }

  /** @param {any} sheet */
  sheet(sheet) {
    if (this.page.stage !== "practice") return;
    say(byId("target"), sheet.target);
    say(byId("practice-words"), sheet.in_place ? `✓ ${sheet.words}` : sheet.words);
    say(byId("practice-time"), sheet.got_there_s === null ? "" : `Got there in ${sheet.got_there_s.toFixed(1)} s`);
    const rows = sheet.attempts;
    byId("sheet-none").hidden = rows.length > 0;
    byId("sheet-region").hidden = rows.length === 0;
    if (rows.length > this.attempts) this.tones.play(rows.at(-1).fit === "in_range" ? "logged" : "check");
    this.attempts = rows.length;
    byId("sheet").tBodies[0].replaceChildren(...rows.map(attemptRow));
  }
}

function attemptRow(attempt) {
  const off = attempt.off_deg ? `, ${Math.abs(attempt.off_deg)}° too ${attempt.off_deg < 0 ? "low" : "high"}` : "";
  const sign = attempt.fit === "in_range" ? "✓ " : attempt.fit === "borderline" ? "? " : "✕ ";
  return make("tr", {},
    make("td", {}, String(attempt.number)),
    make("td", {}, attempt.target),
    make("td", {}, `${attempt.angle_deg}°`),
    make("td", {}, sign + fitWords(attempt.fit) + off),
    make("td", {}, attempt.got_there_s === null ? "not seen" : `${attempt.got_there_s.toFixed(1)} s`),
    make("td", {}, `${attempt.held_s.toFixed(1)} s`),
    make("td", {}, attempt.steady ? `within ${attempt.spread_deg.toFixed(1)}°` : "drifting"));
}
