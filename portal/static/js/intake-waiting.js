/* On every other page of the studio: what an intake left waiting on this device is sent, or named. */
"use strict";

(async (who) => {
  const queue = window.intakeQueue;
  if (document.getElementById("intake")) { return; } // the intake page does it itself, and says more
  let left;
  try {
    if ((await queue.all()).every((entry) => entry.who !== who)) { return; }
    await queue.drain(who);
    left = (await queue.all()).filter((entry) => entry.who === who);
  } catch {
    return; // a browser that keeps nothing
  }
  if (!left.length) { return; }
  const note = document.createElement("p");
  const link = document.createElement("a");
  note.className = "message warning";
  note.setAttribute("role", "status");
  link.href = queue.ADDRESS(left[0].vehicle);
  link.textContent = `open the intake of ${left[0].plate}`;
  note.append(`${queue.words(left)} of an intake ${left.length === 1 ? "waits" : "wait"} on this device: `, link, ".");
  document.getElementById("content").prepend(note);
})(document.currentScript.dataset.who);
