/** Lists of cameras and microphones to choose from. */

import { make } from "./dom.js";

/** @param {HTMLSelectElement} select @param {{id: string, label: string}[]} found @param {import("./devices.js").Devices} devices */
export function fillCamera(select, found, devices) {
  fill(select, [{ id: "none", label: "No camera" }, ...found], current(devices.picture, devices.chosen("camera")));
}

/** @param {HTMLSelectElement} select @param {{id: string, label: string}[]} found @param {import("./devices.js").Devices} devices */
export function fillMicrophone(select, found, devices) {
  const listed = found.length ? found : [{ id: "", label: "None found" }];
  fill(select, listed, current(devices.sound, devices.chosen("microphone")));
}

/** @param {MediaStream|null} stream @param {string} chosen */
function current(stream, chosen) {
  return stream?.getTracks()[0]?.getSettings().deviceId ?? chosen;
}

function fill(select, items, chosen) {
  const wanted = JSON.stringify([items, chosen]);
  if (select.dataset.filled === wanted || document.activeElement === select) return;
  select.dataset.filled = wanted;
  select.replaceChildren(...items.map((item) => make("option", { value: item.id, selected: item.id === chosen }, item.label)));
}
