/** The class at a glance: one line a session, sortable. */

import { byId, made } from "./making.js";

const COLUMNS = [
  ["session", "Session"], ["examiner", "Examiner"], ["started_at", "Begun"], ["state", "State"],
  ["rows", "Rows"], ["to_check", "To check"], ["edits", "Edits"], ["judged_alike", "Judged alike"], ["met", "Sheet"],
];

let order = { by: "session", down: false };

/** @param {any} told @param {(name: string) => void} open */
export function showList(told, open) {
  const head = byId("class").tHead;
  head.replaceChildren(made("tr", {}, ...COLUMNS.map(([key, label]) => made("th", {
    scope: "col", "aria-sort": order.by === key ? (order.down ? "descending" : "ascending") : "none",
  }, made("button", { type: "button", onclick: () => { order = { by: key, down: order.by === key && !order.down }; showList(told, open); byId("class").tHead.querySelector(`[aria-sort="${order.down ? "descending" : "ascending"}"] button`)?.focus(); } },
    order.by === key ? `${label} ${order.down ? "▼" : "▲"}` : label)))));
  const lines = [...told.lines].sort(compared);
  byId("class").tBodies[0].replaceChildren(...lines.map((line) => made("tr", {},
    made("td", {}, made("button", { type: "button", onclick: () => open(line.session) }, line.session)),
    made("td", {}, line.examiner || "not said"),
    made("td", {}, line.started_at ? line.started_at.slice(0, 16).replace("T", " ") : "not said"),
    made("td", { class: line.state === "reviewed" ? "state-reviewed" : "state-to-check" }, line.state),
    made("td", { class: "number" }, String(line.rows)),
    made("td", { class: "number" }, String(line.to_check)),
    made("td", { class: "number" }, String(line.edits)),
    made("td", { class: "number" }, line.judged ? `${line.judged_alike} of ${line.judged}` : "none judged"),
    made("td", { title: line.sheet }, `${line.met} of ${line.criteria} met`))));
  const open_checks = told.lines.reduce((sum, line) => sum + line.to_check, 0);
  byId("list-count").textContent = `${told.lines.length} sessions, ${told.lines.filter((l) => l.state === "reviewed").length} reviewed, ${open_checks} rows to check`;
  byId("problems").replaceChildren(...told.problems.map((problem) => made("li", {}, problem)));
  byId("who").textContent = `Reviewer ${told.reviewer}`;
}

function compared(one, other) {
  const [a, b] = [one[order.by], other[order.by]];
  const sign = typeof a === "number" ? a - b : String(a).localeCompare(String(b), undefined, { numeric: true });
  return (order.down ? -1 : 1) * sign || one.session.localeCompare(other.session);
}
