/* Shows the last seen status of one's own vehicles without a link, marked with its day. It answers under /my/ alone,
   from the network first; what it keeps goes at sign-out, when the server no longer gives the page, or after 30 days. */
"use strict";

const KEPT = "sheenward-my-1";
const LONGEST_MS = 30 * 24 * 60 * 60 * 1000;
const PAGE = /^\/my\/(vehicle\/\d+\/)?$/;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) { return; }
  if (request.mode === "navigate" && PAGE.test(url.pathname)) {
    event.respondWith(page(request, url.pathname));
  } else if (url.pathname.startsWith("/static/") && ["style", "script"].includes(request.destination)) {
    event.respondWith(part(request));
  }
});

async function page(request, path) {
  let answer;
  try {
    answer = await fetch(request);
  } catch (lost) {
    const found = await (await caches.open(KEPT)).match(path, { ignoreVary: true });
    const date = found && new Date(found.headers.get("Date") || 0);
    if (!found || Date.now() - date > LONGEST_MS) { throw lost; }
    return marked(found, date);
  }
  /* To the sign-in: nobody is signed in here any more, so nothing of theirs stays. */
  if (answer.type === "opaqueredirect") {
    return answer;
  }
  const cache = await caches.open(KEPT);
  if (answer.ok && !answer.redirected) {
    await cache.put(path, answer.clone());
  } else {
    await cache.delete(path);
  }
  return answer;
}

async function part(request) {
  try {
    const answer = await fetch(request);
    if (answer.ok) { await (await caches.open(KEPT)).put(request, answer.clone()); }
    return answer;
  } catch (lost) {
    const found = await (await caches.open(KEPT)).match(request, { ignoreVary: true });
    if (!found) { throw lost; }
    return found;
  }
}

async function marked(found, date) {
  const html = await found.text();
  const language = (/<html lang="([a-zA-Z-]+)"/.exec(html) || [])[1] || "en";
  const day = date.toLocaleString(language === "en" ? "en-GB" : language, { dateStyle: "long", timeStyle: "short" });
  const shown = html
    .replace('id="kept-words" hidden', 'id="kept-words" role="status"')
    .replace('<time id="kept-at"></time>', `<time id="kept-at" datetime="${date.toISOString()}">${day}</time>`);
  const headers = new Headers(found.headers);
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  return new Response(shown, { status: 200, headers });
}
