/** The arm's angle over time, with the window of each test and where its row was spoken. */

import { byId, clock, drawn } from "./making.js";

const HIGH = 190;
const EDGE = { left: 34, right: 8, top: 18, bottom: 22 };
const MOST_DEG = 180;
const BEFORE_S = 8;

/** @param {any} session @param {(at_s: number) => void} seek */
export function showTrace(session, seek) {
  const svg = byId("trace");
  svg.replaceChildren(byId("trace-title") ?? drawn("title", { id: "trace-title" }));
  const wide = Math.max(300, svg.clientWidth);
  svg.setAttribute("viewBox", `0 0 ${wide} ${HIGH}`);
  const end_s = Math.max(1, session.duration_s);
  const x = (at_s) => EDGE.left + (at_s / end_s) * (wide - EDGE.left - EDGE.right);
  const most = top(session);
  const y = (deg) => HIGH - EDGE.bottom - (deg / most) * (HIGH - EDGE.top - EDGE.bottom);
  for (const deg of [0, 30, 60, 90, 120, 150, 180].filter((value) => value <= most)) {
    svg.append(drawn("line", { class: "grid", x1: `${EDGE.left}`, x2: `${wide - EDGE.right}`, y1: `${y(deg)}`, y2: `${y(deg)}` }));
    svg.append(drawn("text", { x: "4", y: `${y(deg) + 4}` }, `${deg}°`));
  }
  for (let at_s = 0; at_s <= end_s * 0.97; at_s += step(end_s)) {
    svg.append(drawn("text", { x: `${x(at_s)}`, y: `${HIGH - 6}` }, clock(at_s)));
  }
  for (const row of session.rows) {
    if (row.window) {
      svg.append(drawn("rect", { class: "window", x: `${x(Math.max(0, row.start_s - BEFORE_S))}`, y: `${y(row.window[1])}`,
        width: `${x(row.start_s) - x(Math.max(0, row.start_s - BEFORE_S))}`, height: `${y(row.window[0]) - y(row.window[1])}` }));
    }
    svg.append(drawn("line", { class: "mark", x1: `${x(row.start_s)}`, x2: `${x(row.start_s)}`, y1: `${EDGE.top - 4}`, y2: `${HIGH - EDGE.bottom}` }));
    svg.append(drawn("text", { x: `${x(row.start_s) - 4}`, y: `${EDGE.top - 6}` }, String(row.number)));
  }
  for (const side of ["right", "left"]) svg.append(drawn("path", { class: side, d: line(session.trace[side], x, y) }));
  const now = drawn("line", { class: "now", id: "now", x1: `${x(0)}`, x2: `${x(0)}`, y1: `${EDGE.top}`, y2: `${HIGH - EDGE.bottom}` });
  svg.append(now);
  svg.onclick = (event) => {
    const box = svg.getBoundingClientRect();
    const at = ((event.clientX - box.left) / box.width) * wide;
    seek(Math.max(0, Math.min(end_s, ((at - EDGE.left) / (wide - EDGE.left - EDGE.right)) * end_s)));
  };
  byId("trace-title").textContent = "The angle between upper arm and trunk over time, for each arm.";
  byId("trace-words").textContent = words(session);
  return (at_s) => { now.setAttribute("x1", `${x(at_s)}`); now.setAttribute("x2", `${x(at_s)}`); };
}

function top(session) {
  const seen = [...session.trace.left, ...session.trace.right].map((point) => point[1] ?? 0);
  const windows = session.rows.map((row) => row.window?.[1] ?? 0);
  return Math.min(MOST_DEG, 30 * Math.ceil((seen.concat(windows).reduce((a, b) => Math.max(a, b), 60) + 5) / 30));
}

function step(end_s) {
  return [10, 15, 30, 60, 120, 300, 600, 1200].find((every) => end_s / every <= 8) ?? 3600;
}

function line(points, x, y) {
  let path = "";
  let open = false;
  let last_s = -1;
  for (const [at_s, deg] of points) {
    if (deg === null) { open = false; continue; }
    if (at_s - last_s > 1) open = false;
    path += `${open ? "L" : "M"}${x(at_s).toFixed(1)} ${y(deg).toFixed(1)}`;
    open = true;
    last_s = at_s;
  }
  return path;
}

function words(session) {
  const none = session.trace.left.concat(session.trace.right).every((point) => point[1] === null);
  if (none) return "No angle was seen in this recording.";
  return "Right arm solid, left arm dashed; a gap is where the arm was not seen. Shaded: the window of the "
    + "test of each row, before it was spoken. Numbers: the rows. A click goes to that moment.";
}
