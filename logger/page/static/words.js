/** Names of slots and states, once for all views. */

/** @type {[string, string][]} */
export const SLOT_NAMES = [
  ["side", "side"], ["test", "test"], ["motion", "motion"], ["mode", "mode"], ["range_deg", "range"],
  ["grade", "grade"], ["mobility", "mobility"], ["mobility_score", "score"], ["pain", "pain"],
  ["end_feel", "end feel"], ["symptoms", "symptoms"], ["comparison", "compared"], ["note", "note"],
];

/** @type {Record<string, string>} */
export const STATUS_WORDS = { logged: "✓ logged", check: "? check", withdrawn: "✕ taken back" };

/** @param {string} slot @param {any} value */
export function slotText(slot, value) {
  if (value === null || value === undefined || value === "") return "";
  if (slot === "range_deg") return `${value}°`;
  return slot === "note" ? String(value) : String(value).replaceAll("_", " ");
}
