/** Small parts that make the page's elements; text is always text and never markup. */

const SVG = "http://www.w3.org/2000/svg";

/**
 * @param {string} tag
 * @param {Record<string, string|boolean|EventListener>} [given] attributes; on… adds a listener
 * @param {...(Node|string)} inside
 * @returns {HTMLElement}
 */
export function made(tag, given = {}, ...inside) {
  return filled(document.createElement(tag), given, inside);
}

/**
 * @param {string} tag
 * @param {Record<string, string>} [given]
 * @param {...(Node|string)} inside
 * @returns {SVGElement}
 */
export function drawn(tag, given = {}, ...inside) {
  return filled(document.createElementNS(SVG, tag), given, inside);
}

function filled(element, given, inside) {
  for (const [name, value] of Object.entries(given)) {
    if (typeof value === "function") element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false) element.setAttribute(name, value);
  }
  element.append(...inside);
  return element;
}

/** @param {string} id */
export const byId = (id) => document.getElementById(id);

/** @param {number} seconds */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
