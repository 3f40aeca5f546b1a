/* Lets the intake page load again while the link is lost. It answers for intake pages and their static files alone,
   from the network first; what it keeps was put there by the page itself and goes at sign-out or after a day. */
"use strict";

const SHELL = "sheenward-intake-1";
const DAY_MS = 24 * 60 * 60 * 1000;
const PATIENCE_MS = 8000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) { return; }
  const page = request.mode === "navigate" && /^\/studio\/intake\/\d+\/$/.test(url.pathname);
  if (page || url.pathname.startsWith("/static/")) { event.respondWith(answer(request)); }
});

async function kept(request) {
  if (!(await caches.has(SHELL))) { return undefined; }
  const found = await (await caches.open(SHELL)).match(request, { ignoreSearch: true, ignoreVary: true });
  const date = found && Date.parse(found.headers.get("Date") || "");
  return found && !(Date.now() - date > DAY_MS) ? found : undefined;
}

async function answer(request) {
  const stored = await kept(request);
  if (!stored) { return fetch(request); }
  try {
    // A link that hangs counts as lost where something is kept.
    return await Promise.race([
      fetch(request),
      new Promise((_, give_up) => { setTimeout(() => give_up(new Error("no answer")), PATIENCE_MS); }),
    ]);
  } catch {
    return stored;
  }
}
