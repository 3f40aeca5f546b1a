/* The field for a signature: lines of pointer events, sent as whole numbers. The page works without it: a tick. */
"use strict";

(() => {
  const block = document.querySelector("[data-sign]");
  const kept = document.querySelector('input[name="strokes"]');
  if (!block || !kept || !window.PointerEvent) { return; }
  const pad = block.querySelector(".pad");
  const svg = pad.querySelector("svg");
  const state = block.querySelector("[data-state]");
  const width = Number(pad.dataset.width);
  const height = Number(pad.dataset.height);
  const MOST_LINES = 120;
  const MOST_POINTS = 4000;
  const APART = 5; // in the field's own units: finer steps add nothing that can be seen
  let lines = [];
  let drawn = null;
  let pointer = null;

  function show(points) {
    const line = document.createElementNS("http://www.w3.org/2000/svg", "polyline");
    svg.append(line);
    redraw(line, points);
    return line;
  }
  function redraw(line, points) {
    const all = points.length > 1 ? points : [points[0], points[0]];
    line.setAttribute("points", all.map((p) => p.join(",")).join(" "));
  }
  function count() { return lines.reduce((sum, points) => sum + points.length, 0); }
  function keep() {
    kept.value = lines.length ? JSON.stringify(lines) : "";
    state.textContent = lines.length ? "Signed in the field." : "";
  }
  function place(event) {
    const box = svg.getBoundingClientRect();
    const bound = (value, most) => Math.min(most, Math.max(0, Math.round(value)));
    return [
      bound(((event.clientX - box.left) / box.width) * width, width),
      bound(((event.clientY - box.top) / box.height) * height, height),
    ];
  }
  function add(event) {
    const points = lines[lines.length - 1];
    const next = place(event);
    const last = points[points.length - 1];
    if (Math.hypot(next[0] - last[0], next[1] - last[1]) < APART || count() >= MOST_POINTS) { return; }
    points.push(next);
    redraw(drawn, points);
  }

  svg.addEventListener("pointerdown", (event) => {
    if (pointer !== null || event.button !== 0 || lines.length >= MOST_LINES || count() >= MOST_POINTS) { return; }
    event.preventDefault();
    pointer = event.pointerId;
    svg.setPointerCapture(pointer);
    lines.push([place(event)]);
    drawn = show(lines[lines.length - 1]);
  });
  svg.addEventListener("pointermove", (event) => {
    if (event.pointerId !== pointer) { return; }
    const steps = event.getCoalescedEvents ? event.getCoalescedEvents() : [];
    (steps.length ? steps : [event]).forEach(add);
  });
  function end(event) {
    if (event.pointerId !== pointer) { return; }
    pointer = null;
    keep();
  }
  svg.addEventListener("pointerup", end);
  svg.addEventListener("pointercancel", end);
  block.querySelector("[data-clear]").addEventListener("click", () => {
    lines = [];
    svg.replaceChildren();
    keep();
  });

  /* What was drawn before the server refused something else is still there. */
  try {
    const before = JSON.parse(kept.value || "[]");
    if (Array.isArray(before)) {
      lines = before.filter((points) => Array.isArray(points) && points.length);
      lines.forEach(show);
    }
  } catch { lines = []; }
  keep();
  /* Where there are other ways of saying it, the field is shown for the one that needs it. */
  const how = block.dataset.when ? document.querySelector('select[name="how"]') : null;
  const reveal = () => { block.hidden = how !== null && how.value !== block.dataset.when; };
  how?.addEventListener("change", reveal);
  reveal();
})();
