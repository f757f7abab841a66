/** Takes pictures from the camera's stream, about ten a second, and sends as many as are wanted. */

const EVERY_MS = 95;
const QUICK_MS = 120;
const FORGOTTEN_MS = 4000;
const LONGEST_PX = 1280;
const QUALITY = 0.85;

export class Camera {
  /** @param {import("./link.js").Link} link */
  constructor(link) {
    this.link = link;
    this.video = document.createElement("video");
    this.video.muted = true;
    this.video.playsInline = true;
    this.video.setAttribute("aria-label", "The camera's picture");
    this.canvas = document.createElement("canvas");
    this.number = 0;
    /** @type {Map<number, number>} */ this.onTheWay = new Map();
    this.sending = false;
    this.lastSent = 0;
    this.tookMs = 0;
    this.run = 0;
  }

  /** @param {MediaStream} stream */
  async use(stream) {
    this.video.srcObject = stream;
    this.onTheWay.clear();
    await this.video.play().catch(() => undefined);
    this.next(++this.run);
  }

  stop() {
    this.run++;
    this.video.srcObject = null;
  }

  /** Show the picture in another place. @param {Element} place */
  moveTo(place) {
    if (this.video.parentElement !== place) place.prepend(this.video);
    if (this.video.srcObject) this.video.play().catch(() => undefined);
  }

  /** @param {number} run */
  next(run) {
    if (run !== this.run) return;
    if (this.video.requestVideoFrameCallback) {
      this.video.requestVideoFrameCallback((now, about) => {
        this.frame(about.captureTime ?? now);
        this.next(run);
      });
    } else {
      setTimeout(() => {
        this.frame(performance.now());
        this.next(run);
      }, EVERY_MS);
    }
  }

  /** @param {number} capturedMs */
  frame(capturedMs) {
    const now = performance.now();
    for (const [number, sent] of this.onTheWay) {
      if (now - sent > FORGOTTEN_MS) this.onTheWay.delete(number);
    }
    // A second picture may wait only where its turn comes at once: else it is old when it is seen.
    const most = this.tookMs < QUICK_MS ? 2 : 1;
    const wanted = this.sending && this.link.isOpen && this.onTheWay.size < most;
    if (!wanted || now - this.lastSent < EVERY_MS || this.video.videoWidth === 0) return;
    this.lastSent = now;
    this.take(capturedMs <= now && now - capturedMs < 1000 ? capturedMs : now);
  }

  /** @param {number} capturedMs */
  take(capturedMs) {
    const { videoWidth: wide, videoHeight: high } = this.video;
    const scale = Math.min(1, LONGEST_PX / Math.max(wide, high));
    this.canvas.width = Math.round(wide * scale);
    this.canvas.height = Math.round(high * scale);
    this.canvas.getContext("2d", { alpha: false }).drawImage(this.video, 0, 0, this.canvas.width, this.canvas.height);
    const number = this.number++;
    this.onTheWay.set(number, performance.now());
    this.canvas.toBlob((blob) => this.send(blob, number, capturedMs), "image/jpeg", QUALITY);
  }

  /** @param {Blob|null} blob @param {number} number @param {number} capturedMs */
  async send(blob, number, capturedMs) {
    if (blob) this.link.sendBinary("V", number, capturedMs, await blob.arrayBuffer());
    else this.onTheWay.delete(number);
  }

  /** @param {number} number */
  acknowledged(number) {
    const sent = this.onTheWay.get(number);
    if (sent !== undefined) this.tookMs = performance.now() - sent;
    this.onTheWay.delete(number);
  }
}
