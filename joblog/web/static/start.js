// Starting a job: a photo of a label, or an order said aloud, leads to the vehicle and its sheets.

import { byId, put, setText } from "./dom.js";
import { record } from "./recorder.js";

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
  const button = byId("hold");
  let taken = null; // a promise of the recording that runs
  const press = () => {
    if (taken) return;
    button.setAttribute("aria-pressed", "true");
    told("Say the order's number, its plate, or the VIN: letters by the alphabet, alfa, bravo");
    taken = record();
    taken.catch((error) => { told(error.message); release(); });
  };
  const release = async () => {
    if (!taken) return;
    const mine = taken;
    taken = null;
    button.setAttribute("aria-pressed", "false");
    const recording = await mine.catch(() => null);
    if (!recording) return;
    const { rate, samples } = await recording.stop();
    if (samples.byteLength) await ask(`/api/start/said?rate=${rate}`, samples, "Listening to what was said");
  };
  button.addEventListener("pointerdown", press);
  for (const name of ["pointerup", "pointercancel", "pointerleave"]) button.addEventListener(name, release);
  button.addEventListener("keydown", (event) => { if (event.code === "Space" && !event.repeat) { event.preventDefault(); press(); } });
  button.addEventListener("keyup", (event) => { if (event.code === "Space") release(); });
}

remember();
if (byId("start")) {
  scanning();
  saying();
}
