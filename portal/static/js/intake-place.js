/* Placing on the drawings: by tap, by arrow keys. Writes surface, x, y and on_outline into the form of a finding. */
"use strict";

window.intakePlace = (root, form) => {
  const GRIDS = {
    lying: [["right", "middle", "left"], ["front", "middle", "rear"]],
    flank: [["upper", "middle", "lower"], ["front", "middle", "rear"]],
    end: [["upper", "middle", "lower"], ["left", "middle", "right"]],
  };
  const SVG = "http://www.w3.org/2000/svg";
  const field = (name) => form.elements.namedItem(name);
  const said = root.querySelector("#place-words");
  const plan = () => root.querySelector("#place .findings-plan");
  const outline = (id) => id && form.querySelector(`[data-outline="${CSS.escape(id)}"]`);
  const third = (share) => Math.min(2, Math.max(0, Math.floor(share * 3)));

  function surface_words() {
    const chosen = field("surface").selectedOptions[0];
    return chosen ? chosen.textContent : "";
  }

  function spot_words(svg, x, y) {
    const { manner, pieces } = svg.dataset;
    const wide = Number(svg.dataset.columns), high = Number(svg.dataset.rows), names = pieces.split("|");
    const column = Math.min(wide - 1, Math.floor(x * wide)), row = Math.min(high - 1, Math.floor(y * high));
    const [rows, columns] = GRIDS[manner];
    const down = rows[third(y * high - row)], across = columns[third(x * wide - column)];
    const [first, second] = manner === "lying" ? [across, down] : [down, across];
    const words = first === second ? "centre" : `${first} ${second}`;
    return names.length > 1 ? `${names[row * wide + column] || ""}, ${words}` : words;
  }

  function at(svg, event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const box = svg.viewBox.baseVal;
    const share = (value) => Math.min(1, Math.max(0, value));
    return [share((point.x - box.x) / box.width), share((point.y - box.y) / box.height)];
  }

  function part(tag, attributes, text) {
    const made = document.createElementNS(SVG, tag);
    Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
    if (text) { made.textContent = text; }
    return made;
  }

  function draw(svg, x, y, kind, ...inside) {
    const box = svg.viewBox.baseVal;
    const group = part("g", { class: `finding-mark ${kind}`, transform: `translate(${x * box.width} ${y * box.height})` });
    group.append(...inside);
    svg.append(group);
  }

  /* What was just kept; it stays until the next place is shown, also when the drawings come anew. */
  let noted = "";
  function note(words) {
    noted = words;
    restore();
    said.textContent = words || said.textContent;
  }

  /* Show again what the form holds: after a tap, after a reload, after the drawings came anew. */
  function restore() {
    const id = field("surface").value, x = field("x").value, y = field("y").value;
    root.querySelectorAll(".finding-mark.now").forEach((mark) => mark.remove());
    root.querySelectorAll("#place .region.chosen").forEach((region) => region.classList.remove("chosen"));
    form.querySelectorAll("[data-outline]").forEach((figure) => {
      figure.hidden = figure.dataset.outline !== id;
      figure.tabIndex = 0;
      figure.setAttribute("role", "application");
      figure.setAttribute("aria-label", `${figure.querySelector("figcaption").textContent}: arrow keys move the mark`);
    });
    if (id) { plan().querySelectorAll(`[data-surface="${CSS.escape(id)}"]`).forEach((r) => r.classList.add("chosen")); }
    narrow(id);
    const on_outline = field("on_outline").value === "True";
    const svg = on_outline ? outline(id) && outline(id).querySelector("svg") : plan();
    if (x !== "" && svg) {
      draw(svg, Number(x), Number(y), "now", part("circle", { r: 9, class: "mark-edge" }), part("path", { d: "" }),
        part("path", { d: "M-4 0H4M0-4V4" }));
    }
    if (x === "" && !id) { said.textContent = noted; return; }
    noted = "";
    const where = x === "" ? "" : on_outline ? `, ${spot_words(svg, Number(x), Number(y))}` : ", on the plan";
    said.textContent = `Placed: ${surface_words()}${where}`;
  }

  /* Offer only the words that fit the surface. */
  function narrow(id) {
    const svg = outline(id) && outline(id).querySelector("svg");
    const place = field("place"), piece = field("piece");
    const pieces = svg ? svg.dataset.pieces.split("|") : [];
    [...place.options].forEach((option) => {
      option.hidden = option.disabled = Boolean(svg && option.value && !option.value.startsWith(`${svg.dataset.manner}:`));
    });
    place.querySelectorAll("optgroup").forEach((group) => { group.hidden = [...group.children].every((o) => o.hidden); });
    if (!piece) { return; }
    [...piece.options].forEach((option) => {
      option.hidden = option.disabled = Boolean(svg && option.value && !pieces.includes(option.value));
    });
    piece.closest(".field").hidden = Boolean(svg && pieces.length < 2);
  }

  function set(id, x, y, on_outline) {
    field("surface").value = id;
    field("x").value = x === null ? "" : x.toFixed(4);
    field("y").value = y === null ? "" : y.toFixed(4);
    field("on_outline").value = on_outline ? "True" : "False";
    field("place").value = "";
    if (field("piece")) { field("piece").value = ""; }
    restore();
    form.dispatchEvent(new Event("input", { bubbles: true }));
  }

  root.addEventListener("click", (event) => {
    const choose = event.target.closest("[data-choose]");
    if (choose) {
      set(choose.dataset.choose, null, null, false);
      outline(choose.dataset.choose).focus();
      return;
    }
    // The drawings may have come anew between finger down and finger up: ask what lies under the finger now.
    const under = document.elementFromPoint(event.clientX, event.clientY);
    const svg = under && under.closest("#place svg.findings-plan, #place svg.surface-outline");
    if (!svg) { return; }
    const [x, y] = at(svg, event);
    if (svg.matches(".surface-outline")) {
      set(svg.dataset.surface, x, y, true);
    } else {
      const region = under.closest("[data-surface]");
      set(region ? region.dataset.surface : "", x, y, false);
    }
  });

  form.addEventListener("keydown", (event) => {
    const figure = event.target.closest("[data-outline]");
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!figure || !step) { return; }
    event.preventDefault();
    const on = field("on_outline").value === "True" && field("x").value !== "";
    const far = event.shiftKey ? 0.1 : 0.03;
    const moved = (name, by) => Math.min(1, Math.max(0, (on ? Number(field(name).value) : 0.5) + by * far));
    set(figure.dataset.outline, moved("x", step[0]), moved("y", step[1]), true);
  });

  form.addEventListener("change", (event) => {
    if (event.target.name === "surface") { set(event.target.value, null, null, false); }
    if (event.target.name === "place" && event.target.value) {
      field("x").value = field("y").value = "";
      restore();
    }
  });

  /* Findings that wait are shown too, with a broken edge. */
  function waiting(entries) {
    root.querySelectorAll(".finding-mark.waits").forEach((mark) => mark.remove());
    entries.filter((entry) => entry.fields.x).forEach(({ fields }) => {
      const figure = outline(fields.surface);
      const svg = fields.on_outline === "True" ? figure && figure.querySelector("svg") : plan();
      if (svg) {
        draw(svg, Number(fields.x), Number(fields.y), "waits", part("circle", { r: 10, class: "mark-edge" }),
          part("text", { y: 3, class: "mark-number" }, "…"));
      }
    });
  }

  return { note, restore, waiting };
};
