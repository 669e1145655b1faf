// The phone in the pocket: camera with a drawn guide, a queue that survives anything, microphone.

import { byId, send as ask, setText, tell } from "./dom.js";
import { showKept, tellAnew } from "./kept.js";
import { Taken } from "./taken.js";
import { Microphone } from "./microphone.js";
import { keep, send } from "./queue.js";
import { drawQuestion } from "./question.js";
import { drawSettle, settling } from "./settle.js";
import { Voice } from "./voice.js";
import { takeOver, whoWorks } from "./who.js";

const { job, vehicle } = byId("phone").dataset;
const by = whoWorks(job, byId("phone").dataset.by);
const GUIDES = {
  plug: ['<circle cx="50" cy="37" r="27"/><circle cx="50" cy="37" r="13"/>', "Fill the outer circle with the plug's end. Light from the side."],
  dipstick: ['<rect x="8" y="31" width="84" height="13"/>', "Lay the blade on a plain cloth, both marks inside the frame."],
  fluid: ['<circle cx="50" cy="37" r="22"/>', "A drop on white paper, plenty of bare paper around it."],
};
let kind = document.querySelector("#kinds [aria-checked=true]").dataset.kind;
let stream = null;
let wanted = null; // the kind that the job wants now; chosen beforehand once, so that one's own choice stays
let own = false; // somebody has chosen a kind
let picking = null; // the kind when the phone's own camera was opened: what the job does meanwhile changes no photo

function choose(button) {
  kind = button.dataset.kind;
  for (const other of document.querySelectorAll("#kinds button")) other.setAttribute("aria-checked", String(other === button));
  for (const other of document.querySelectorAll("#kinds button")) other.tabIndex = other === button ? 0 : -1;
  const [shape, hint] = GUIDES[kind] ?? ["", "Hold still; fill the picture."];
  byId("guide").innerHTML = shape; // our own constant above, nothing from outside
  setText(byId("hint"), hint);
}
for (const button of document.querySelectorAll("#kinds button")) button.addEventListener("click", () => { own = true; choose(button); remember(); });
choose(document.querySelector("#kinds [aria-checked=true]"));
const ARROWS = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };
byId("kinds").addEventListener("keydown", (event) => { // as in any group of which one is chosen
  const by = ARROWS[event.key];
  if (!by) return;
  event.preventDefault();
  const all = [...document.querySelectorAll("#kinds button")];
  const next = all.at((all.indexOf(document.activeElement) + by) % all.length);
  next.focus();
  next.click();
});

function chooseWanted(next) {
  if (stream || next === wanted) return; // never under an open camera
  const late = own && wanted === null; // the first view came after somebody's choice
  wanted = next;
  if (late) return;
  const button = document.querySelector(`#kinds [data-kind="${next}"]`);
  if (button) choose(button);
}

function answered(answer) {
  byId("overlay").hidden = true;
  if (answer.error) { setText(byId("verdict"), answer.error.replace(/^the /, "The ")); return; }
  if (answer.again) { setText(byId("verdict"), "The shop PC has this photo already."); return; }
  const { measurement, overlay, reply } = answer;
  setText(byId("verdict"), measurement.usable === false ? `Take it again. ${measurement.why}` : reply?.spoken || "Kept.");
  byId("overlay").hidden = !overlay;
  if (overlay) byId("overlay").src = `/api/jobs/${job}/media/${overlay}`;
}

async function push() {
  await send(answered);
  await showKept();
}

const LARGEST = 30_000_000; // bytes; the shop PC takes no larger photo
const TOO_LARGE = "This picture is larger than 30 MB; take it with a smaller resolution.";

async function take(blob, kind) {
  byId("overlay").hidden = true; // the photo before is no answer to this one
  if (blob.size > LARGEST) {
    setText(byId("verdict"), TOO_LARGE);
    const stays = await keep({ job, by, vehicle, kind, blob, taken: new Date().toISOString(), why: TOO_LARGE });
    if (!stays) setText(byId("verdict"), `${TOO_LARGE} This phone has no room to keep it, either: save it below.`);
    await showKept();
    return;
  }
  setText(byId("verdict"), "Kept on this phone; sending");
  const kept = await keep({ job, by, vehicle, kind, blob, taken: new Date().toISOString() });
  if (!kept) setText(byId("verdict"), "This phone has no room to keep the photo: leave this page open until the shop PC has it.");
  await showKept();
  await push();
}

byId("file").addEventListener("click", () => { picking = kind; });
byId("file").addEventListener("change", async ({ target }) => {
  const of = picking ?? kind;
  picking = null;
  const [picture] = target.files;
  target.value = ""; // at once: the same picture may be chosen again as another kind while this one waits
  if (picture) await take(picture, of);
});
function closeCamera() {
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = null;
  byId("video").srcObject = null;
  byId("finder").hidden = byId("snap").hidden = true;
  byId("photo").classList.remove("camera");
  setText(byId("look"), "Open the camera");
}

