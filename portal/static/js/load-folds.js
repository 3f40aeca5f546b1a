/* What a fold holds is fetched when it is opened. Without this script the fold holds a link to the same. */
"use strict";

async function load_fold(place) {
  const address = place.dataset.load;
  delete place.dataset.load;
  place.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(address, { headers: { "HX-Request": "true", "HX-Current-URL": location.href } });
    const elsewhere = answer.headers.get("HX-Redirect");
    if (elsewhere) { location.assign(elsewhere); return; }
    if (!answer.ok || answer.redirected) { throw new Error(String(answer.status)); }
    place.innerHTML = await answer.text();
    place.classList.remove("later");
    place.dispatchEvent(new CustomEvent("sheenward:loaded", { bubbles: true }));
  } catch (lost) {
    place.dataset.load = address; /* opened once more, it is tried again */
    if (!place.querySelector("[role=status]")) {
      const said = document.createElement("p");
      said.setAttribute("role", "status");
      said.textContent = place.dataset.failed;
      place.prepend(said);
    }
  }
  place.removeAttribute("aria-busy");
}

document.querySelectorAll("details [data-load]").forEach((place) => {
  const fold = place.closest("details");
  const wanted = () => { if (fold.open && place.dataset.load) { load_fold(place); } };
  fold.addEventListener("toggle", wanted);
  wanted();
});
