// The desk: keep the advisor's words, make a link, take a signature.

import { byId, send, setText } from "./dom.js";

const desk = byId("desk");
const { job } = desk.dataset;
const by = desk.dataset.by || "advisor";
const preview = document.querySelector(".preview");
const refresh = () => preview.contentWindow.location.reload();

byId("findings").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  const told = form.querySelector("[role=status]");
  const field = form.querySelector("textarea");
  try {
    await send(`/api/jobs/${job}/explain`, { finding: form.dataset.finding, text: field.value, by });
    field.defaultValue = field.value;
    setText(told, "Kept.");
    refresh();
  } catch (error) {
    setText(told, error.message);
  }
});

// New findings are added below, but for steps that are yet to be done: these are one line. Words that the advisor is writing are never touched.
function drawFindings(findings) {
  byId("nothing").hidden = findings.length > 0;
  for (const finding of findings) {
    let form = [...byId("findings").children].find((other) => other.dataset.finding === finding.key);
    if (form) form.hidden = finding.undone;
    if (finding.undone) continue;
    if (!form) {
      form = byId("finding").content.firstElementChild.cloneNode(true);
      form.dataset.finding = form.querySelector("textarea").name = finding.key; // a reload in Firefox gives words back by name
      byId("findings").append(form);
    }
    setText(form.querySelector("strong"), finding.kind);
    setText(form.querySelector(".told"), finding.headed);
    setText(form.querySelector(".ended"), finding.resolved ? `Ended: ${finding.resolved}.` : "");
    const field = form.querySelector("textarea");
    if (field.value === field.defaultValue) field.defaultValue = field.value = finding.customer;
  }
}

let shownClosed = !byId("closing").hidden ? null : "before";
const events = new EventSource(`/api/jobs/${job}/events`);
events.addEventListener("open", () => setText(byId("line"), "Live"));
events.addEventListener("error", () => setText(byId("line"), "No connection; trying again"));
events.addEventListener("view", ({ data }) => {
  const view = JSON.parse(data);
  setText(byId("state"), view.closed || "open");
  setText(byId("progress"), view.progress);
  setText(byId("undone"), view.undone);
  drawFindings(view.findings);
  byId("closing").hidden = Boolean(view.closed);
  if (view.closed && shownClosed === null) { shownClosed = view.closed; refresh(); }
});

byId("close").addEventListener("submit", async (event) => {
  event.preventDefault();
  const how = event.submitter?.value ?? "finished";
  try {
    const reply = await send(`/api/jobs/${job}/close`, { how, reason: byId("reason").value, by });
    setText(byId("closed"), reply.shown);
  } catch (error) {
    setText(byId("closed"), error.message);
  }
});
byId("again").addEventListener("click", refresh);

byId("link").addEventListener("click", async () => {
  try {
    const { url, where } = await send(`/api/jobs/${job}/link`, {});
    setText(byId("linked"), `${url} (${where})`);
  } catch (error) {
    setText(byId("linked"), error.message);
  }
});

const pad = byId("pad");
const pen = pad.getContext("2d");
let drawn = false;
function wipe() {
  pen.fillStyle = "#ffffff";
  pen.fillRect(0, 0, pad.width, pad.height);
  pen.strokeStyle = "#14202a";
  pen.lineWidth = 4;
  pen.lineCap = pen.lineJoin = "round";
  drawn = false;
}
const at = (event) => {
  const box = pad.getBoundingClientRect();
  return [(event.clientX - box.left) * (pad.width / box.width), (event.clientY - box.top) * (pad.height / box.height)];
};
pad.addEventListener("pointerdown", (event) => {
  pad.setPointerCapture(event.pointerId);
  pen.beginPath();
  pen.moveTo(...at(event));
});
pad.addEventListener("pointermove", (event) => {
  if (!event.buttons) return;
  pen.lineTo(...at(event));
  pen.stroke();
  drawn = true;
});
byId("wipe").addEventListener("click", wipe);
byId("sign").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!drawn) { setText(byId("signed"), "Sign in the field first."); return; }
  try {
    const answer = await send(`/api/jobs/${job}/sign`, { name: byId("signer").value, image: pad.toDataURL("image/png") });
    setText(byId("signed"), answer.shown);
  } catch (error) {
    setText(byId("signed"), error.message);
  }
});
wipe();
