/* Lets the last seen status of one's own vehicles open without a link. Every page works without this. */
"use strict";

const keeper_script = document.currentScript;
const KEPT_PAGE = /^\/my\/(vehicle\/\d+\/)?$/;

async function keep_this_page() {
  if (!navigator.serviceWorker || !window.caches || document.getElementById("kept-at").textContent) { return; }
  await navigator.serviceWorker.register(keeper_script.dataset.worker, { scope: "/my/" });
  if (!KEPT_PAGE.test(location.pathname)) { return; }
  const cache = await caches.open("sheenward-my-1");
  if (await cache.match(location.pathname, { ignoreVary: true })) { return; }
  /* The first visit: this page came before the worker did, even where the worker has taken over meanwhile. */
  const parts = [...document.querySelectorAll('link[rel="stylesheet"], script[src]')].map((part) => part.href || part.src);
  await cache.addAll([location.pathname, ...new Set(parts)]);
}
keep_this_page().catch(() => {});
