/** The page: opens the socket, keeps what is shown in step with it, and hands out the work. */

import { all, byId, on } from "./dom.js";
import { Devices } from "./devices.js";
import { Link } from "./link.js";
import { After } from "./after.js";
import { Practice } from "./practice.js";
import { Prepare } from "./prepare.js";
import { Start } from "./start.js";
import { Testing } from "./testing.js";
import { Top } from "./top.js";
import { listenToKeys } from "./keys.js";
import { chooseTheme } from "./theme.js";

/** @typedef {"waiting"|"start"|"prepare"|"testing"|"after"|"practice"} Stage */

const SLEPT_MS = 1000;
const link = new Link();
const devices = new Devices(link);
const top = new Top(devices);
/** What every part knows. */
const page = {
  /** @type {Stage} */ stage: "waiting",
  role: "watch",
  /** @type {any} */ pack: null,
  /** @type {any} */ state: null,
  camera: false,
  /** @param {boolean} speaking */
  speaking: (speaking) => {
    top.speaking = speaking;
  },
  /** @param {string} text */
  notice: (text) => top.notice(text),
};
const parts = {
  start: new Start(link, page, show),
  prepare: new Prepare(link, page, devices),
  testing: new Testing(link, page, devices),
  after: new After(link, page),
  practice: new Practice(link, page, devices),
};

/** @param {Stage} stage */
function show(stage) {
  if (page.stage === stage) return;
  const before = page.stage;
  page.stage = stage;
  document.body.dataset.stage = stage;
  for (const section of all("[data-view]")) section.hidden = section.dataset.view !== stage;
  parts[before]?.hide?.();
  parts[stage]?.show?.();
  const title = document.querySelector(`[data-view="${stage}"] h1`)?.textContent ?? "";
  document.title = stage === "testing" ? "Testing - Spoken findings" : `${title} - Spoken findings`;
  if (before !== "waiting") byId("main").focus({ preventScroll: true });
}

const stageOfPhase = { cautions: "prepare", testing: "testing", paused: "testing", ended: "after" };

link.when("welcome", (message) => {
  page.role = message.role;
  page.pack = message.pack;
  parts.start.welcome(message);
  parts.prepare.welcome(message);
  parts.practice.welcome(message);
  top.role(page.role);
  if (!message.running && (page.stage === "waiting" || page.stage === "testing" || page.stage === "after")) {
    page.state = null;
    show("start");
  }
});
link.when("pack", (message) => {
  page.pack = message.pack;
  parts.prepare.packChosen();
  parts.practice.packChosen();
});
link.when("role", (message) => {
  page.role = message.role;
  top.role(page.role, message.free);
  parts.start.role();
  parts.testing.role();
  if (page.role === "watch") devices.stop();
  else if (page.state && page.stage === "testing") parts.testing.startDevices();
});
link.when("state", (message) => {
  const before = page.state;
  page.state = message;
  top.state(message);
  show(stageOfPhase[message.phase]);
  parts.testing.state(message, before);
  parts.after.state(message);
});
link.when("left", () => {
  page.state = null;
  devices.stop();
  top.state(null);
  show("start");
});
link.when("gauge", (message) => {
  // Measured in a picture of a camera that has gone since: it must not stand on the page.
  if (page.role === "lead" && !devices.picture) return;
  if (page.stage === "testing") parts.testing.gauge(message);
  if (page.stage === "prepare") parts.prepare.gauge(message);
  if (page.stage === "practice") parts.practice.gauge(message);
});
link.when("practice", (message) => parts.practice.sheet(message));
link.when("heard", (message) => parts.testing.heard(message));
link.when("code", (message) => parts.prepare.codeAdvice(message));
link.when("saved", (message) => parts.after.saved(message));
link.when("ack", (message) => devices.acknowledged(message.number));
link.when("trouble", (message) => top.trouble(message.id, message.text));
link.when("notice", (message) => top.notice(message.text));
link.when("refused", (message) => {
  parts.prepare.refused();
  top.notice(message.text);
});
link.when("closed", (message) => {
  devices.stop();
  top.trouble("link", message.text);
  top.away();
});
link.when("open", () => {
  devices.beginAnew();
  top.trouble("link", "");
});

on(document.body, "click", "[data-act]", (button) => {
  const act = button.dataset.act;
  if (act === "take-over") link.send({ kind: "take_over" });
  if (act === "back") {
    devices.stop();
    show("start");
  }
  if (act === "leave") {
    if (page.stage === "practice") link.send({ kind: "practise", test: null });
    link.send({ kind: "leave" });
  }
});
byId("new-session").addEventListener("click", () => show("prepare"));
byId("new-practice").addEventListener("click", () => show("practice"));
// A machine that slept: the page's own clock may have stood still, and the program must be told.
let ahead = Date.now() - performance.now();
setInterval(() => {
  const slept = Date.now() - performance.now() - ahead;
  if (Math.abs(slept) < SLEPT_MS) return;
  ahead += slept;
  devices.beginAnew();
  link.send({ kind: "clock", page_ms: performance.now() });
}, SLEPT_MS);
listenToKeys(page, link, parts.testing);
chooseTheme(byId("theme"));
link.open();
