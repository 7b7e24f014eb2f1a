"use strict";
// Keeps a page true: shows the newest judgement when there is one, and says so when it is old.
(() => {
  const body = document.body;
  const live = body.dataset.live === "yes";
  let loaded = performance.now();
  let heard = performance.now();
  const SILENT_MS = 25000;

  const told = (name) => Number(body.dataset[name]);
  const looksOld = () => {
    const age = told("now") - told("judged") + (performance.now() - loaded) / 1000 * told("speed");
    return !body.dataset.judged || age > told("oldAfter") ||
      (live && performance.now() - heard > SILENT_MS) || "kept" in document.documentElement.dataset;
  };
  const mark = () => document.documentElement.classList.toggle("is-old", looksOld());

  const busy = () => {
    const at = document.activeElement;
    return at && at.closest("main") && /^(SELECT|INPUT|TEXTAREA)$/.test(at.tagName);
  };
  let waiting = false;
  const refresh = async () => {
    if (busy()) { waiting = true; return; }
    waiting = false;
    let answer;
    try { answer = await fetch(location.href, { headers: { "X-Refresh": "1" } }); } catch { return; }
    if (answer.redirected) { location.href = answer.url; return; }
    if (!answer.ok || answer.headers.has("X-Kept")) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (busy() || !fresh.getElementById("main")) { waiting = true; return; }
    const open = [...document.querySelectorAll("details[open][id]")].map((d) => d.id);
    const typed = [...document.querySelectorAll("main input[id], main select[id]")].map((f) => [f.id, f.value]);
    const focused = document.activeElement && document.activeElement.id;
    for (const id of ["main", "as-of", "old"]) {
      const now = document.getElementById(id), then = fresh.getElementById(id);
      if (now && then) now.replaceChildren(...then.childNodes);
    }
    for (const id of open) { const d = document.getElementById(id); if (d) d.open = true; }
    for (const [id, value] of typed) { const f = document.getElementById(id); if (f) f.value = value; }
    const again = focused && document.getElementById(focused);
    if (again && again !== document.activeElement) again.focus({ preventScroll: true });
    Object.assign(body.dataset, fresh.body.dataset);
    delete document.documentElement.dataset.kept;
    loaded = performance.now();
    mark();
  };
  document.addEventListener("focusout", () => { if (waiting) setTimeout(refresh, 300); });

  if (live) {
    let shown = null;
    const stream = new EventSource("/live");
    stream.addEventListener("judged", (e) => {
      heard = performance.now();
      if (shown !== null && shown !== e.data || "kept" in document.documentElement.dataset) refresh();
      shown = e.data;
      mark();
    });
    stream.addEventListener("beat", () => { heard = performance.now(); mark(); });
    stream.addEventListener("out", () => { stream.close(); location.href = "/login"; });
    stream.onerror = () => { shown = shown === null ? null : ""; };
    addEventListener("offline", () => { heard = -Infinity; mark(); });
    addEventListener("pagehide", () => stream.close());
  }
  if (body.dataset.live) setInterval(mark, 1000);

  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => {});

  const button = document.getElementById("push");
  if (button && "PushManager" in window && "serviceWorker" in navigator) {
    const says = document.getElementById("push-says");
    button.hidden = false;
    says.textContent = "";
    const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
    button.addEventListener("click", async () => {
      try {
        const { key } = await (await fetch("/devices/push")).json();
        const worker = await navigator.serviceWorker.ready;
        const device = await worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(key) });
        const answer = await fetch("/devices/push", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(device) });
        says.textContent = answer.ok ? button.dataset.done : button.dataset.failed;
      } catch { says.textContent = button.dataset.failed; }
    });
  }
})();
