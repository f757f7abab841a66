/** After testing: the table, every cell of which can be changed beside what was heard. */

import { byId, clock, make, on, say } from "./dom.js";
import { when } from "./start.js";
import { SLOT_NAMES, STATUS_WORDS, slotText } from "./words.js";

const ALWAYS = ["side", "test", "grade", "mobility", "pain", "end_feel", "note"];

export class After {
  /** @param {import("./link.js").Link} link @param {any} page */
  constructor(link, page) {
    this.link = link;
    this.page = page;
    /** @type {""|"kept"|"changed"} How the files stand to what is shown. */
    this.files = "";
    byId("save").addEventListener("click", () => this.save());
    byId("all-columns").addEventListener("change", () => this.last && this.table(this.last));
    on(byId("table"), "click", ".cell", (cell) => this.edit(cell));
    on(byId("table"), "click", ".settle", (button) => link.send({ kind: "settle", row: Number(button.dataset.row) }));
    on(byId("table"), "click", ".stands", (button) => {
      link.send({ kind: "edit", row: Number(button.dataset.row), slot: "status", value: button.dataset.to });
    });
  }

  /** @param {any} state */
  state(state) {
    if (this.page.stage !== "after") return;
    if (!this.last || this.last.session !== state.session) this.files = "";
    else if (this.files && JSON.stringify(this.last.rows) !== JSON.stringify(state.rows)) this.files = "changed";
    this.last = state;
    if (this.files !== "kept") say(byId("saved"), this.files ? "Changed since it was saved: save again." : "Not saved yet.");
    const code = state.patient_code ? `Patient ${state.patient_code}. ` : "";
    say(byId("after-facts"), `${code}Begun ${when(state.started_at)}.`);
    const open = state.rows.filter((row) => row.status === "check" && !row.settled).length;
    say(byId("after-checks"), open ? `? ${open === 1 ? "One row wants" : `${open} rows want`} a check: look at each, change what is wrong, or let it stand.` : "✓ No row wants a check.");
    this.table(state);
    list("unplaced", state.unplaced.map((item) => `${clock(item.at_s)} “${item.text}”: ${item.reason}`), "Nothing.");
    const bouts = state.bouts.map((bout) => `Bout ${clock(bout.start_s)} to ${bout.end_s === null ? "not ended" : clock(bout.end_s)}: ${[bout.side, bout.test, bout.grade && `grade ${bout.grade}`].filter(Boolean).join(" ") || "nothing said"}`);
    const checks = state.position_checks.map((check) => `Position check ${clock(check.at_s)}: ${check.side} ${check.words}`);
    list("bouts", [...bouts, ...checks], "None.");
    const present = state.present.map((answer) => `Tested although present: ${answer.text} Reason: ${answer.reason}`);
    byId("warnings").replaceChildren(...[...present, ...state.warnings].map((text) => make("li", {}, `! ${text}`)));
  }

  /** @param {any} state */
  table(state) {
    const everything = byId("all-columns").checked;
    const filled = (slot) => state.rows.some((row) => row.values[slot] !== null || Object.hasOwn(row.edits, slot));
    const used = SLOT_NAMES.filter(([slot]) => this.page.pack.slots[slot]?.kind !== "none" && (everything || ALWAYS.includes(slot) || filled(slot)));
    const heads = ["No.", "Time", "Status", "Setup", ...used.map(([, name]) => name)];
    byId("table").tHead.replaceChildren(make("tr", {}, ...heads.map((head) => make("th", { scope: "col" }, head))));
    const focused = /** @type {any} */ (document.activeElement)?.dataset ?? {};
    byId("table").tBodies[0].replaceChildren(...state.rows.map((row) => this.row(row, used)));
    if (focused.row) byId("table").querySelector(`[data-row="${focused.row}"][data-slot="${focused.slot ?? ""}"]`)?.focus();
  }

