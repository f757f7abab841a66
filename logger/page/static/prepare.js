/** Before testing: devices, codes, the cautions that must be answered, and the camera's view. */

import { all, byId, make, on, say } from "./dom.js";
import { drawBody } from "./overlay.js";
import { fillCamera, fillMicrophone } from "./pickers.js";

export class Prepare {
  /** @param {import("./link.js").Link} link @param {any} page @param {import("./devices.js").Devices} devices */
  constructor(link, page, devices) {
    this.link = link;
    this.page = page;
    this.devices = devices;
    this.asking = false;
    this.begun = false;
    this.found = false;
    byId("allow").addEventListener("click", () => this.allow());
    byId("camera").addEventListener("change", (event) => devices.choose("camera", event.target.value));
    byId("microphone").addEventListener("change", (event) => devices.choose("microphone", event.target.value));
    byId("look-again").addEventListener("click", () => link.send({ kind: "look_again" }));
    byId("pack").addEventListener("change", (event) => link.send({ kind: "pack", name: event.target.value }));
    byId("patient-code").addEventListener("input", () => this.codeTyped());
    byId("begin").addEventListener("click", () => this.begin());
    byId("none-left").addEventListener("click", () => this.noToRest());
    byId("who").addEventListener("submit", (event) => event.preventDefault());
    on(byId("cautions"), "change", "input", () => this.answered());
    on(byId("cautions"), "input", "input", () => this.answered());
    devices.watch(() => this.showDevices());
  }

  async show() {
    this.begun = false;
    this.found = false;
    byId("examiner-code").value = localStorage.getItem("examiner") ?? "";
    byId("patient-code").value = "";
    byId("keep-media").checked = false;
    say(byId("code-advice"), "");
    this.packChosen();
    this.devices.camera.moveTo(byId("prepare-picture"));
    this.devices.camera.sending = true;
    this.showDevices();
    const granted = await Promise.all([permission("camera"), permission("microphone")]);
    if (granted.every((state) => state === "granted")) await this.allow();
  }

  async allow() {
    if (this.asking) return;
    this.asking = true;
    say(byId("device-words"), "The browser asks whether this page may use them: allow it.");
    await this.devices.start(this.page.camera);
    this.asking = false;
    this.showDevices();
  }

  /** @param {any} message */
  welcome(message) {
    this.page.camera = message.camera;
    byId("pack").replaceChildren(
      ...message.packs.map((pack) => make("option", { value: pack.name, selected: pack.name === message.pack.name }, pack.title)),
    );
  }

  packChosen() {
    const pack = this.page.pack;
    if (!pack) return;
    byId("pack").value = pack.name;
    if (this.page.stage === "prepare" && this.shownPack === pack.name && byId("cautions").childElementCount && !this.fresh) return;
    this.shownPack = pack.name;
    byId("cautions").replaceChildren(...pack.cautions.map(question));
    this.answered();
  }

  hide() {
    byId("cautions").replaceChildren();
    this.shownPack = "";
  }

  codeTyped() {
    const text = byId("patient-code").value;
    clearTimeout(this.typing);
    if (!text) say(byId("code-advice"), "");
    this.typing = setTimeout(() => this.link.send({ kind: "code", text }), 250);
  }

  /** @param {any} message */
  codeAdvice(message) {
    if (message.text === byId("patient-code").value) say(byId("code-advice"), message.advice);
  }

  noToRest() {
    for (const item of all("#cautions > li")) {
      if (!item.querySelector("input:checked")) item.querySelector('input[value="no"]').checked = true;
    }
    this.answered();
  }

  answers() {
    return all("#cautions > li").map((item) => {
      const chosen = item.querySelector("input:checked")?.value;
      return { answered: Boolean(chosen), present: chosen === "yes", reason: item.querySelector(".reason").value.trim() };
    });
  }

  answered() {
    for (const item of all("#cautions > li")) {
      item.querySelector(".override").hidden = item.querySelector("input:checked")?.value !== "yes";
    }
    this.showMissing();
  }

