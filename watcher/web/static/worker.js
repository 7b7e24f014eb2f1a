"use strict";
// Keeps the last state of each page, so that it can be read without a network, marked as old.
const PAGES = "pages-1", FILES = "files-1";
const WAIT_MS = 3000;
const NOTHING_KEPT = "/* nothing kept */";
const KEPT = [/* kept files */];

self.addEventListener("install", (e) => {
  e.waitUntil((async () => {
    await caches.delete(FILES);
    await (await caches.open(FILES)).addAll(KEPT);
    await self.skipWaiting();
  })());
});
self.addEventListener("activate", (e) => e.waitUntil((async () => {
  await self.clients.claim();
  // The page that brought this worker was loaded without it: keep that one too.
  for (const page of await self.clients.matchAll({ type: "window" })) {
    try { await keep(new Request(page.url), await fetch(page.url)); } catch { /* without a network */ }
  }
})()));

const isPage = (request) => request.mode === "navigate" || request.headers.has("X-Refresh");

const keep = async (request, answer) => {
  const fits = answer.ok && !answer.redirected && (answer.headers.get("Content-Type") || "").startsWith("text/html");
  const path = new URL(request.url).pathname;
  if (fits && !/^\/(login|seen|devices|first|people|farm\/secrets)/.test(path)) {
    await (await caches.open(PAGES)).put(new Request(request.url), answer.clone());
  }
  return answer;
};

const nothingKept = () => new Response(NOTHING_KEPT, {
  status: 503, headers: { "Content-Type": "text/html; charset=utf-8", "X-Kept": "1" },
});

// The copy of this very page, marked as old; another page's would be taken for this one.
const old = async (request) => {
  const kept = await (await caches.open(PAGES)).match(request.url, { ignoreVary: true });
  if (!kept) return null;
  const text = (await kept.text()).replace("<html ", '<html data-kept="1" ').replace(/<html ([^>]*?)(class="[^"]*")?>/, '<html $1 class="is-old is-cut-off">');
  const headers = new Headers(kept.headers);
  headers.set("X-Kept", "1");
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  return new Response(text, { headers });
};

// A stalled network must not leave an empty page: what is kept is shown, and the answer is kept
// for the page to fetch again when it comes.
const answer = async (request, until) => {
  const asked = fetch(request).then((a) => keep(request, a));
  until(asked.catch(() => {}));
  let timer;
  const late = new Promise((resolve) => { timer = setTimeout(resolve, WAIT_MS); });
  try {
    const first = await Promise.race([asked, late.then(() => null)]);
    if (first) return first;
    return await old(request) || await asked;
  } catch {
    return await old(request) || nothingKept();
  } finally { clearTimeout(timer); }
};

self.addEventListener("fetch", (e) => {
  const request = e.request;
  if (request.method !== "GET" || new URL(request.url).origin !== location.origin) return;
  if (isPage(request)) {
    e.respondWith(answer(request, (kept) => e.waitUntil(kept)));
  } else if (new URL(request.url).pathname.startsWith("/static/")) {
    e.respondWith(caches.match(request).then((kept) => kept || fetch(request)));
  }
});

// A push comes encrypted from the watch, with the token by which this device answers it.
const ANSWERS_MS = 10000;
const tell = async (what, content) => {
  const answer = await fetch("/devices/push/" + what, {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(content), signal: AbortSignal.timeout(ANSWERS_MS),
  });
  if (answer.status >= 400 && answer.status < 500 || answer.redirected) return false;
  if (!answer.ok) throw new Error(String(answer.status));
  return true;
};
const show = (said, body) => {
  const actions = [["pause", said.pause], ["seen", said.seen]].filter(([, title]) => title).map(([action, title]) => ({ action, title }));
  return self.registration.showNotification(said.title || "", { body, tag: said.tag, requireInteraction: true, data: said, ...("actions" in Notification.prototype ? { actions } : {}) });
};

self.addEventListener("push", (e) => {
  const said = e.data ? e.data.json() : {};
  e.waitUntil((async () => {
    await show(said, said.body || "");
    if (said.token) await tell("receipt", { token: said.token, what: "shown" }).catch(() => {});
  })());
});

const open = async (to) => {
  const [page] = await self.clients.matchAll({ type: "window" });
  try { if (page) { await (await page.navigate(to)).focus(); return; } } catch { /* not ours to move */ }
  await self.clients.openWindow(to);
};
// What did not reach the watch stands on the notification, which stays until it is.
const answerPush = async (said, action) => {
  try {
    if (action === "pause") {
      // The first tap counts: a second one, where nobody answered the first, is the same step.
      said.key = said.key || crypto.randomUUID();
      said.tapped = said.tapped || Date.now();
      const taken = await tell("pause", { token: said.token, key: said.key, ago: Math.max(0, Math.round((Date.now() - said.tapped) / 1000)) });
      if (!taken) { await show(said, said.refused); return; }
    }
    if (!await tell("receipt", { token: said.token, what: "seen" })) await show(said, said.refused);
  } catch { await show(said, said.failed); }
};
self.addEventListener("notificationclick", (e) => {
  e.notification.close();
  const said = e.notification.data || {};
  if (e.action) e.waitUntil(answerPush(said, e.action));
  else e.waitUntil(open(new URL(said.to || "/", location.origin).href));
});
