/* A box to sign in with finger, pen or mouse. Its lines are kept in a hidden field, as points of a field of 1000 by 360. */
"use strict";

(() => {
  const box = document.querySelector("[data-signing]");
  const field = document.querySelector("input[name=strokes]");
  const how = document.querySelector("select[name=how]");
  if (!box || !field || !how) { return; }
  const pad = box.querySelector("[data-pad]");
  const path = pad.querySelector("path");
  let lines = [];
  let drawing = false;
  try { lines = JSON.parse(field.value || "[]"); } catch { lines = []; }

  const show = () => { box.hidden = how.value !== "signed"; };
  const put = () => {
    field.value = JSON.stringify(lines);
    path.setAttribute("d", lines.map((line) => `M${line.map((point) => point.join(" ")).join("L")}`).join(""));
  };
  const point = (event) => {
    const at = pad.getBoundingClientRect();
    const inside = (value, most) => Math.min(Math.max(Math.round(value), 0), most);
    return [
      inside((event.clientX - at.left) * 1000 / at.width, 1000),
      inside((event.clientY - at.top) * 360 / at.height, 360),
    ];
  };

  pad.addEventListener("pointerdown", (event) => {
    drawing = true;
    pad.setPointerCapture(event.pointerId);
    lines.push([point(event)]);
    put();
    event.preventDefault();
  });
  pad.addEventListener("pointermove", (event) => {
    if (drawing) { lines[lines.length - 1].push(point(event)); put(); }
  });
  for (const end of ["pointerup", "pointercancel"]) {
    pad.addEventListener(end, () => { drawing = false; });
  }
  box.querySelector("[data-clear]").addEventListener("click", () => { lines = []; put(); });
  how.addEventListener("change", show);
  put();
  show();
})();
