// Who works on a job at this device: whoever opened it, until somebody takes over. What is said, typed
// and photographed from then on is recorded under that name.

import { byId, setText } from "./dom.js";

const key = (job) => `works on ${job}`;

export function whoWorks(job, opened) {
  try {
    return localStorage.getItem(key(job)) || opened;
  } catch {
    return opened; // no store: it is told at each reload
  }
}

export function takeOver(job, by) {
  setText(byId("works"), by || "nobody named");
  byId("takeover").addEventListener("submit", (event) => {
    event.preventDefault();
    const name = byId("worker").value.trim();
    if (!name) return;
    try {
      localStorage.setItem(key(job), name);
      location.reload();
    } catch {
      setText(byId("works"), `${by || "nobody named"} (this browser keeps no other name)`);
    }
  });
}
