// Teaching joblog a voice: reads one row of digits after the other, then waits while joblog learns.

import { byId, get, put, send, setText } from "./dom.js";
import { recordWhileHeld } from "./recorder.js";

const EVERY = 1000; // ms between two looks how far the learning is
const told = (text) => setText(byId("told"), text);
let name = "";

function draw(course) {
  byId("lesson").hidden = !course.wanted;
  setText(byId("wanted"), course.wanted);
  setText(byId("count"), `${course.read} of ${byId("count").dataset.of} read`);
  told(course.told);
  if (!course.wanted) finish(course);
}

// Another technician may begin meanwhile: then this one's news is not shown any more.
async function finish({ name: whose, enough }) {
  if (!enough) {
    told("Too few rows were read to learn from. Begin again.");
    return;
  }
  const say = (text) => { if (whose.toLowerCase() === name.toLowerCase() && byId("lesson").hidden) told(text); };
  try {
    let now = await send("/api/voice/learn", { name: whose });
    while (!now.done) {
      say(`joblog learns the voice: ${Math.round(100 * now.share)} %. That takes a minute or two; other work goes on.`);
      await new Promise((done) => setTimeout(done, EVERY));
      now = await get(`/api/voice/lesson?${new URLSearchParams({ name: whose })}`);
    }
    say(`${now.told} Open this page anew to see all voices.`);
  } catch (error) {
    say(error.message);
  }
}

async function tell(path, waiting = "") {
  told(waiting);
  try {
    draw(await send(path, { name }));
  } catch (error) {
    told(error.message);
  }
}

async function hear({ rate, samples }) {
  told("Listening to what was read");
  try {
    draw(await put(`/api/voice/read?${new URLSearchParams({ name, rate })}`, samples));
  } catch (error) {
    told(error.message);
  }
}

// The space bar reads from anywhere on the page but from its fields and other buttons.
const elsewhere = ({ target }) => target === byId("hold") || !["INPUT", "BUTTON", "A"].includes(target.tagName);

byId("who").addEventListener("submit", (event) => {
  event.preventDefault();
  name = byId("name").value.trim().replace(/\s+/g, " ").normalize("NFC");
  tell("/api/voice/begin", "Getting ready").then(() => byId("hold").focus());
});
byId("leave").addEventListener("click", () => tell("/api/voice/leave-out"));
for (const button of document.querySelectorAll("[data-forget]")) {
  button.addEventListener("click", async () => {
    try {
      told((await send("/api/voice/forget", { name: button.dataset.forget })).told);
      button.closest("li").remove();
    } catch (error) {
      told(error.message);
    }
  });
}
recordWhileHeld(byId("hold"), {
  onBegin: () => told("Read now"),
  onSound: hear,
  onTrouble: told,
  keysOf: document,
  mine: (event) => !byId("lesson").hidden && elsewhere(event),
});
