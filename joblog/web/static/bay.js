// The bay screen: draws the newest view of the job, takes typed and spoken phrases.

import { byId, element, inOrder, send, setText, tell } from "./dom.js";
import { Microphone } from "./microphone.js";
import { drawQuestion } from "./question.js";
import { drawSettle, settling } from "./settle.js";
import { Taken } from "./taken.js";
import { Voice } from "./voice.js";
import { takeOver, whoWorks } from "./who.js";

const bay = byId("bay");
const { job } = bay.dataset;
const by = whoWorks(job, bay.dataset.by);
const voice = new Voice(job, (text) => setText(byId("voice"), text));
let microphone = null;
let lastSpoken = null;
let lastHeardAt = null;
let besides = ""; // what may be read besides the large answer
let answers = 0; // how often the answer became another
let typing = false; // a phrase of this screen is on its way to the shop PC

function draw(view) {
  drawHeard(view);
  drawAnswer(view.reply);
  setText(byId("next"), view.closed ? `Job ${view.state}` : view.next ? view.next.title : "All steps done");
  drawCautions(view.closed ? [] : view.next?.cautions ?? []);
  setText(byId("wants"), view.next && !view.closed ? view.next.wants.join("; ") : "");
  byId("phrase").placeholder = view.next && !view.closed ? `type: ${view.next.say}` : "type a phrase";
  setText(byId("say"), view.next && !view.closed ? `Say: “${view.next.say}”` : "");
  drawQuestion(view.question, say);
  if (view.question) askOnce();
  else showWhole();
  drawSettle(view.settle);
  drawFindings(view);
  drawSteps(view);
  drawClocks(view.clocks);
  noted.draw(view.notes, view.closed);
}

// A phrase stands as it was said or typed, on whichever screen that was; what has no words of its own
// (the desk closes the job, a finding is confirmed there) was entered by hand, or announced by a clock.
function drawHeard({ reply, recent }) {
  if (typing) return; // its phrase stands there; the answer is on its way
  const said = recent.filter((line) => line.note !== "reject").at(-1);
  if (reply.typed) {
    showTyped(reply.typed);
  } else if (reply.opening) {
    showHeard("Last entered", "The job was opened");
  } else if (reply.announced) {
    showHeard("Last announced", "By the clock");
  } else if (reply.source === "hand") {
    showHeard("Last entered", "By hand");
  } else if (said && said.at !== lastHeardAt) {
    showHeard(said.kind === "photo" ? "Last photo" : "Last heard", said.what);
  }
  lastHeardAt = said?.at ?? null;
}

function showHeard(how, words) {
  setText(byId("h-heard"), how);
  setText(byId("heard"), words);
}

const showTyped = (text) => showHeard("Last typed", `“${text}”`);

function drawCautions(cautions) {
  byId("caution").hidden = !cautions.length;
  setText(byId("caution"), cautions.map((text) => `Caution: ${text}`).join(" "));
}

// What is missing at the end is one line: how much, and the next to do.
function drawFindings({ findings, missing, refused }) {
  const single = findings.filter((finding) => !missing || !finding.missing);
  const rows = single.slice(-5).reverse().map((finding) => {
    const settled = finding.resolved || finding.kind === "observation"; // that is nobody's mistake
    const row = element("li", finding.text, settled ? "" : "open");
    if (finding.resolved) row.append(element("span", ` (${finding.resolved})`, "quiet"));
    return row;
  });
  if (missing) rows.unshift(element("li", missing, "open"));
  if (refused) rows.unshift(element("li", refused, "open"));
  byId("findings").replaceChildren(...(rows.length ? rows : [element("li", "Nothing", "quiet")]));
}

function drawSteps(view) {
  const rows = view.steps.map((step) => {
    const now = view.next && step.key === view.next.key;
    const row = element("li", step.title, step.status === "open" ? (now ? "now" : "") : "done");
    const state = step.status === "open" ? (now ? "next" : "") : step.status; // values don't say it
    const words = [state, ...step.values].filter(Boolean).join(", ");
    if (words) row.append(element("span", `: ${words.replace(/(\d) (?=[°A-Za-zµ])/g, "$1\u00a0")}`)); // '64 °C' stays together
    if (step.status === "incomplete") row.append(element("span", ` (still wanted: ${step.missing.join(", ")})`));
    if (now) row.setAttribute("aria-current", "step");
    return row;
  });
  byId("steps").replaceChildren(...rows);
}

