window.recorded = [];
const Real = window.WebSocket;
window.WebSocket = class extends Real {
  constructor(...given) {
    super(...given);
    this.addEventListener("message", (event) => {
      const { kind, now_s, text, what, page_ms } = JSON.parse(event.data);
      if (!["state", "heard", "gauge"].includes(kind)) return;
      const at = performance.now();
      window.recorded.push({ kind, now_s, text, what, at, delay_ms: page_ms === undefined ? null : at - page_ms });
    });
  }
};
