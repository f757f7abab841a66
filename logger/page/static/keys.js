/** Keys for a clinician's foot switch, which is a keyboard, and for a noisy room. */

const FIELDS = "input, select, textarea, [contenteditable], dialog";

/** @param {any} page @param {import("./link.js").Link} link @param {import("./testing.js").Testing} testing */
export function listenToKeys(page, link, testing) {
  addEventListener("keydown", (event) => {
    if (page.stage !== "testing" || page.role !== "lead" || event.repeat) return;
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const target = /** @type {Element} */ (event.target);
    if (target.closest(FIELDS)) return;
    // Space presses a button that has the focus, as everywhere.
    if (event.key === " " && target.closest("button, a, summary, [role=button]")) return;
    const side = { l: "left", L: "left", r: "right", R: "right" }[event.key];
    if (side) testing.side(side);
    const what = { " ": "check_position", Backspace: "withdraw", p: "pause", P: "pause" }[event.key];
    if (!what) return;
    event.preventDefault();
    testing.do(what);
  });
}