let ticking = [];

function drawClocks(clocks) {
  const now = performance.now();
  ticking = clocks.map((clock) => ({ ...clock, base: Number(clock.seconds), read: now }));
  tick();
}

function clockWords(clock, seconds) {
  const opens = Number(clock.opens);
  const closes = clock.closes === null ? Infinity : Number(clock.closes);
  if (seconds < opens) return [`opens in ${Math.ceil(opens - seconds)} s`, clock.name];
  if (seconds > closes) return ["window closed", clock.name];
  return [closes === Infinity ? "window open" : `${Math.max(0, Math.floor(closes - seconds))} s left`, clock.name];
}

function tick() {
  const box = byId("clocks");
  byId("running").hidden = !ticking.length;
  const now = performance.now();
  const lines = ticking.flatMap((clock) => clockWords(clock, clock.base + (now - clock.read) / 1000));
  if (box.children.length !== lines.length) {
    box.replaceChildren(...lines.map((_, i) => element("p", "", i % 2 ? "quiet" : "time")));
  }
  lines.forEach((line, i) => { // in place: who reads with a screen reader stays where they are
    if (box.children[i].textContent !== line) box.children[i].textContent = line;
  });
}
setInterval(tick, 500);

// What is said aloud stands large; what may be read besides, with its cautions, stands below the next
// step, which a long answer must not push away. Where that holds the spoken words anyway, it stands large alone: nobody reads a sentence twice.
// Why typed words were not understood is short, and stands beside it. A caution stands with the next step.
function drawAnswer({ spoken: said = "", shown = "", tone = "", source = "" }) {
  const [spoken] = said.split(" Caution: ");
  if (tone === "again" && !source && spoken && shown.length < 120 && !shown.includes(spoken)) {
    showAnswer(`${spoken} ${shown}`.trim(), "");
    return;
  }
  const plain = (text) => text.replace(/[“”,.]/g, ""); // marks that are only seen
  const whole = !spoken || plain(shown).includes(plain(spoken));
  const large = whole && shown.length < spoken.length + 60;
  showAnswer(large ? shown || spoken : spoken || shown, large ? "" : shown);
}

function showAnswer(words, more) {
  if (byId("answer").textContent !== inOrder(words)) answers += 1;
  setText(byId("answer"), words);
  besides = more;
  askOnce();
}

function askOnce() {
  byId("asked").hidden = byId("asked").textContent === byId("answer").textContent;
  showWhole();
}

// Beside a question, a narrow screen cuts a long answer off after two lines: it stands in full below, too.
function showWhole() {
  const answer = byId("answer");
  const cut = answer.scrollHeight > answer.clientHeight + 1;
  setText(byId("more"), besides || (cut ? answer.textContent : ""));
  byId("whole").hidden = !besides && !cut;
}
addEventListener("resize", showWhole);

function answered(reply) {
  drawAnswer(reply);
  voice.say(reply);
}

// Says whether the phrase was taken: it led to an entry, or was answered.
async function say(text) {
  showTyped(text);
  typing = true;
  const before = answers;
  try {
    const reply = await send(`/api/jobs/${job}/say`, { text, by });
    answered(reply);
    return reply.source !== "" || !["again", "warn"].includes(reply.tone);
  } catch (error) {
    showAnswer(error.message, ""); // what stood besides is of an earlier answer
    return false;
  } finally {
    typing = false;
    if (answers === before) tell(byId("answer"), byId("answer").textContent);
  }
}

function listen() {
  const events = new EventSource(`/api/jobs/${job}/events`);
  events.addEventListener("open", () => setText(byId("line"), "Live"));
  events.addEventListener("error", () => setText(byId("line"), "No connection to the shop PC; trying again"));
  events.addEventListener("view", ({ data }) => {
    const view = JSON.parse(data);
    voice.use(view.voice);
    const first = lastSpoken === null;
    if (first ? view.reply.opening : view.reply.announced && view.reply.shown !== lastSpoken) {
      voice.say(view.reply); // the job's opening, and clocks, speak up by themselves
    }
    lastSpoken = view.reply.shown;
    draw(view);
  });
}

