/* Small helps; every page works without them. */
"use strict";

/* Printing unfolds what the page is about (not the tables behind it), then folds it back. */
let opened = [];
window.addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll("details:not([open], .how)")];
  opened.forEach((fold) => { fold.open = true; });
});
window.addEventListener("afterprint", () => {
  opened.forEach((fold) => { fold.open = false; });
  opened = [];
});

/* A link to something inside a fold opens the fold. */
function unfold() {
  const target = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
  for (let fold = target && target.closest("details"); fold; fold = fold.parentElement.closest("details")) {
    fold.open = true;
  }
  if (target && target.matches("details")) { target.open = true; }
}
window.addEventListener("hashchange", unfold);
unfold();

/* What the intake keeps to load without a link is personal: it goes before signing out, and wherever nobody is signed in. */
async function forget_pages() {
  if (!window.caches) { return; }
  const names = (await caches.keys()).filter((name) => /^sheenward-(intake|my)/.test(name));
  await Promise.all(names.map((name) => caches.delete(name)));
}
document.addEventListener("submit", (event) => {
  const form = event.target;
  // Not form.action: a button named "action" stands before the attribute.
  const target = new URL(form.getAttribute("action") || "", location.href);
  if (!window.caches || !target.pathname.endsWith("/account/logout/")) { return; }
  event.preventDefault();
  forget_pages().catch(() => {}).then(() => form.submit());
});
if (/^\/account\/(login|link)\//.test(location.pathname)) { forget_pages().catch(() => {}); }

/* Beside the choice of a product: the sheets of the chosen one, all of them where none is chosen. */
document.querySelectorAll("[data-sheets]").forEach((list) => {
  const choice = document.querySelector('select[name="product"]');
  if (!choice) { return; }
  const show = () => {
    const rows = [...list.querySelectorAll("[data-product]")];
    const own = rows.some((row) => row.dataset.product === choice.value);
    rows.forEach((row) => { row.hidden = own && row.dataset.product !== choice.value; });
  };
  choice.addEventListener("change", show);
  show();
});