  showMissing() {
    const answers = this.answers();
    const open = answers.filter((answer) => !answer.answered).length;
    const reasons = answers.filter((answer) => answer.present && !answer.reason).length;
    const missing = [];
    if (open) missing.push(open === 1 ? "one caution is not answered" : `${open} cautions are not answered`);
    if (reasons) missing.push(reasons === 1 ? "one override needs its reason" : `${reasons} overrides need their reasons`);
    if (!this.devices.sound) missing.push("the microphone is off");
    const unseen = this.devices.picture && !this.found;
    const ready = unseen ? "Ready, but the patient is not found yet: wait, hands off, until the arms are seen." : "Ready.";
    const words = missing.length ? `Not yet: ${missing.join("; ")}.` : ready;
    say(byId("missing"), words);
    byId("begin").setAttribute("aria-disabled", String(missing.length > 0));
    return missing;
  }

  begin() {
    if (this.begun) return;
    if (this.showMissing().length) {
      const open = all("#cautions > li").find((item) => {
        const chosen = item.querySelector("input:checked")?.value;
        return !chosen || (chosen === "yes" && !item.querySelector(".reason").value.trim());
      });
      (open?.querySelector("input") ?? byId("allow")).focus();
      return;
    }
    this.begun = true;
    localStorage.setItem("examiner", byId("examiner-code").value.trim());
    this.link.send({
      kind: "begin",
      patient_code: byId("patient-code").value.trim(),
      examiner_code: byId("examiner-code").value.trim(),
      involved_side: document.querySelector('input[name="involved"]:checked').value || null,
      keep_media: byId("keep-media").checked,
      answers: this.answers().map(({ present, reason }) => ({ present, reason: present ? reason : "" })),
    });
  }

  refused() {
    this.begun = false;
  }

  async showDevices() {
    if (this.page.stage !== "prepare") return;
    const lists = await this.devices.lists();
    fillCamera(byId("camera"), lists.camera, this.devices);
    fillMicrophone(byId("microphone"), lists.microphone, this.devices);
    byId("ask-devices").hidden = Boolean(this.devices.sound);
    const words = [this.devices.words.microphone, this.devices.words.camera].filter(Boolean).join(" ");
    say(byId("device-words"), words || (this.devices.sound ? "The microphone is on." : "The microphone is off."));
    if (!this.devices.picture) {
      say(byId("view-check"), this.page.camera ? "The camera is off: rows are written without angles." : "The program was started without a camera.");
    }
    byId("look-again").disabled = !this.devices.picture;
    this.showMissing();
  }

  /** @param {any} message */
  gauge(message) {
    drawBody(byId("prepare-picture"), message);
    say(byId("view-check"), viewWords(message));
    if (this.found === message.found) return;
    this.found = message.found;
    this.showMissing();
  }
}

/** @param {any} message */
function viewWords(message) {
  if (!message.found) return message.advice || "Looking for the patient.";
  const seen = (message.arms ?? []).filter((arm) => arm.visible).map((arm) => arm.side);
  const arms = seen.length === 2 ? "Both arms are seen." : seen.length ? `The ${seen[0]} arm is seen.` : "No arm is seen well.";
  return ["✓ The patient is found.", arms, message.advice].filter(Boolean).join(" ");
}

/** @param {{text: string, urgency: string}} caution @param {number} i */
function question(caution, i) {
  const name = `caution-${i}`;
  const choice = (value) => make("label", {}, make("input", { type: "radio", name, value }), ` ${value}`);
  const unsafe = `Testing may be unsafe: ${caution.text}. The pack says: ${caution.urgency}.`;
  return make("li", {},
    make("fieldset", { class: "caution" },
      make("legend", {}, caution.text, make("span", { class: "urgency" }, caution.urgency)),
      make("div", { class: "yes-no" }, choice("no"), choice("yes")),
      make("div", { class: "override", hidden: true },
        make("p", {}, make("strong", {}, unsafe)),
        make("label", { for: `${name}-reason` }, "To test in spite of it, write your reason; it is kept with the session"),
        make("input", { id: `${name}-reason`, class: "reason", maxlength: 400 }))));
}

/** @param {string} name */
async function permission(name) {
  try {
    return (await navigator.permissions.query({ name })).state;
  } catch {
    return "prompt";
  }
}