async function switchMicrophone(mode) {
  microphone?.stop();
  byId("open").setAttribute("aria-pressed", "false");
  microphone = new Microphone(job, by, mode, voice.who, {
    onReply: answered,
    onState: (text) => setText(byId("mic"), text),
  });
  voice.microphone = microphone;
  try {
    await microphone.start();
    return true;
  } catch (error) {
    microphone = null;
    setText(byId("mic"), error.message);
    return false;
  }
}

const held = { button: byId("hold"), down: false };

async function press() {
  if (held.down) return;
  held.down = true;
  if (microphone?.mode !== "push" && !(await switchMicrophone("push"))) {
    held.down = false;
    return;
  }
  await Promise.all([microphone.ready, voice.hush()]); // who presses wants to talk now
  if (!held.down) return; // let go before the line was open: the page says when it is ready
  held.button.setAttribute("aria-pressed", "true");
  microphone.hold(true);
}

function release() {
  if (!held.down) return;
  held.down = false;
  if (held.button.getAttribute("aria-pressed") !== "true") return; // it was never open
  held.button.setAttribute("aria-pressed", "false");
  microphone?.hold(false);
}

// A foot pedal or a Bluetooth button is a keyboard with one key: any of these holds the line open,
// but for the keys that also work the button or field that has the focus.
const PEDALS = new Set(["Space", "PageDown", "PageUp", "F13", "MediaPlayPause", "Enter"]);
const ELSEWHERE = new Set(["Space", "Enter"]);
function taken(event) {
  const focused = document.activeElement;
  if (!focused || focused === held.button) return false;
  if (/^(INPUT|TEXTAREA|SELECT)$/.test(focused.tagName)) return true;
  return ELSEWHERE.has(event.code) && /^(BUTTON|SUMMARY|A)$/.test(focused.tagName);
}
addEventListener("keydown", (event) => {
  if (PEDALS.has(event.code) && !taken(event)) { event.preventDefault(); if (!event.repeat) press(); }
});
addEventListener("keyup", (event) => {
  if (!PEDALS.has(event.code)) return;
  if (held.down || document.activeElement === held.button) event.preventDefault();
  release();
});
addEventListener("blur", release); // a window in the back doesn't see the key come up
held.button.addEventListener("pointerdown", (event) => {
  held.button.setPointerCapture(event.pointerId); // a glove that slides off goes on talking
  press();
});
for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) held.button.addEventListener(name, release);
// A screen reader, or a voice that works the browser, has no key to hold: it clicks, and clicks again to end.
held.button.addEventListener("click", ({ detail }) => { if (detail === 0) (held.down ? release : press)(); });
held.button.addEventListener("contextmenu", (event) => event.preventDefault()); // a long touch
// A button that was touched gives the focus back, so that the pedal talks and doesn't press it again.
addEventListener("pointerup", ({ target }) => target.closest?.("button, summary")?.blur());

byId("open").addEventListener("click", async ({ currentTarget: button }) => {
  if (microphone?.mode === "open") {
    microphone.stop();
    microphone = null;
    button.setAttribute("aria-pressed", "false");
  } else if (await switchMicrophone("open")) {
    button.setAttribute("aria-pressed", "true");
  }
});
const noted = new Taken(job, by, answered, "note", "noted");
takeOver(job, by);
voice.muteBy(byId("mute"));
settling(job, by, answered, () => say("disregard"));
byId("help").addEventListener("click", () => say("help"));
byId("typed").addEventListener("submit", async (event) => {
  event.preventDefault();
  const field = byId("phrase");
  const text = field.value.trim();
  field.value = ""; // a second Enter must not send it twice
  if (!text || (await say(text)) || field.value) return;
  field.value = text; // to be mended
  if (document.activeElement === field) field.select();
});
const awake = () => document.visibilityState === "visible" && navigator.wakeLock?.request("screen").catch(() => {});
document.addEventListener("visibilitychange", awake);
awake();
listen();