byId("look").addEventListener("click", async () => {
  if (stream) { closeCamera(); return; }
  if (!window.isSecureContext || !navigator.mediaDevices) {
    setText(byId("verdict"), "This page can't open the camera itself without HTTPS. 'Choose a picture' opens the phone's own camera.");
    return;
  }
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 4000 } } });
  } catch (error) {
    setText(byId("verdict"), `The camera can't be opened (${error.name}); allow it, or choose a picture.`);
    return;
  }
  byId("video").srcObject = stream;
  await byId("video").play();
  byId("finder").hidden = byId("snap").hidden = false;
  byId("photo").classList.add("camera"); // the picture and its button fill the screen
  setText(byId("look"), "Close the camera");
});
// A phone that goes back into the pocket must not go on filming.
document.addEventListener("visibilitychange", () => document.visibilityState === "hidden" && closeCamera());
byId("snap").addEventListener("click", async () => {
  const video = byId("video");
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [video.videoWidth, video.videoHeight];
  canvas.getContext("2d").drawImage(video, 0, 0);
  const of = kind;
  canvas.toBlob((blob) => take(blob, of), "image/jpeg", 0.92);
});

const voice = new Voice(job, (text) => setText(byId("voice"), text));
takeOver(job, by);
voice.muteBy(byId("mute"));
function told(reply) {
  tell(byId("answer"), reply.spoken || reply.shown);
  askOnce();
  voice.say(reply);
}
// The question stands at the foot of the screen: nobody reads it twice.
function askOnce() {
  const asked = !byId("question").hidden && byId("asked").textContent;
  byId("answer").classList.toggle("visually-hidden", asked === byId("answer").textContent);
}
async function answer(text) {
  await say(text, told);
  byId("answer").scrollIntoView({ block: "nearest" }); // it stands below the photo
}
async function say(text, told) {
  try {
    told(await ask(`/api/jobs/${job}/say`, { text, by }));
  } catch (error) {
    setText(byId("answer"), error.message);
  }
}
byId("help").addEventListener("click", () => say("help", told));
// What a photo led to can be let stand or taken back by touch, too.
function settled(reply) {
  tell(byId("verdict"), reply.spoken || reply.shown);
  voice.say(reply);
}
settling(job, by, settled, () => say("disregard", settled));
const taken = new Taken(job, by, told, "photo", "taken");
const noted = new Taken(job, by, told, "note", "noted");
let microphone = null;
byId("open").addEventListener("click", async ({ currentTarget: button }) => {
  if (microphone) {
    microphone.stop();
    microphone = null;
    button.setAttribute("aria-pressed", "false");
    return;
  }
  microphone = new Microphone(job, by, "open", voice.who, {
    onReply: told,
    onState: (text) => setText(byId("mic"), text),
  });
  voice.microphone = microphone;
  try {
    await microphone.start();
    button.setAttribute("aria-pressed", "true");
  } catch (error) {
    microphone = null;
    setText(byId("mic"), error.message);
  }
});

let opened = false; // the first view is drawn
const events = new EventSource(`/api/jobs/${job}/events`);
events.addEventListener("open", () => { setText(byId("line"), "Live"); push().then(tellAnew); });
events.addEventListener("error", async () => {
  setText(byId("line"), "No connection to the shop PC; photos are kept on this phone");
  if (events.readyState !== EventSource.CLOSED) return; // it tries again by itself
  const refused = await fetch(`/api/jobs/${job}`).catch(() => null);
  if (refused && !refused.ok) setText(byId("line"), await refused.text());
});
events.addEventListener("view", ({ data }) => {
  const view = JSON.parse(data);
  voice.use(view.voice);
  chooseWanted(view.photo);
  drawQuestion(view.question, answer);
  askOnce();
  drawSettle(view.settle);
  if (!opened && view.reply.opening) told(view.reply); // a caution of the first step
  opened = true;
  taken.draw(view.photos, view.closed);
  noted.draw(view.notes, view.closed);
  showNext({
    next: view.closed ? `Job ${view.state}` : view.next ? view.next.title : "All steps done",
    say: view.next && !view.closed ? `Say: “${view.next.say}”` : "",
    also: view.photos_also.map((other) => `Also wanted: photo of the ${other}; choose it below for that.`).join(" "),
  });
});

// A page that is opened anew without a network goes on where it was: what is next, and the chosen kind.
const LAST = "joblog-phone-last";
let shown = {};
function showNext(words) {
  shown = words;
  for (const [name, text] of Object.entries(words)) setText(byId(name), text);
  remember();
}

function remember() {
  localStorage.setItem(LAST, JSON.stringify({ job, kind, wanted, own, shown }));
}

function recall() {
  const last = JSON.parse(localStorage.getItem(LAST) ?? "{}");
  const button = document.querySelector(`#kinds [data-kind="${last.kind}"]`);
  if (last.job !== job || !button) return;
  ({ wanted, own } = last);
  choose(button);
  showNext(last.shown);
}
recall();
addEventListener("online", push);
setInterval(push, 20000);
showKept();
push();
const workers = navigator.serviceWorker;
workers?.register("/phone-worker.js", { scope: "/phone" }).then(() => workers.ready).then(({ active }) => active.postMessage("keep me"))
  .catch(() => {}); // a browser that trusts the shop too little has the page only while there is a network
const awake = () => document.visibilityState === "visible" && navigator.wakeLock?.request("screen").catch(() => {});
document.addEventListener("visibilitychange", awake);
awake();
