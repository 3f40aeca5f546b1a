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
