"use strict";
// Keeps a page true: shows the newest judgement when there is one, and says so when it is old.
(() => {
  const body = document.body;
  const live = body.dataset.live === "yes";
  let loaded = performance.now();
  let heard = performance.now();
  const SILENT_MS = 25000;

  const number = (name) => Number(body.dataset[name]);
  const cutOff = () => (live && performance.now() - heard > SILENT_MS) || "kept" in document.documentElement.dataset;
  const looksOld = () => {
    const age = number("now") - number("judged") + (performance.now() - loaded) / 1000 * number("speed");
    return !body.dataset.judged || age > number("oldAfter") || cutOff();
  };
  const mark = () => {
    document.documentElement.classList.toggle("is-old", looksOld());
    document.documentElement.classList.toggle("is-cut-off", cutOff());
  };

  const busy = () => {
    const at = document.activeElement;
    return at && at.closest("main") && /^(SELECT|INPUT|TEXTAREA)$/.test(at.tagName);
  };
  // A new state of a job is spoken at once and felt; it is felt twice more while nobody has seen it.
  const FELT = { "a-stop": [700, 200, 700, 200, 700], "a-get-ready": [250, 150, 250], "a-cannot-see": [700, 200, 250, 150, 250], "a-go-on": [250] };
  const AGAIN_FELT_MS = 20000, TIMES_FELT = 3;
  const speak = (id, text) => { const at = document.getElementById(id); if (at && at.textContent !== text) at.textContent = text; };
  const feel = (style, times) => {
    const now = document.getElementById("do");
    if (!navigator.vibrate || !FELT[style] || !now || now.dataset.style !== style) return;
    navigator.vibrate(FELT[style]);
    if (times > 1) setTimeout(() => { if (document.getElementById("seen")) feel(style, times - 1); }, AGAIN_FELT_MS);
  };
  let awake = null, state = null;
  const stayAwake = async () => {
    const job = document.getElementById("do");
    if (!job && awake) { awake.release().catch(() => {}); awake = null; }
    if (!job || awake || !("wakeLock" in navigator) || document.visibilityState !== "visible") return;
    try {
      awake = await navigator.wakeLock.request("screen");
      awake.addEventListener("release", () => { awake = null; });
    } catch { awake = null; }
  };
  const announce = () => {
    const job = document.getElementById("do"), numbers = document.getElementById("numbers");
    const said = job ? job.dataset.do : null;
    if (state !== null && said !== null && said !== state) speak("say-state", said);
    if (state !== null && job && said !== state) feel(job.dataset.style, TIMES_FELT);
    if (state !== null && job && numbers) speak("say-numbers", numbers.textContent.replace(/\s+/g, " ").trim());
    state = said === null ? "" : said;
    stayAwake();
  };
  announce();
  document.addEventListener("visibilitychange", stayAwake);

  let waiting = false, answering = false;
  const refresh = async () => {
    if (answering) return; // what was answered to a step stays until it is read
    if (busy()) { waiting = true; return; }
    waiting = false;
    let answer;
    try { answer = await fetch(location.href, { headers: { "X-Refresh": "1" } }); } catch { return; }
    if (answer.status === 503) { setTimeout(refresh, 3000); return; }
    if (answer.redirected) { location.href = answer.url; return; }
    if (!answer.ok || answer.headers.has("X-Kept")) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (busy() || !fresh.getElementById("main")) { waiting = true; return; }
    const open = [...document.querySelectorAll("details[open][id]")].map((d) => d.id);
    const typed = [...document.querySelectorAll("main input[id], main select[id]")].map((f) => [f.id, f.value]);
    const focused = document.activeElement && document.activeElement.id;
    for (const id of ["main", "as-of", "old", "strip"]) {
      const now = document.getElementById(id), then = fresh.getElementById(id);
      if (now && then) now.replaceChildren(...then.childNodes);
    }
    for (const id of open) { const d = document.getElementById(id); if (d) d.open = true; }
    for (const [id, value] of typed) { const f = document.getElementById(id); if (f) f.value = value; }
    const again = focused && document.getElementById(focused);
    if (again && again !== document.activeElement) again.focus({ preventScroll: true });
    Object.assign(body.dataset, fresh.body.dataset);
    body.className = fresh.body.className;
    document.title = fresh.title;
    announce();
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

  // A cell of the grid leads to its field in its hour; without script the field's page has both.
  document.addEventListener("click", (e) => {
    const cell = e.target.closest(".hour-grid [data-field] tr:first-child td");
    if (!cell) return;
    const at = cell.closest("table").tHead.rows[0].cells[cell.cellIndex].dataset.at;
    location.href = "/fields/" + cell.closest("tbody").dataset.field + "?at=" + at;
  });

  // Steps of a job. One that cannot be sent is kept on this device and sent later, in order, with
  // its key, so that it is taken once, and with how long ago it was tapped.
  const KEPT = "steps", AGAIN_MS = 10000, WAIT_MS = 12000;
  const note = document.getElementById("kept");
  const kept = () => { try { return JSON.parse(localStorage.getItem(KEPT)) || []; } catch { return []; } };
  const say = (text) => { if (note) { note.textContent = text; note.hidden = !text; } };
  const keep = (steps) => {
    try { localStorage.setItem(KEPT, JSON.stringify(steps)); } catch { return false; }
    say(steps.length && note ? note.dataset.kept : "");
    return true;
  };
  const send = async (step) => {
    const form = new URLSearchParams(step.form);
    const token = document.querySelector("main [name=form_token]");
    if (token) form.set("form_token", token.value);
    const ago = Math.round((Date.now() - step.tapped) / 1000);
    if (ago > 1) form.set("ago", String(ago));
    try {
      const answer = await fetch(step.to, { method: "POST", body: form, signal: AbortSignal.timeout(WAIT_MS) });
      // What is not the step's own answer says nothing of it: try again.
      return answer.status === 401 || answer.status === 403 || answer.status >= 500 || /\/login/.test(answer.url) ? null : answer;
    } catch { return null; }
  };
  let sending = false;
  const sendKept = async () => {
    if (sending || !kept().length) return;
    sending = true;
    let last = null;
    const refused = [];
    while (kept().length) {
      const answer = await send(kept()[0]);
      if (!answer) break;
      keep(kept().slice(1));
      last = answer;
      if (!answer.ok) {
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const wrong = page.querySelector("main [role=alert]");
        if (wrong) refused.push(wrong.textContent);
      }
    }
    sending = false;
    if (refused.length && note) say(note.dataset.refused + " " + refused.join("; "));
    else if (last && !kept().length) location.href = last.url;
  };
  document.addEventListener("submit", async (e) => {
    const form = e.target;
    if (!form.elements.key || !note) return;
    e.preventDefault();
    if (form.dataset.sent) return;
    form.dataset.sent = "yes";
    const step = { to: form.action, form: [...new FormData(form)], tapped: Date.now() };
    if (!kept().length) {
      const answer = await send(step);
      if (answer && answer.ok) { location.href = answer.url; return; }
      if (answer) {
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const then = page.getElementById("main"), now = document.getElementById("main");
        if (then && now) {
          answering = true;
          now.replaceChildren(...then.childNodes);
          document.title = page.title;
          now.focus();
        }
        return;
      }
    }
    if (!keep([...kept(), step])) { form.submit(); return; }
    sendKept();
  });
  if (note) {
    keep(kept());
    addEventListener("online", sendKept);
    setInterval(sendKept, AGAIN_MS);
    sendKept();
  }

  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => {});
})();
