/** Small helpers for the document; nothing is ever put in as HTML text. */

/** @param {string} id @returns {any} */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`no element ${id}`);
  return found;
}

/** @param {string} selector @param {ParentNode} [within] @returns {any[]} */
export function all(selector, within = document) {
  return [...within.querySelectorAll(selector)];
}

/**
 * Make an element: make("p", { class: "faint", "data-row": 3 }, "text", child).
 * Properties with a function become listeners; false and null leave an attribute out.
 * @param {string} name @param {Record<string, any>} [props] @param {...(Node|string|null)} children
 * @returns {any}
 */
export function make(name, props = {}, ...children) {
  return filled(document.createElement(name), props, children);
}

/** The same for SVG. @param {string} name @param {Record<string, any>} [props] @param {...(Node|string|null)} children @returns {any} */
export function svg(name, props = {}, ...children) {
  return filled(document.createElementNS("http://www.w3.org/2000/svg", name), props, children);
}

function filled(element, props, children) {
  for (const [key, value] of Object.entries(props)) {
    if (typeof value === "function") element.addEventListener(key, value);
    else if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(key, value === true ? "" : String(value));
    }
  }
  element.append(...children.filter((child) => child !== null));
  return element;
}

/** Put text in only where it changes, so that screen readers are not told twice. @param {Element} element @param {string} text */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** @param {Element} parent @param {string} event @param {string} selector @param {(found: any, event: any) => void} then */
export function on(parent, event, selector, then) {
  parent.addEventListener(event, (happened) => {
    const found = /** @type {Element} */ (happened.target).closest?.(selector);
    if (found && parent.contains(found)) then(found, happened);
  });
}

/** Seconds as "12:05". @param {number} seconds */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/**
 * Ask before something that is not easily undone; the safe answer has the focus.
 * @param {{ title: string, text: string, yes: string, no: string }} words @returns {Promise<boolean>}
 */
export function ask(words) {
  const dialog = byId("ask");
  say(byId("ask-title"), words.title);
  say(byId("ask-text"), words.text);
  say(byId("ask-yes"), words.yes);
  say(byId("ask-no"), words.no);
  dialog.returnValue = "no";
  dialog.showModal();
  byId("ask-no").focus();
  return new Promise((resolve) => {
    dialog.addEventListener("close", () => resolve(dialog.returnValue === "yes"), { once: true });
  });
}
