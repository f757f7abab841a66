/** Microphone and camera: choosing them, what goes wrong with them, and sending what they give. */

import { Camera } from "./camera.js";

const SOUND = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const PICTURE = { width: { ideal: 1280 }, height: { ideal: 720 }, frameRate: { ideal: 30 } };
const LATE_MS = 3000;
const WAITING = "The browser waits for a key or a click before it lets the page listen.";

/** @typedef {"microphone"|"camera"} Kind */

export class Devices {
  /** @param {import("./link.js").Link} link */
  constructor(link) {
    this.link = link;
    this.camera = new Camera(link);
    /** @type {MediaStream|null} */ this.sound = null;
    /** @type {MediaStream|null} */ this.picture = null;
    /** @type {AudioContext|null} */ this.context = null;
    /** @type {AudioWorkletNode|null} */ this.node = null;
    this.number = 0;
    this.sendSound = false;
    this.level = 0;
    this.lastBlock = 0;
    this.someoneSpeaks = false;
    /** @type {Record<Kind, string>} */ this.words = { microphone: "", camera: "" };
    /** @type {Set<() => void>} */ this.watchers = new Set();
    navigator.mediaDevices?.addEventListener("devicechange", () => this.cameBack());
    link.when("speech", (message) => {
      this.someoneSpeaks = message.on;
    });
  }

  /** @param {() => void} then Called whenever a device, its words or the lists may have changed. */
  watch(then) {
    this.watchers.add(then);
  }

  changed() {
    for (const then of this.watchers) then();
  }

  /** @param {Kind} kind */
  chosen(kind) {
    return localStorage.getItem(kind) ?? "";
  }

  /** @param {Kind} kind @param {string} id "" for the usual one, "none" for no camera. */
  choose(kind, id) {
    localStorage.setItem(kind, id);
    return kind === "camera" ? this.startCamera() : this.startMicrophone();
  }

  /** Ask for both at once, so that the browser asks once. @param {boolean} camera */
  async start(camera) {
    if (!navigator.mediaDevices) {
      this.words.microphone = "This browser gives no page a microphone: use another one.";
      this.changed();
      return;
    }
    const wanted = camera && this.chosen("camera") !== "none";
    if (wanted && !this.picture && !this.sound) {
      try {
        const both = await navigator.mediaDevices.getUserMedia({
          audio: asked(SOUND, this.chosen("microphone")),
          video: asked(PICTURE, this.chosen("camera")),
        });
        await this.useSound(new MediaStream(both.getAudioTracks()));
        await this.usePicture(new MediaStream(both.getVideoTracks()));
        this.changed();
        return;
      } catch {
        // One of the two may still be there: each is tried by itself and says what is wrong.
      }
    }
    if (!this.sound) await this.startMicrophone();
    if (wanted && !this.picture) await this.startCamera();
  }

  async startMicrophone() {
    this.stopTracks("sound");
    try {
      const asking = { audio: asked(SOUND, this.chosen("microphone")) };
      await this.useSound(await navigator.mediaDevices.getUserMedia(asking));
    } catch (error) {
      this.words.microphone = trouble("microphone", error);
    }
    this.changed();
  }

  async startCamera() {
    this.stopTracks("picture");
    this.words.camera = "";
    if (this.chosen("camera") !== "none") {
      try {
        const asking = { video: asked(PICTURE, this.chosen("camera")) };
        await this.usePicture(await navigator.mediaDevices.getUserMedia(asking));
      } catch (error) {
        this.words.camera = trouble("camera", error);
      }
    }
    this.changed();
  }

  /** @param {MediaStream} stream */
  async useSound(stream) {
    this.sound = stream;
    this.words.microphone = "";
    this.watchTrack(stream.getAudioTracks()[0], "microphone");
    this.context = new AudioContext({ latencyHint: "interactive" });
    await this.context.audioWorklet.addModule("/static/microphone.worklet.js");
    this.node = new AudioWorkletNode(this.context, "microphone", { numberOfOutputs: 0 });
    this.node.port.onmessage = (event) => this.block(event.data);
    this.context.createMediaStreamSource(stream).connect(this.node);
    this.context.addEventListener("statechange", () => this.wake());
    this.beginAnew();
    await this.wake();
  }

