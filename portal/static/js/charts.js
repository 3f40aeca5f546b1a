/* A course can be read out: arrow keys, Home and End, or a pointer move a line from day to day of the table behind it.
   Without this script the picture and its table say the same. */
"use strict";

const LEFT = 4, RIGHT = 284, TOP = 12, BOTTOM = 130; /* as portal/drawings/course.py draws it */

function days_of(table) {
  const heads = [...table.querySelectorAll("thead th")].slice(1).map((head) => head.textContent.trim());
  return [...table.querySelectorAll("tbody tr")].map((row) => {
    const time = row.querySelector("time");
    const said = [...row.querySelectorAll("td")]
      .map((cell, n) => (cell.textContent.trim() ? `${heads[n]} ${cell.textContent.trim()}` : ""))
      .filter(Boolean);
    return { at: Date.parse(time.dateTime), says: `${time.textContent}: ${said.join(", ")}` };
  });
}

function make_readable(chart) {
  const table = document.querySelector(`[data-behind="${chart.dataset.course}"]`);
  const days = table ? days_of(table) : [];
  if (days.length < 2) { return; }
  const from = Date.parse(chart.dataset.from), to = Date.parse(chart.dataset.to);
  const place = (day) => LEFT + ((RIGHT - LEFT) * (day.at - from)) / (to - from);
  const reader = document.createElementNS("http://www.w3.org/2000/svg", "path");
  reader.setAttribute("class", "reader");
  const says = document.createElement("span");
  says.className = "readout";
  says.setAttribute("aria-hidden", "true"); /* spoken as the value of the slider */
  says.textContent = chart.dataset.hint || "";
  chart.append(reader);
  chart.after(says);
  let now = 0;
  const show = (wanted) => {
    now = Math.max(0, Math.min(days.length - 1, wanted));
    reader.setAttribute("d", `M${place(days[now]).toFixed(1)} ${TOP}V${BOTTOM}`);
    says.textContent = days[now].says;
    chart.setAttribute("aria-valuenow", now + 1);
    chart.setAttribute("aria-valuetext", days[now].says);
  };
  const [title, text] = chart.getAttribute("aria-labelledby").split(" ");
  chart.setAttribute("aria-labelledby", title);
  chart.setAttribute("aria-describedby", text);
  chart.setAttribute("role", "slider");
  chart.setAttribute("tabindex", "0");
  chart.setAttribute("aria-valuemin", 1);
  chart.setAttribute("aria-valuemax", days.length);
  chart.setAttribute("aria-valuenow", 1);
  chart.setAttribute("aria-valuetext", days[0].says);
  const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, Home: -days.length, End: days.length };
  chart.addEventListener("keydown", (event) => {
    if (!(event.key in steps)) { return; }
    event.preventDefault();
    show(now + steps[event.key]);
  });
  chart.addEventListener("focus", () => show(now));
  const point = (event) => {
    const box = chart.getBoundingClientRect();
    const x = ((event.clientX - box.left) * chart.viewBox.baseVal.width) / box.width;
    const gaps = days.map((day) => Math.abs(place(day) - x));
    show(gaps.indexOf(Math.min(...gaps)));
  };
  chart.addEventListener("pointermove", point);
  chart.addEventListener("pointerdown", point);
}

function read_all(root) { root.querySelectorAll("svg[data-course][role=img]").forEach(make_readable); }
read_all(document);
["htmx:afterSwap", "sheenward:loaded"].forEach((name) => {
  document.addEventListener(name, (event) => read_all(event.target));
});

/* An answer that is swapped while somebody reads in it: the focus stays where it was, and what was unfolded. */
let kept_focus = "", kept_open = [];
document.addEventListener("htmx:beforeSwap", (event) => {
  const target = event.detail.target, now = document.activeElement;
  kept_focus = target.contains(now) ? now.id : "";
  kept_open = [...target.querySelectorAll("details[open][id]")].map((fold) => fold.id);
});
document.addEventListener("htmx:afterSettle", () => {
  kept_open.forEach((id) => { const fold = document.getElementById(id); if (fold) { fold.open = true; } });
  const place = kept_focus && document.getElementById(kept_focus);
  if (place && document.activeElement !== place) { place.focus({ preventScroll: true }); }
  kept_focus = "";
  kept_open = [];
});
