async ({ url, token }) => {
  const base = new URL(url);
  const tried = {};
  const socket = (protocols) => new Promise((resolve) => {
    const opened = new WebSocket(`ws://${base.host}/live`, protocols);
    opened.onopen = () => resolve("open");
    opened.onclose = () => resolve("closed");
  });
  tried.socket = await socket(["spoken-findings.1", "token.guess"]);
  tried.stolen = await socket(["spoken-findings.1", `token.${token}`]);
  tried.fetch = await fetch(base.origin + "/").then(() => "read", () => "refused");
  tried.blind = await fetch(base.origin + "/static/main.js", { mode: "no-cors" })
    .then((answer) => answer.type, () => "refused");
  tried.script = await new Promise((resolve) => {
    const script = document.createElement("script");
    script.onload = () => resolve("ran");
    script.onerror = () => resolve("refused");
    script.src = base.origin + "/static/resampler.js";
    document.head.append(script);
  });
  tried.frame = await new Promise((resolve) => {
    const frame = document.createElement("iframe");
    frame.onload = () => {
      try { resolve(frame.contentDocument ? "readable" : "blocked"); } catch { resolve("blocked"); }
    };
    frame.src = base.origin + "/";
    document.body.append(frame);
  });
  return tried;
}
