// Starting a job: a photo of a label, or an order said aloud, leads to the vehicle and its sheets.

import { byId, put, setText } from "./dom.js";
import { recordWhileHeld } from "./recorder.js";

const NAME = "joblog-technician"; // the name that was used last on this device

function remember() {
  const field = byId("technician");
  if (!field) return;
  if (!field.value) field.value = localStorage.getItem(NAME) ?? "";
  byId("opening").addEventListener("submit", () => localStorage.setItem(NAME, field.value.trim()));
}

const told = (text) => setText(byId("told"), text);

async function ask(path, body, waiting) {
  told(waiting);
  byId("maybe").hidden = true;
  try {
    const answer = await put(path, body);
    const then = `&then=${byId("start").dataset.then}`;
    if (answer.go) location.assign(answer.go + then);
    else told(answer.told);
    byId("maybe").hidden = !answer.maybe;
    if (answer.maybe) byId("maybe").href = answer.maybe + then;
  } catch (error) {
    told(error.message);
  }
}

function scanning() {
  byId("label").addEventListener("change", async ({ target }) => {
    if (target.files.length) await ask("/api/start/photos/label", target.files[0], "Reading the label");
    target.value = "";
  });
}

function saying() {
  recordWhileHeld(byId("hold"), {
    onBegin: () => told("Say the order's number, its plate, or the VIN: letters by the alphabet, alfa, bravo"),
    onSound: ({ rate, samples }) => ask(`/api/start/said?rate=${rate}`, samples, "Listening to what was said"),
    onTrouble: told,
  });
}

remember();
if (byId("start")) {
  scanning();
  saying();
}
