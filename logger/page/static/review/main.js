/** The educator's review: a list of sessions, and one of them beside its recording. */

import { ask } from "./asking.js";
import { showList } from "./listing.js";
import { byId, clock, made } from "./making.js";
import { showRow, showRows, showSheet } from "./session.js";
import { showTrace } from "./trace.js";

const BEFORE_S = 1;
const video = byId("video");
const now = { session: null, chosen: null, reviewer: "", move: (_at_s) => {} };

byId("back").addEventListener("click", () => { history.pushState(null, "", location.hash); list(); });
byId("export").addEventListener("click", () => trying(exported));
byId("mark").addEventListener("click", () => change({ session: now.session.session, kind: "reviewed" }));
video.addEventListener("timeupdate", () => now.move(video.currentTime));
addEventListener("popstate", () => { list(); });
const keys = { " ": "play", b: "back", p: "previous", n: "next", c: "check" };
addEventListener("keydown", (event) => {
  const typing = event.target.closest("select, textarea, input, video") || (event.key === " " && event.target.closest("button"));
  if (!now.session || typing || event.ctrlKey || event.metaKey || event.altKey || !keys[event.key]) return;
  event.preventDefault();
  doKey(keys[event.key]);
});
for (const button of document.querySelectorAll("[data-key]")) button.addEventListener("click", () => doKey(button.dataset.key));
list();

function doKey(what) {
  const rows = now.session.rows;
  const at = rows.findIndex((row) => row.number === now.chosen);
  if (what === "play" && !video.hidden) { if (video.paused) video.play(); else video.pause(); }
  if (what === "back" && !video.hidden) video.currentTime = Math.max(0, video.currentTime - 3);
  if (what === "next" && at + 1 < rows.length) choose(rows[at + 1].number, true);
  if (what === "previous" && at > 0) choose(rows[at - 1].number, true);
  if (what === "check") {
    const open = [...rows.slice(at + 1), ...rows.slice(0, at + 1)].find((row) => row.status === "check");
    if (open) choose(open.number, true);
    else tell("No row of this session is left to check.");
  }
}

async function trying(work) {
  tell("");
  try {
    return await work();
  } catch (error) {
    tell(error.message);
    return undefined;
  }
}

function tell(sentence) {
  byId("trouble").replaceChildren(...(sentence ? [made("p", { class: "trouble" }, made("span", {}, sentence))] : []));
}

async function list() {
  now.session = null;
  video.pause();
  video.removeAttribute("src");
  byId("session").hidden = true;
  byId("list").hidden = false;
  byId("back").hidden = true;
  await trying(async () => {
    const told = await ask("/api/class");
    now.reviewer = told.reviewer;
    showList(told, (name) => { history.pushState(null, "", location.hash); open(name); });
    showAgreement(told.agreement);
  });
  document.title = "Review of practice sessions";
}

function showAgreement(agreement) {
  byId("agreement").hidden = !agreement;
  if (!agreement) return;
  const table = byId("agreement").querySelector("table");
  table.tHead.replaceChildren(made("tr", {}, ...agreement.columns.map((name) => made("th", { scope: "col" }, name))));
  table.tBodies[0].replaceChildren(...agreement.lines.map((line) => made("tr", {}, ...line.map((cell) => made("td", {}, cell)))));
}

async function open(name) {
  await trying(async () => {
    const session = await ask(`/api/session?session=${encodeURIComponent(name)}`);
    byId("list").hidden = true;
    byId("session").hidden = false;
    byId("back").hidden = false;
    video.hidden = !session.media.url;
    if (session.media.url) video.src = session.media.url;
    now.chosen = null;
    show(session);
    document.title = `${name}: review`;
    byId("main").focus();
  });
}

function show(session) {
  now.session = session;
  const { examiner, patient, started_at, involved_side } = session.facts;
  byId("session-title").textContent = session.session;
  byId("session-facts").textContent = [session.pack, examiner && `examiner ${examiner}`, patient && `patient ${patient}`,
    involved_side && `involved side ${involved_side}`, started_at && started_at.slice(0, 16).replace("T", " "),
    `${clock(session.duration_s)} long`].filter(Boolean).join(" · ");
  byId("session-state").textContent = session.state === "reviewed" ? `✓ reviewed by ${session.reviews.at(-1).by}` : "to check";
  byId("session-state").className = `status state-${session.state.replace(" ", "-")}`;
  byId("media-note").textContent = session.media.note;
  now.move = showTrace(session, (at_s) => { if (!video.hidden) video.currentTime = at_s; });
  showSheet(session);
  choose(now.chosen, false);
}

function choose(number, seeking) {
  now.chosen = number;
  const row = now.session.rows.find((each) => each.number === number);
  showRows(now.session, number, (chosen) => choose(chosen, true));
  showRow(now.session, row, now.reviewer, change);
  if (!row || !seeking) return;
  if (!video.hidden) video.currentTime = Math.max(0, row.start_s - BEFORE_S);
  now.move(row.start_s - BEFORE_S);
  const button = document.querySelector(`[data-row="${number}"]`);
  button.focus();
  button.scrollIntoView({ block: "nearest" });
}

async function change(sent) {
  const focused = document.activeElement?.id;
  const session = await trying(() => ask("/api/change", sent));
  if (session) show(session);
  else show(now.session);
  if (focused) byId(focused)?.focus();
}

async function exported() {
  const { csv } = await ask("/api/class-table");
  const link = made("a", { href: URL.createObjectURL(new Blob([csv], { type: "text/csv" })), download: "class-table.csv" });
  link.click();
  URL.revokeObjectURL(link.href);
}
