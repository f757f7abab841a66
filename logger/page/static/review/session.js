/** One session: its rows, what is changed in them, and its sheet. */

import { byId, clock, made } from "./making.js";

const OUTCOMES = { met: ["state-logged", "✓"], "not met": ["state-check", "✗"], "cannot be told": ["faint", "?"] };
const STATES = { logged: "logged", check: "to check", withdrawn: "withdrawn" };

/** @param {any} session @param {number|null} chosen @param {(number: number) => void} choose */
export function showRows(session, chosen, choose) {
  byId("rows").tBodies[0].replaceChildren(...session.rows.map((row) => made("tr", {
    class: `${row.number === chosen ? "chosen" : ""} ${row.status === "withdrawn" ? "gone" : ""}`,
  },
  made("td", {}, made("button", { type: "button", "data-row": String(row.number), "aria-current": row.number === chosen ? "true" : "false",
    "aria-label": `Row ${row.number} at ${clock(row.start_s)}`, onclick: () => choose(row.number) }, String(row.number))),
  made("td", { class: "number" }, clock(row.start_s)),
  made("td", { class: "what" }, row.what, ...(row.note ? [made("div", { class: "faint" }, `Note: ${row.note}`)] : [])),
  made("td", {}, row.setup),
  made("td", { class: `state-${row.status}` }, STATES[row.status] + (row.settled && row.status === "logged" ? ", settled" : "")))));
}

/**
 * @param {any} session @param {any} row @param {string} reviewer
 * @param {(sent: object) => void} change
 */
export function showRow(session, row, reviewer, change) {
  byId("row").hidden = !row;
  if (!row) return;
  byId("row-title").textContent = `Row ${row.number}, ${clock(row.start_s)}`;
  byId("row-said").textContent = `Heard: “${row.said}”`;
  const open = row.status === "check";
  byId("row-reasons").replaceChildren(
    ...row.reasons.map((reason) => made("li", { class: open ? "warn" : "faint" }, open ? `Check: ${reason}` : `Was to check: ${reason}`)),
    ...row.cautions.map((caution) => made("li", { class: "warn" }, `Caution: ${caution}`)));
  const of = { session: session.session, row: row.number };
  byId("row-buttons").replaceChildren(
    made("button", { type: "button", id: "settle", onclick: () => change({ ...of, kind: "settle", status: "logged" }) },
      open ? "It stands as it is now: settle" : row.status === "withdrawn" ? "Put it back" : "Settle again"),
    ...(row.status === "withdrawn" ? [] : [made("button", { type: "button", class: "second",
      onclick: () => change({ ...of, kind: "settle", status: "withdrawn" }) }, "Withdraw the row")]));
  const used = (slot) => row.heard[slot.name] || row.value[slot.name] || row.judged.some((one) => one.slot === slot.name);
  const lines = (asked) => session.slots.filter((slot) => Boolean(used(slot)) === asked).map((slot) => slotLine(slot, row, reviewer, change, of));
  byId("slots").tBodies[0].replaceChildren(...lines(true));
  byId("slots-empty").tBodies[0].replaceChildren(...lines(false));
  byId("note").value = row.note;
  byId("save-note").onclick = () => change({ ...of, kind: "correct", slot: "note", value: byId("note").value });
  byId("changes").replaceChildren(...(row.edits.length || row.judged.length ? [
    ...row.edits.map((edit) => made("li", {}, `${edit.slot}: `, made("span", { class: "was" }, edit.before || "empty"), ` → ${edit.after || "empty"}, by ${edit.by}, ${when(edit.at)}`)),
    ...row.judged.map((judged) => made("li", {}, `judged ${judged.slot.replace("_", " ")}: ${judged.value}, by ${judged.by}, ${when(judged.at)}`)),
  ] : [made("li", { class: "faint" }, "None: it is as it was heard.")]));
}

function slotLine(slot, row, reviewer, change, of) {
  const heard = row.heard[slot.name];
  const value = row.value[slot.name];
  const judged = row.judged.find((one) => one.slot === slot.name && one.by === reviewer)?.value ?? "";
  const label = slot.unit ? `${slot.label} (${slot.unit})` : slot.label;
  return made("tr", { class: judged && judged !== heard ? "differs" : "" },
    made("th", { scope: "row" }, label),
    made("td", heard && heard !== value ? { class: "was" } : {}, heard.replaceAll("_", " ") || "—"),
    made("td", {}, choice(slot, value, `${label} in force`, "empty", (after) => change({ ...of, kind: "correct", slot: slot.name, value: after }), `force-${slot.name}`)),
    made("td", {}, choice(slot, judged, `My judgement of ${label}`, "none", (after) => change({ ...of, kind: "judge", slot: slot.name, value: after }), `judge-${slot.name}`)));
}

function choice(slot, value, label, empty, changed, id) {
  const select = made("select", { id, "aria-label": label, onchange: () => changed(select.value) },
    made("option", { value: "" }, empty),
    ...slot.choices.map((each) => made("option", { value: each }, each.replaceAll("_", " "))));
  select.value = value;
  return select;
}

/** @param {any} session */
export function showSheet(session) {
  byId("total").textContent = session.total;
  byId("sheet").tBodies[0].replaceChildren(...session.scores.map((score) => made("tr", {},
    made("td", { class: `outcome ${OUTCOMES[score.outcome][0]}` }, `${OUTCOMES[score.outcome][1]} ${score.outcome}`),
    made("td", {}, score.text, made("div", { class: "faint" }, score.detail)))));
  byId("warnings").replaceChildren(...session.warnings.map((warning) => made("li", {}, warning)));
}

function when(at) {
  return at.slice(0, 16).replace("T", " ");
}
