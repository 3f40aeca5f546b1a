/* The intake page: every form goes through the queue, so that a lost link loses nothing. Without script, or where the
   browser keeps nothing, the same forms are sent as usual. */
"use strict";

(async () => {
  const root = document.getElementById("intake");
  const queue = window.intakeQueue;
  try {
    await queue.database();
  } catch {
    return; // a browser that keeps nothing: plain forms
  }
  const { vehicle, plate, who } = root.dataset;
  const SHELL = "sheenward-intake-1";
  const AGAIN_MS = 20000;
  const finding = document.getElementById("finding-form");
  const place = window.intakePlace(root, finding);
  const waiting = document.getElementById("waiting");
  const said = document.getElementById("waiting-words");
  let state = "done";
  let draining = false;
  let wanted = false;

  root.classList.add("scripted");
  root.querySelectorAll("[data-with-script]").forEach((part) => { part.hidden = false; });

  /* ---- which inspection findings go to: what the server said, then what waits ---- */
  function current(entries) {
    let now = { key: root.dataset.current, words: root.querySelector("[data-current-words]").textContent };
    for (const entry of entries) {
      if (entry.vehicle !== vehicle || entry.who !== who) { continue; }
      if (entry.what === "open" && !entry.refused) { now = { key: entry.key, words: entry.words }; }
      if (entry.what === "finish" && !entry.refused && entry.fields.inspection === now.key) { now = { key: "", words: "" }; }
    }
    return now;
  }

  function show_current(entries) {
    const now = current(entries);
    document.getElementById("place").hidden = !now.key;
    root.querySelector('[data-fresh="finish"]').hidden = !now.key;
    root.querySelectorAll('form [name="inspection"]').forEach((input) => { input.value = now.key; });
    // What was started without a link is not started again.
    const started = entries.filter((e) => e.what === "open" && e.vehicle === vehicle && e.who === who);
    root.querySelectorAll('form[data-step="open"]').forEach((form) => {
      form.hidden = started.some((entry) => entry.fields.kind === form.elements.namedItem("kind").value);
    });
    if (now.key) { root.querySelector("[data-current-words]").textContent = now.words; }
  }

  /* ---- what waits ---- */
  const NAMES = { open: "start of the ", cleaning: "wash or decontamination", finish: "end of the inspection" };
  function name_of(entry) {
    if (entry.what === "open") { return NAMES.open + entry.words; }
    return entry.label || NAMES[entry.what];
  }

  function line(entry) {
    const item = document.createElement("li");
    const text = document.createElement("p");
    const elsewhere = entry.vehicle === vehicle ? "" : ` (${entry.plate})`;
    text.textContent = `${name_of(entry)}${elsewhere}: ${entry.refused ? "not taken" : "waits"}`;
    item.append(text);
    Object.values(entry.refused || {}).flat().forEach((error) => {
      const why = document.createElement("p");
      why.className = "error-text";
      why.textContent = error;
      item.append(why);
    });
    const acts = document.createElement("p");
    acts.className = "actions";
    if (entry.refused && entry.what === "finding" && entry.vehicle === vehicle) { acts.append(act("Change", entry, change)); }
    if (entry.refused && entry.what === "photo") { acts.append(act("Choose another photo", entry, choose_again)); }
    if (entry.refused && entry.what !== "finding" && entry.what !== "photo") { acts.append(act("Send as of today", entry, again)); }
    if (entry.refused) { acts.append(act("Discard", entry, discard)); }
    if (acts.children.length) { item.append(acts); }
    return item;
  }

  function act(word, entry, what) {
    const button = document.createElement("button");
    const about = document.createElement("span");
    button.type = "button";
    button.className = "quiet";
    about.className = "visually-hidden";
    about.textContent = ` ${name_of(entry)}`;
    button.append(word, about);
    button.addEventListener("click", () => what(entry));
    return button;
  }

  async function discard(entry) {
    const rest = (await queue.all()).filter((e) => e.fields.finding === entry.key || e.fields.inspection === entry.key);
    const more = rest.length ? ` ${queue.words(rest)} that belong to it go too.` : "";
    if (!window.confirm(`Discard ${name_of(entry)}? It was not sent.${more}`)) { return; }
    await queue.remove([entry, ...rest]);
    await show();
    document.getElementById("content").focus();
  }

  /* What was refused goes back into the form and keeps its key: the photos that belong to it still find it. */
  async function change(entry) {
    fill(finding, entry.fields);
    finding.dataset.mending = JSON.stringify({ seq: entry.seq, key: entry.key });
    place.restore();
    finding.querySelectorAll("details").forEach((fold) => { fold.open = true; });
    finding.scrollIntoView();
    finding.querySelector(`[name="${CSS.escape(Object.keys(entry.refused)[0])}"], [name="surface"]`).focus();
  }

  async function again(entry) {
    const { refused, ...kept } = entry;
    const { on, ...fields } = kept.fields;
    await queue.add([{ ...kept, fields }]);
    await go();
  }

  function choose_again(entry) {
    const input = document.createElement("input");
    input.type = "file";
    input.accept = "image/*";
    input.addEventListener("change", async () => {
      if (!input.files.length) { return; }
      const { refused, ...kept } = entry;
      await queue.add([{ ...kept, file: input.files[0], label: `photo ${input.files[0].name}` }]);
      await go();
    });
    input.click();
  }

  const STATES = {
    lost: "The link is lost; they are sent by themselves when it is back.",
    later: "The server could not take them just now; they are tried again by themselves.",
    "signed out": "You are signed out. They stay here: sign in again, and they are sent.",
  };

  /* Words and forms change together: nobody reads that something waits beside the form that would start it again. */
  async function show() {
    const entries = await queue.all();
    const own = entries.filter((entry) => entry.who === who);
    const waits = own.filter((entry) => !entry.refused);
    const refused = own.filter((entry) => entry.refused);
    const lines = [];
    if (waits.length) {
      lines.push(`${queue.words(waits)} ${waits.length === 1 ? "waits" : "wait"} on this device.`);
      lines.push(STATES[state] || (draining ? "Sending." : ""));
    }
    if (refused.length) { lines.push(`${queue.words(refused)} ${refused.length === 1 ? "was" : "were"} not taken; see why below.`); }
    if (entries.length > own.length) {
      lines.push(`${queue.words(entries.filter((entry) => entry.who !== who))} of another person wait here too; they are sent when that person signs in.`);
    }
    waiting.hidden = lines.length === 0;
    const text = lines.filter(Boolean).join(" ");
    if (said.textContent !== text) { said.textContent = text; }
    document.getElementById("waiting-list").replaceChildren(...own.map(line));
    document.getElementById("sign-in-again").hidden = state !== "signed out";
    document.getElementById("send-now").hidden = !waits.length;
    place.waiting(own.filter((entry) => entry.what === "finding" && entry.vehicle === vehicle));
    show_current(entries);
  }

  /* ---- sending ---- */
  async function go() {
    if (draining) { wanted = true; return; }
    draining = true;
    try {
      do {
        wanted = false;
        await show();
        const done = await queue.drain(who, show);
        state = done.state;
        if (done.sent.some((entry) => entry.vehicle === vehicle)) { await refresh(done.sent); }
        if (state === "signed out") { await forget(); }
      } while (wanted);
    } finally {
      draining = false;
    }
    await show();
  }

  const forget = async () => { if (window.caches) { await caches.delete(SHELL); } };

  /* ---- the page anew, where it has changed; what is being typed stays ---- */
  async function refresh(sent) {
    let answer;
    try {
      answer = await fetch(location.pathname + location.search, { headers: queue.ASKS, redirect: "error" });
    } catch {
      return;
    }
    if (!answer.ok) { return; }
    await keep_shell(answer.clone()).catch(() => {}); // no room for it: the entries matter more
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const steps = sent.some((entry) => entry.what !== "finding" && entry.what !== "photo");
    fresh.querySelectorAll("#intake [data-fresh]").forEach((part) => {
      const old = root.querySelector(`[data-fresh="${part.dataset.fresh}"]`);
      if (part.dataset.fresh === "finish" && !steps) { return; }
      if (part.dataset.fresh === "steps" && !steps && old.contains(document.activeElement)) { return; }
      old.replaceChildren(...part.childNodes);
    });
    root.dataset.current = fresh.getElementById("intake").dataset.current;
    place.restore();
  }

  /* The page and its files for the worker; nothing else is kept, and nothing older than a day. */
  async function keep_shell(answer) {
    if (!window.caches || !navigator.serviceWorker || location.search) { return; }
    const cache = await caches.open(SHELL);
    await cache.put(location.pathname, answer);
    for (const request of await cache.keys()) {
      const kept = await cache.match(request, { ignoreVary: true });
      const date = Date.parse((kept && kept.headers.get("Date")) || "");
      if (Date.now() - date > 24 * 3600 * 1000) { await cache.delete(request); }
    }
    const files = [...document.querySelectorAll("link[rel=stylesheet], link[rel=icon], script[src]")];
    const all_in = await Promise.all(files.map(async (file) => {
      const address = file.href || file.src;
      try {
        if (!(await cache.match(address, { ignoreVary: true }))) { await cache.add(address); }
        return true;
      } catch {
        return false;
      }
    }));
    whole = all_in.every(Boolean);
  }

  /* Until all of it is kept, it is tried again with the timer. */
  let whole = false;
  async function shell() {
    if (whole || !window.caches || !navigator.serviceWorker) { return; }
    try {
      await navigator.serviceWorker.register(root.dataset.worker);
      await navigator.serviceWorker.ready;
      const answer = await fetch(location.pathname, { headers: queue.ASKS, redirect: "error" });
      if (answer.ok) { await keep_shell(answer); }
    } catch {
      // no link just now
    }
  }

  /* ---- forms ---- */
  function fields_of(form) {
    const left_out = ["what", "key", "photos", "csrfmiddlewaretoken"];
    return Object.fromEntries([...new FormData(form)].filter(([name]) => !left_out.includes(name)));
  }

  function fill(form, fields) {
    [...form.elements].forEach((input) => {
      if (!input.name || !(input.name in fields || input.type === "checkbox") || input.type === "file") { return; }
      if (input.type === "radio") { input.checked = input.value === fields[input.name]; }
      else if (input.type === "checkbox") { input.checked = input.name in fields; }
      else if (input.name !== "csrfmiddlewaretoken") { input.value = fields[input.name]; }
    });
  }

  function label_of(form) {
    const kind = form.querySelector('[name="kind"]:checked');
    return `${kind.closest("label").textContent.trim()}, ${form.elements.namedItem("surface").selectedOptions[0].textContent}`;
  }

  async function keep(form) {
    const what = form.dataset.step;
    const mending = JSON.parse(form.dataset.mending || "null");
    const key = mending ? mending.key : queue.uuid();
    const base = { vehicle, plate, who };
    const entry = { ...base, what, key, fields: fields_of(form) };
    if (mending) { entry.seq = mending.seq; }
    if (what === "open") { entry.words = form.dataset.words; }
    // The day of the deed, not of the sending.
    if ("on" in entry.fields) { entry.fields.on ||= new Date().toLocaleDateString("sv-SE"); }
    const entries = [entry];
    if (what === "finding") {
      entry.label = label_of(form);
      [...form.elements.namedItem("photos").files].forEach((file) => entries.push({
        ...base, what: "photo", key: queue.uuid(), file, label: `photo ${file.name}`,
        fields: { inspection: entry.fields.inspection, finding: key },
      }));
    }
    await queue.add(entries);
    clearTimeout(saving);
    await queue.drafts.drop(draft_name(form));
    delete form.dataset.mending;
    form.reset();
    if (what === "finding") {
      ["x", "y"].forEach((name) => { form.elements.namedItem(name).value = ""; });
      form.elements.namedItem("on_outline").value = "False";
      place.note("");
    }
    await show();
    delete form.dataset.busy;
    if (what === "finding") { place.note(`Noted: ${entry.label}.`); }
    const heading = document.getElementById(what === "open" || what === "finding" ? "place-heading" : "content");
    heading.tabIndex = -1;
    heading.focus();
    await go();
  }

  // A wet finger taps twice; by then another button may stand where the first one was.
  root.addEventListener("click", (event) => {
    if (event.detail > 1 && event.target.closest("form[data-step] button")) { event.preventDefault(); }
  }, true);
  root.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-step]");
    if (!form) { return; }
    event.preventDefault();
    if (form.dataset.busy) { return; }
    form.dataset.busy = "yes";
    keep(form).catch(() => {
      delete form.dataset.busy;
      said.textContent = "This browser could not keep the entry (no room left?). It is sent at once instead.";
      waiting.hidden = false;
      form.submit();
    });
  });

  /* ---- drafts: a reload loses no half-typed finding ---- */
  let saving = 0;
  const draft_name = (form) => `${who} ${vehicle} ${form.dataset.step}`;
  root.addEventListener("input", (event) => {
    const form = event.target.closest('form[data-step="finding"], form[data-step="finish"]');
    if (!form) { return; }
    clearTimeout(saving);
    saving = setTimeout(() => queue.drafts.set(draft_name(form), fields_of(form)), 300);
  });
  for (const form of root.querySelectorAll('form[data-step="finding"], form[data-step="finish"]')) {
    const draft = await queue.drafts.get(draft_name(form));
    if (draft && !form.querySelector(".wrong")) { fill(form, draft); }
  }

  /* ---- start ---- */
  place.restore();
  document.getElementById("send-now").addEventListener("click", go);
  window.addEventListener("online", go);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { go(); } });
  setInterval(async () => {
    shell();
    if ((await queue.all()).some((entry) => entry.who === who && !entry.refused)) { go(); }
  }, AGAIN_MS);
  shell();
  await go();
})();