  row(row, used) {
    const away = row.status === "withdrawn";
    return make("tr", { class: away ? "withdrawn-row" : "", "data-number": row.number },
      make("td", {}, String(row.number)),
      make("td", {}, clock(row.start_s)),
      make("td", { class: "keeps" }, ...this.status(row)),
      make("td", {}, row.setup.words),
      ...used.map(([slot, name]) => make("td", {}, ...this.cell(row, slot, name))));
  }

  status(row) {
    const reasons = [...row.reasons, ...row.cautions.map((caution) => `! ${caution}`)];
    const standing = row.settled ? "✓ looked at" : STATUS_WORDS[row.status];
    const button = (label, kind, to) => make("button", { type: "button", class: `second small ${kind}`, "data-row": row.number, "data-to": to ?? false, "data-slot": kind, "aria-label": `Row ${row.number}: ${label}` }, label);
    return [
      make("span", { class: `status ${row.settled ? "logged" : row.status}` }, standing),
      reasons.length && row.status === "check" ? make("ul", { class: "why-list" }, ...reasons.map((text) => make("li", {}, text))) : null,
      make("div", { class: "buttons" },
        row.status === "check" && !row.settled ? button("Let it stand", "settle") : null,
        row.status === "withdrawn" ? button("Put back", "stands", "logged") : button("Take back", "stands", "withdrawn")),
    ].filter(Boolean);
  }

  cell(row, slot, name) {
    const value = row.values[slot];
    const edited = Object.hasOwn(row.edits, slot);
    const was = edited ? row.edits[slot] : null;
    const text = slotText(slot, value) || "–";
    const heard = edited ? `heard: ${slotText(slot, was) || "nothing"}` : "";
    return [
      make("button", { type: "button", class: edited ? "cell edited" : "cell", "data-row": row.number, "data-slot": slot, "aria-label": `Row ${row.number}, ${name}: ${text}${heard ? `, ${heard}` : ""}. Change` }, text),
      edited ? make("span", { class: "was" }, heard) : null,
    ].filter(Boolean);
  }

  /** @param {HTMLButtonElement} cell */
  edit(cell) {
    const { row, slot } = cell.dataset;
    const kept = this.page.state.rows.find((one) => one.number === Number(row));
    const rule = this.page.pack.slots[slot];
    const now = kept.values[slot];
    const field = editor(rule, now, cell.getAttribute("aria-label"));
    const close = (changed) => {
      if (!field.isConnected) return;
      field.replaceWith(cell);
      cell.focus();
      const value = typed(field.value, rule);
      if (changed && value !== (now ?? null)) this.link.send({ kind: "edit", row: Number(row), slot, value });
    };
    field.addEventListener("keydown", (event) => {
      if (event.key === "Enter") close(true);
      if (event.key === "Escape") close(false);
    });
    field.addEventListener("blur", () => close(true));
    if (field.tagName === "SELECT") field.addEventListener("change", () => close(true));
    cell.replaceWith(field);
    field.focus();
    field.select?.();
  }

  save() {
    say(byId("saved"), "Saving.");
    this.link.send({ kind: "save" });
  }

  /** @param {any} message */
  saved(message) {
    this.files = "kept";
    say(byId("saved"), `✓ Saved in ${message.folder}`);
  }
}

function editor(rule, now, label) {
  if (rule.kind === "word") {
    return make("select", { "aria-label": label }, make("option", { value: "" }, "–"),
      ...rule.values.map((value) => make("option", { value, selected: value === now }, value.replaceAll("_", " "))));
  }
  if (rule.kind === "number") return make("input", { type: "number", min: rule.low, max: rule.high, value: now ?? "", "aria-label": label });
  return make("input", { type: "text", maxlength: 1000, value: now ?? "", "aria-label": label });
}

function typed(text, rule) {
  if (text === "") return null;
  return rule.kind === "number" ? Math.round(Number(text)) : text;
}

/** @param {string} id @param {string[]} items @param {string} none */
function list(id, items, none) {
  byId(id).replaceChildren(...(items.length ? items : [none]).map((text) => make("li", {}, text)));
}
