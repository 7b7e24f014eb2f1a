"use strict";
// Keeps the last state of each page, so that it can be read without a network, marked as old.
const PAGES = "pages-1", FILES = "files-1";
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
  if (fits && !/^\/(login|seen|devices)/.test(path)) {
    await (await caches.open(PAGES)).put(new Request(request.url), answer.clone());
  }
  return answer;
};

const old = async (request) => {
  const pages = await caches.open(PAGES);
  const kept = await pages.match(request.url, { ignoreVary: true }) ||
    await pages.match(new URL("/", request.url), { ignoreVary: true });
  if (!kept) return Response.error();
  const text = (await kept.text()).replace("<html ", '<html data-kept="1" ').replace(/<html ([^>]*?)(class="[^"]*")?>/, '<html $1 class="is-old">');
  const headers = new Headers(kept.headers);
  headers.set("X-Kept", "1");
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  return new Response(text, { headers });
};

self.addEventListener("fetch", (e) => {
  const request = e.request;
  if (request.method !== "GET" || new URL(request.url).origin !== location.origin) return;
  if (isPage(request)) {
    e.respondWith(fetch(request).then((a) => keep(request, a)).catch(() => old(request)));
  } else if (new URL(request.url).pathname.startsWith("/static/")) {
    e.respondWith(caches.match(request).then((kept) => kept || fetch(request)));
  }
});

self.addEventListener("push", (e) => {
  const said = e.data ? e.data.json() : {};
  e.waitUntil(self.registration.showNotification(said.title || "", { body: said.body || "", tag: said.tag, requireInteraction: true }));
});
self.addEventListener("notificationclick", (e) => {
  e.notification.close();
  e.waitUntil(self.clients.openWindow("/jobs"));
});
