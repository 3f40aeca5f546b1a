/* What was typed and shot at the vehicle waits in the browser until the server has it. Every entry carries a key that
   was made here; the server stores a key once, so sending again is harmless. */
"use strict";

window.intakeQueue = (() => {
  const NAME = "sheenward-intake";
  const WAIT_MS = 90000;
  let opening = null;

  function database() {
    opening ||= new Promise((resolve, reject) => {
      const request = indexedDB.open(NAME, 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore("entries", { keyPath: "seq", autoIncrement: true });
        request.result.createObjectStore("drafts");
      };
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
    return opening;
  }

  /* Run `work` on a store and give what its last request gave, once the transaction is safely on disk. */
  async function run(store, mode, work) {
    const base = await database();
    return new Promise((resolve, reject) => {
      const transaction = base.transaction(store, mode, { durability: "strict" });
      const request = work(transaction.objectStore(store));
      transaction.oncomplete = () => resolve(request && request.result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
  }

  const all = () => run("entries", "readonly", (store) => store.getAll());
  const add = (entries) => run("entries", "readwrite", (store) => entries.map((entry) => store.put(entry)).at(-1));
  const remove = (entries) => run("entries", "readwrite", (store) => entries.map((e) => store.delete(e.seq)).at(-1));
  const drafts = {
    get: (name) => run("drafts", "readonly", (store) => store.get(name)),
    set: (name, value) => run("drafts", "readwrite", (store) => store.put(value, name)),
    drop: (name) => run("drafts", "readwrite", (store) => store.delete(name)),
  };

  /* Keep what was refused with the reason, unless it was discarded meanwhile. */
  function refuse(entry, errors) {
    return run("entries", "readwrite", (store) => {
      const asked = store.get(entry.seq);
      asked.onsuccess = () => { if (asked.result) { store.put({ ...asked.result, refused: errors }); } };
      return asked;
    });
  }

  function uuid() {
    if (crypto.randomUUID) { return crypto.randomUUID(); }
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  /* Read afresh each time: signing in again changes it. */
  const token = () => (document.cookie.match(/(?:^|; )csrftoken=([^;]+)/) || ["", ""])[1];
  const ADDRESS = (vehicle) => `/studio/intake/${vehicle}/`;
  // With this header a session that has ended answers 401 instead of the sign-in page.
  const ASKS = { "HX-Request": "true" };

  async function post(entry) {
    const body = new FormData();
    body.set("what", entry.what);
    body.set("key", entry.key);
    Object.entries(entry.fields).forEach(([name, value]) => body.set(name, value));
    if (entry.file) { body.set("photo", entry.file, entry.file.name || "photo"); }
    return fetch(ADDRESS(entry.vehicle), {
      method: "POST", body, redirect: "manual", signal: AbortSignal.timeout(WAIT_MS),
      headers: { ...ASKS, Accept: "application/json", "X-CSRFToken": token() },
    });
  }

  const whole = (text) => ({ __all__: [text] });
  const REFUSED = {
    404: "The vehicle is no longer looked after here, so this was not taken. Note it elsewhere, then discard it.",
    413: "It is too large to be sent. Take the photo smaller, or choose another.",
  };

  /* "kept", "lost" (try later), "signed out", "later" (the server failed on this one), or what was refused. */
  async function send(entry, again = true) {
    let answer;
    try {
      answer = await post(entry);
    } catch {
      return "lost";
    }
    if (answer.status === 401 || answer.type === "opaqueredirect") { return "signed out"; }
    if (answer.status === 403) {
      if (!again) { return whole("Your role does not open this; somebody who may has to note it."); }
      try {
        // The page brings a new token where the old one is gone; without a session it answers 401.
        const page = await fetch(ADDRESS(entry.vehicle), { headers: ASKS, redirect: "manual" });
        if (page.status === 401 || page.type === "opaqueredirect") { return "signed out"; }
      } catch {
        return "lost";
      }
      return send(entry, false);
    }
    if (REFUSED[answer.status]) { return whole(REFUSED[answer.status]); }
    let said;
    try {
      said = await answer.json();
    } catch {
      return answer.ok ? "lost" : "later"; // a page of somebody else's network, or a fault of the server
    }
    if (answer.status === 422) { return said.errors; }
    return answer.ok && said.kept === entry.key ? "kept" : "later";
  }

  async function pass(who, tell) {
    const behind = new Set();
    const sent = [];
    let state = "done";
    for (const entry of await all()) {
      const { inspection, finding } = entry.fields;
      if (entry.who !== who) { continue; }
      if (entry.refused || behind.has(inspection) || behind.has(finding)) { behind.add(entry.key); continue; }
      const outcome = await send(entry);
      if (outcome === "kept") {
        await remove([entry]);
        sent.push(entry);
      } else if (outcome === "lost" || outcome === "signed out") {
        state = outcome;
        break;
      } else {
        behind.add(entry.key);
        if (outcome === "later") { state = "later"; } else { await refuse(entry, outcome); }
      }
      await tell();
    }
    return { state, sent };
  }

  /* Send what waits, in order, from one window at a time. */
  function drain(who, tell = async () => {}) {
    if (!navigator.locks) { return pass(who, tell); }
    return navigator.locks.request(NAME, { ifAvailable: true }, (lock) => (lock ? pass(who, tell) : { state: "busy", sent: [] }));
  }

  const many = (count, word) => `${count} ${word}${count === 1 ? "" : "s"}`;

  /* "3 findings and 2 photos", then whatever else. */
  function words(entries) {
    const count = (what) => entries.filter((entry) => entry.what === what).length;
    const others = entries.length - count("finding") - count("photo");
    const parts = [];
    if (count("finding")) { parts.push(many(count("finding"), "finding")); }
    if (count("photo")) { parts.push(many(count("photo"), "photo")); }
    if (others) { parts.push(others === 1 ? "1 other entry" : `${others} other entries`); }
    const last = parts.pop();
    return parts.length ? `${parts.join(", ")} and ${last}` : last || "";
  }

  return { database, all, add, remove, drafts, drain, uuid, words, ADDRESS, ASKS };
})();
