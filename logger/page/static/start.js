/** The start page: a new session, practice, and the sessions that are kept. */

import { byId, make, on, say } from "./dom.js";

export class Start {
  /** @param {import("./link.js").Link} link @param {any} page @param {(stage: any) => void} show */
  constructor(link, page, show) {
    this.link = link;
    this.page = page;
    this.unended = "";
    on(byId("kept"), "click", "button", (button) => this.open(button.dataset.session));
    byId("go-on").addEventListener("click", () => this.open(this.unended));
  }

  /** @param {string} id */
  open(id) {
    this.link.send({ kind: "open", session_id: id });
  }

  role() {
    const leads = this.page.role === "lead";
    byId("start-watch").hidden = leads;
    for (const id of ["new-session", "new-practice", "go-on"]) byId(id).disabled = !leads;
    for (const button of byId("kept").querySelectorAll("button")) button.disabled = !leads;
  }

  /** @param {any} message */
  welcome(message) {
    const rows = message.sessions;
    byId("kept-none").hidden = rows.length > 0;
    byId("kept-region").hidden = rows.length === 0;
    byId("kept").tBodies[0].replaceChildren(...rows.map(row));
    const open = rows.find((session) => !session.ended && !session.in_use);
    this.unended = open?.id ?? "";
    byId("going-on").hidden = !open;
    if (open) {
      const code = open.patient_code ? ` for ${open.patient_code}` : "";
      say(byId("going-on-text"), `Begun ${when(open.started_at)}${code}, ${count(open.rows)} kept. It can go on where it stopped.`);
    }
    this.role();
  }
}

function row(session) {
  const state = session.in_use ? "open elsewhere" : session.ended ? "ended" : "not ended";
  const label = `${session.ended ? "Open" : "Go on with"} the session of ${when(session.started_at)}`;
  const button = make("button", { type: "button", class: "second", "data-session": session.id, "aria-label": label },
    session.ended ? "Open" : "Go on");
  return make("tr", {},
    make("td", {}, when(session.started_at)),
    make("td", {}, session.patient_code || "none"),
    make("td", {}, String(session.rows)),
    make("td", {}, state),
    make("td", {}, session.in_use ? null : button));
}

/** @param {number} rows */
export function count(rows) {
  return rows === 1 ? "1 row" : `${rows} rows`;
}

/** @param {string} stamp */
export function when(stamp) {
  const date = new Date(stamp);
  return Number.isNaN(date.getTime()) ? stamp || "at an unknown time"
    : date.toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
}
