/**
 * The dial: a trunk seen from the front and an arm that hangs at 0 and points up at 180 degrees.
 * The patient faces the reader, so their right arm is on the left.
 */

import { make, say, svg } from "./dom.js";

const CENTRE = { x: 0, y: 0 };
const RADIUS = 150;
const BAND = 30;

export class Dial {
  /** @param {Element} place */
  constructor(place) {
    this.label = make("p", { class: "unseen" });
    this.drawing = svg("svg", { viewBox: "-42 -176 246 352", role: "presentation", "aria-hidden": "true" });
    this.window = svg("g");
    this.arm = svg("line", { class: "dial-arm", x1: 0, y1: 0, x2: 0, y2: RADIUS - 34, visibility: "hidden" });
    const ticks = [0, 30, 60, 90, 120, 150, 180].map(tick);
    this.texts = svg("g");
    this.body = svg(
      "g",
      {},
      svg("path", { class: "dial-scale", d: arc(0, 180, RADIUS) }),
      this.window,
      ...ticks,
      svg("line", { class: "dial-trunk", x1: -14, y1: 4, x2: -14, y2: 150 }),
      svg("circle", { class: "dial-head", cx: -14, cy: -42, r: 20 }),
      this.arm,
    );
    this.drawing.append(this.body, this.texts);
    place.append(this.drawing, this.label);
    this.shown = "";
  }

  /** @param {number[]|null} window @param {string|null} side */
  frame(window, side) {
    const wanted = JSON.stringify([window, side]);
    if (wanted === this.shown) return;
    this.shown = wanted;
    this.mirrored = side === "right";
    const flip = this.mirrored ? -1 : 1;
    this.drawing.setAttribute("viewBox", this.mirrored ? "-204 -176 246 352" : "-42 -176 246 352");
    this.body.setAttribute("transform", `scale(${flip} 1)`);
    this.window.replaceChildren();
    this.texts.replaceChildren();
    const marks = window ?? [90];
    if (window) {
      this.window.append(svg("path", { class: "dial-window", d: band(window[0], window[1]) }));
      for (let at = window[0] + 4; at < window[1]; at += 6) {
        const [inner, outer] = [point(at, RADIUS - BAND), point(at + 2, RADIUS)];
        this.window.append(svg("line", { class: "dial-hatch", x1: inner.x, y1: inner.y, x2: outer.x, y2: outer.y }));
      }
    }
    for (const mark of marks) {
      const at = point(mark, RADIUS + 19);
      const text = svg("text", {
        class: window ? "dial-text" : "dial-small",
        x: at.x * flip,
        y: at.y + 6,
        "text-anchor": "middle",
      });
      text.textContent = `${Math.round(mark)}°`;
      this.texts.append(text);
    }
  }

  /** @param {{angle_deg: number|null, faint_deg: number|null, words: string}} gauge */
  point(gauge) {
    const sure = gauge.angle_deg !== null && gauge.angle_deg !== undefined;
    const angle = sure ? gauge.angle_deg : gauge.faint_deg;
    if (angle === null || angle === undefined) this.arm.setAttribute("visibility", "hidden");
    else {
      const end = point(Math.max(0, Math.min(180, angle)), RADIUS - 34);
      this.arm.setAttribute("x2", end.x);
      this.arm.setAttribute("y2", end.y);
      this.arm.setAttribute("class", sure ? "dial-arm" : "dial-arm unsure");
      this.arm.setAttribute("visibility", "visible");
    }
    say(this.label, `Arm angle: ${gauge.words}`);
  }
}

/** @param {number} degrees @param {number} radius */
function point(degrees, radius) {
  const turn = (degrees * Math.PI) / 180;
  return { x: CENTRE.x + Math.sin(turn) * radius, y: CENTRE.y + Math.cos(turn) * radius };
}

/** @param {number} from @param {number} to @param {number} radius */
function arc(from, to, radius) {
  const [a, b] = [point(from, radius), point(to, radius)];
  return `M ${a.x} ${a.y} A ${radius} ${radius} 0 ${to - from > 180 ? 1 : 0} 0 ${b.x} ${b.y}`;
}

/** @param {number} from @param {number} to */
function band(from, to) {
  const [a, b] = [point(from, RADIUS), point(to, RADIUS)];
  const [c, d] = [point(to, RADIUS - BAND), point(from, RADIUS - BAND)];
  const inner = RADIUS - BAND;
  return `M ${a.x} ${a.y} A ${RADIUS} ${RADIUS} 0 0 0 ${b.x} ${b.y} L ${c.x} ${c.y} A ${inner} ${inner} 0 0 1 ${d.x} ${d.y} Z`;
}

/** @param {number} degrees */
function tick(degrees) {
  const [from, to] = [point(degrees, RADIUS - 6), point(degrees, RADIUS + 5)];
  return svg("line", { class: "dial-scale", x1: from.x, y1: from.y, x2: to.x, y2: to.y });
}

/** How a fit is said. @param {string} fit */
export function fitWords(fit) {
  return (
    {
      in_range: "in range",
      borderline: "borderline",
      out_of_range: "out of range",
      not_seen: "not seen",
      not_required: "no window",
      at_rest: "at rest",
    }[fit] ?? ""
  );
}

/** Shows one arm: the dial, the number and the words beside it. */
export class ArmView {
  /** @param {{dial: Element, number: Element, words: any, steady: Element, advice: Element}} places */
  constructor(places) {
    this.places = places;
    this.dial = new Dial(places.dial);
    this.at = 0;
  }

  /** @param {any} gauge */
  show(gauge) {
    this.at = performance.now();
    const { number, words, steady, advice } = this.places;
    this.dial.frame(gauge.window, gauge.side);
    this.dial.point(gauge);
    const seen = gauge.angle_deg !== null && gauge.angle_deg !== undefined;
    say(number, seen ? `${Math.round(gauge.angle_deg)}°` : "–");
    words.dataset.fit = seen ? gauge.fit : "not_seen";
    say(words, gauge.side ? (seen ? fitWords(gauge.fit) : "not seen") : "no side yet");
    say(steady, steadiness(gauge, seen));
    say(advice, gauge.advice || "");
  }

  /** An old angle must not look like a new one. @param {string} why */
  blank(why) {
    this.at = 0;
    this.dial.point({ angle_deg: null, faint_deg: null, words: why });
    say(this.places.number, "–");
    this.places.words.dataset.fit = "not_seen";
    say(this.places.words, "not seen");
    say(this.places.steady, why);
    say(this.places.advice, "");
  }
}

/** @param {any} gauge @param {boolean} seen */
function steadiness(gauge, seen) {
  if (!gauge.side) return "Say a side, or a finding with one.";
  if (!seen) return gauge.words === "not seen" ? "" : gauge.words.replace(/^not seen[:,]? ?/, "");
  return gauge.steady_s >= 0.5 ? `steady for ${Math.floor(gauge.steady_s * 2) / 2} s` : "moving";
}