  /** A machine that slept, or a browser that waits for a key, leaves the sound standing. */
  async wake() {
    const context = this.context;
    if (!context || context.state === "closed") return;
    if (context.state === "running") {
      if (this.words.microphone === WAITING) this.words.microphone = "";
      this.changed();
      return;
    }
    this.beginAnew();
    await Promise.race([context.resume(), new Promise((resolve) => setTimeout(resolve, LATE_MS))]);
    if (context !== this.context || context.state === "running") return;
    this.words.microphone = WAITING;
    const again = () => this.context?.resume();
    addEventListener("pointerdown", again, { once: true });
    addEventListener("keydown", again, { once: true });
    this.changed();
  }

  /** @param {MediaStream} stream */
  async usePicture(stream) {
    this.picture = stream;
    this.words.camera = "";
    this.watchTrack(stream.getVideoTracks()[0], "camera");
    await this.camera.use(stream);
  }

  /** @param {MediaStreamTrack} track @param {Kind} kind */
  watchTrack(track, kind) {
    track.addEventListener("ended", () => {
      this.stopTracks(kind === "camera" ? "picture" : "sound");
      this.words[kind] =
        kind === "camera"
          ? "The camera was unplugged or taken away: no angle is measured. Plug it in again or choose another."
          : "The microphone was unplugged or taken away: nothing is heard. Plug it in again or choose another.";
      this.changed();
    });
    track.addEventListener("mute", () => {
      if (kind === "microphone") this.words[kind] = "The system has muted the microphone: nothing is heard.";
      this.changed();
    });
    track.addEventListener("unmute", () => {
      this.words[kind] = "";
      this.changed();
    });
  }

  /** A device that was plugged in again is used again. */
  async cameBack() {
    const lists = await this.lists();
    if (this.words.microphone && !this.sound && lists.microphone.length) await this.startMicrophone();
    if (this.words.camera && !this.picture && lists.camera.length) await this.startCamera();
    this.changed();
  }

  /** @returns {Promise<Record<Kind, {id: string, label: string}[]>>} */
  async lists() {
    const found = (await navigator.mediaDevices?.enumerateDevices()) ?? [];
    const of = (kind, name) =>
      found
        .filter((device) => device.kind === kind)
        .map((device, i) => ({ id: device.deviceId, label: device.label || `${name} ${i + 1}` }));
    return { microphone: of("audioinput", "Microphone"), camera: of("videoinput", "Camera") };
  }

  /** The next block begins a new unbroken run of sound. */
  beginAnew() {
    this.number = 0;
  }

  /** @param {boolean} muted */
  mute(muted) {
    this.node?.port.postMessage({ muted });
  }

  /** @param {{content: ArrayBuffer, loudest: number, endedAt: number}} block */
  block(block) {
    this.level = Math.max(block.loudest, this.level * 0.84);
    this.lastBlock = performance.now();
    if (!this.sendSound || !this.link.isOpen) {
      this.number = 0;
      return;
    }
    const length = (block.content.byteLength / 2 / 16000) * 1000;
    const pageMs = performance.now() - (Date.now() - block.endedAt) - length;
    this.link.sendBinary("A", this.number++, Math.max(0, pageMs), block.content);
  }

  /** @param {number} number */
  acknowledged(number) {
    this.camera.acknowledged(number);
  }

  /** @param {"sound"|"picture"} which */
  stopTracks(which) {
    this[which]?.getTracks().forEach((track) => track.stop());
    this[which] = null;
    if (which === "picture") this.camera.stop();
    if (which === "sound") {
      this.level = 0;
      this.context?.close();
      this.context = null;
      this.node = null;
    }
  }

  stop() {
    this.sendSound = false;
    this.stopTracks("sound");
    this.stopTracks("picture");
    this.words = { microphone: "", camera: "" };
    this.changed();
  }
}

/** @param {Record<string, any>} wanted @param {string} id */
function asked(wanted, id) {
  return id && id !== "none" ? { ...wanted, deviceId: { exact: id } } : wanted;
}

/** @param {Kind} kind @param {any} error */
function trouble(kind, error) {
  const without = kind === "camera" ? "Without it no angle is measured." : "Without it nothing is heard.";
  switch (error?.name) {
    case "NotAllowedError":
    case "SecurityError":
      return `The browser was told not to let this page use the ${kind}. Allow it beside the page's address and try again. ${without}`;
    case "NotFoundError":
      return `No ${kind} was found. Plug one in and try again. ${without}`;
    case "OverconstrainedError":
      return `The ${kind} chosen before is not there. Choose another. ${without}`;
    case "NotReadableError":
    case "AbortError":
      return `The ${kind} is used by another program or does not start. Close that program and try again. ${without}`;
    default:
      return `The ${kind} cannot be used (${error?.name ?? "unknown"}). ${without}`;
  }
}
