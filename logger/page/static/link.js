/** The socket to the program, with typed messages both ways. */

const PROTOCOL = "spoken-findings.1";
const AGAIN_MS = 1500;
const LOST =
  "The program does not answer. Start it again: what was acknowledged is kept, and this session can go on.";
const STRANGER =
  "This page was not opened by the program that runs now: use the page that it has opened, or its printed address.";

export class Link {
  constructor() {
    /** @type {Map<string, (message: any) => void>} */
    this.handlers = new Map();
    /** @type {WebSocket|null} */
    this.socket = null;
    this.token = token();
    this.everOpen = false;
  }

  /** @param {string} kind @param {(message: any) => void} then */
  when(kind, then) {
    this.handlers.set(kind, then);
  }

  open() {
    const url = `ws://${location.host}/live`;
    const socket = new WebSocket(url, [PROTOCOL, `token.${this.token}`]);
    socket.binaryType = "arraybuffer";
    socket.addEventListener("open", () => {
      this.socket = socket;
      this.everOpen = true;
      this.send({ kind: "hello", page_ms: performance.now() });
      this.told({ kind: "open" });
    });
    socket.addEventListener("message", (event) => this.told(JSON.parse(event.data)));
    socket.addEventListener("close", (event) => this.closed(event));
  }

  /** @param {CloseEvent} event */
  closed(event) {
    this.socket = null;
    const why = event.reason ? `The program closed the connection: ${event.reason}.` : LOST;
    this.told({ kind: "closed", text: this.everOpen ? why : STRANGER });
    setTimeout(() => this.open(), AGAIN_MS);
  }

  told(message) {
    this.handlers.get(message.kind)?.(message);
  }

  get isOpen() {
    return this.socket !== null && this.socket.readyState === WebSocket.OPEN;
  }

  /** How many bytes wait to be sent. */
  get waiting() {
    return this.socket?.bufferedAmount ?? 0;
  }

  /** @param {Record<string, any>} message */
  send(message) {
    if (this.isOpen) this.socket.send(JSON.stringify(message));
  }

  /**
   * Send sound ("A") or a picture ("V"): 16 bytes of header, then the content.
   * @param {"A"|"V"} letter @param {number} number @param {number} pageMs @param {ArrayBuffer} content
   */
  sendBinary(letter, number, pageMs, content) {
    if (!this.isOpen) return;
    const message = new Uint8Array(16 + content.byteLength);
    const header = new DataView(message.buffer);
    header.setUint8(0, letter.charCodeAt(0));
    header.setUint32(4, number, true);
    header.setFloat64(8, pageMs, true);
    message.set(new Uint8Array(content), 16);
    this.socket.send(message);
  }
}

/** The secret stands in the address behind the #, which no browser sends anywhere. */
function token() {
  const given = location.hash.slice(1);
  if (given) {
    sessionStorage.setItem("token", given);
    history.replaceState(null, "", location.pathname);
  }
  return given || sessionStorage.getItem("token") || "none";
}
