// Who works on a job at this device: whoever opened it, until somebody takes over. What is said, typed
// and photographed from then on is recorded under that name.

import { byId, setText } from "./dom.js";

const NAME = "joblog-technician"; // the name that was used last on this device, where jobs start
const key = (job) => `works on ${job}`;

export function whoWorks(job, opened) {
  try {
    return localStorage.getItem(key(job)) || opened;
  } catch {
    return opened; // no store: it is told at each reload
  }
}

function remembered() {
  try {
    return localStorage.getItem(NAME) ?? "";
  } catch {
    return "";
  }
}

export function takeOver(job, by) {
  setText(byId("works"), by || "nobody named");
  const known = remembered();
  if (known !== by) byId("worker").value = known;
  // Who took over teaches their own voice: read under the name of another it would replace theirs.
  const teach = document.querySelector('a[href^="/voice?"]');
  if (teach) teach.href = `/voice?${new URLSearchParams({ name: by })}`;
  byId("takeover").addEventListener("submit", (event) => {
    event.preventDefault();
    const name = byId("worker").value.trim();
    if (!name) return;
    try {
      localStorage.setItem(key(job), name);
      localStorage.setItem(NAME, name);
      location.reload();
    } catch {
      setText(byId("works"), `${by || "nobody named"} (this browser keeps no other name)`);
    }
  });
}
