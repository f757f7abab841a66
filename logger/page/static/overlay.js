/** Draws the patient's trunk and arms over the camera's picture. */

import { svg } from "./dom.js";

const LINES = [
  ["left_shoulder", "right_shoulder"],
  ["left_shoulder", "left_hip"],
  ["right_shoulder", "right_hip"],
  ["left_hip", "right_hip"],
  ["left_elbow", "left_wrist"],
  ["right_elbow", "right_wrist"],
  ["left_shoulder", "left_elbow"],
  ["right_shoulder", "right_elbow"],
];

/** @param {Element} place @param {any} message */
export function drawBody(place, message) {
  const [wide, high] = message.shape ?? [4, 3];
  place.querySelector("svg")?.remove();
  const points = message.body ?? {};
  const lines = LINES.filter(([from, to]) => points[from] && points[to]);
  if (!lines.length) return;
  const k = 100 / high;
  const line = ([from, to], kind) =>
    svg("line", {
      class: kind,
      x1: points[from][0] * wide * k,
      y1: points[from][1] * 100,
      x2: points[to][0] * wide * k,
      y2: points[to][1] * 100,
    });
  const used = (pair) => (pair[1].endsWith("elbow") ? "used" : "");
  place.append(
    svg(
      "svg",
      { viewBox: `0 0 ${wide * k} 100`, class: "skeleton", "aria-hidden": "true" },
      ...lines.map((pair) => line(pair, "outline")),
      ...lines.map((pair) => line(pair, used(pair))),
    ),
  );
}
