// The desk: keep the advisor's words, make a link, take a signature.

import { byId, element, send, setText, tell } from "./dom.js";
import { signing } from "./sign.js";

const desk = byId("desk");
const { job } = desk.dataset;
const by = desk.dataset.by || "advisor";
const preview = document.querySelector(".preview");
const choice = byId("choice");
const chosen = () => new URLSearchParams(new FormData(choice)).toString();

// Links and preview give the report in the language, units and paper chosen.
function choose() {
  for (const link of document.querySelectorAll("[data-report]")) link.href = `${link.dataset.report}?${chosen()}`;
  preview.src = `/job/${job}/report.html?${chosen()}`;
}
choice.addEventListener("change", choose);
choose(); // a reload in Firefox keeps what was chosen
const refresh = () => preview.contentWindow.location.reload();

// Words that somebody else kept meanwhile are shown, and never overwritten unseen.
async function keep(event) {
  event.preventDefault();
  const form = event.target;
  const told = form.querySelector("[role=status]");
  const field = form.querySelector("textarea");
  try {
    const reply = await send(`/api/jobs/${job}/explain`, { finding: form.dataset.finding, text: field.value, by, seen: field.dataset.seen });
    field.dataset.seen = reply.explained;
    if (reply.kept) field.defaultValue = field.value;
    tell(told, reply.kept ? "Kept." : reply.shown);
    refresh();
  } catch (error) {
    tell(told, error.message);
  }
}
byId("findings").addEventListener("submit", keep);
byId("notes").addEventListener("submit", keep);

// Returns the form of a finding or note, made where it is new.
function formOf(list, template, key) {
  let form = [...list.children].find((other) => other.dataset.finding === key);
  if (!form) {
    form = byId(template).content.firstElementChild.cloneNode(true);
    form.dataset.finding = form.querySelector("textarea").name = key; // a reload in Firefox gives words back by name
    list.append(form);
  }
  return form;
}

// Every form has the same field and button: a screen reader says what they are about.
function about(form, words) {
  form.setAttribute("role", "group");
  form.setAttribute("aria-label", words);
}

// Words that the advisor is writing are never touched.
function fill(field, words, seen) {
  if (field.value !== field.defaultValue) return;
  field.defaultValue = field.value = words;
  field.dataset.seen = seen;
}

// New findings are added, what is open first, but for steps that are yet to be done: these are one line.
function drawFindings(findings) {
  const list = byId("findings");
  byId("nothing").hidden = findings.length > 0;
  const sorted = findings.filter((f) => !f.undone).sort((one, other) => one.rank - other.rank);
  const keys = new Set(sorted.map((f) => f.key));
  for (const form of list.children) form.hidden = !keys.has(form.dataset.finding);
  for (const finding of sorted) {
    const form = formOf(list, "finding", finding.key);
    setText(form.querySelector(".mark"), finding.open ? "Open, " : "");
    setText(form.querySelector("strong"), finding.kind);
    setText(form.querySelector(".told"), finding.headed);
    about(form, finding.headed);
    setText(form.querySelector(".ended"), finding.resolved ? `Ended: ${finding.resolved}.` : "");
    fill(form.querySelector("textarea"), finding.customer, finding.explained);
  }
  const forms = [...list.children];
  const shown = forms.filter((form) => !form.hidden).map((form) => form.dataset.finding);
  const moved = sorted.some((finding, place) => shown[place] !== finding.key);
  if (moved && !list.contains(document.activeElement)) { // nothing moves under the advisor's hands
    for (const finding of sorted) list.append(formOf(list, "finding", finding.key));
  }
}

function drawNotes({ notes, notes_withdrawn: withdrawn }) {
  const list = byId("notes");
  byId("noted").hidden = notes.length + withdrawn.length === 0;
  byId("withdrawn").replaceChildren(...withdrawn.map((line) => element("li", line)));
  const keys = new Set(notes.map((note) => note.key));
  for (const form of list.children) form.hidden = !keys.has(form.dataset.finding);
  for (const note of notes) {
    const form = formOf(list, "note", note.key);
    setText(form.querySelector("strong"), note.by || "Note");
    setText(form.querySelector(".told"), `“${note.text}”`);
    about(form, note.text);
    setText(form.querySelector(".ended"), note.explained ? "Told on page 1." : "The customer is not told yet.");
    fill(form.querySelector("textarea"), note.explained || note.text, note.explained);
  }
}

let shownClosed = !byId("closing").hidden ? null : "before";
const events = new EventSource(`/api/jobs/${job}/events`);
events.addEventListener("open", () => setText(byId("line"), "Live"));
events.addEventListener("error", () => setText(byId("line"), "No connection; trying again"));
events.addEventListener("view", ({ data }) => {
  const view = JSON.parse(data);
  setText(byId("state"), view.state);
  setText(byId("progress"), view.progress);
  setText(byId("undone"), view.undone);
  setText(byId("refused"), view.refused);
  drawFindings(view.findings);
  drawNotes(view);
  setText(byId("meter"), view.meter);
  byId("closing").hidden = byId("metered").hidden = Boolean(view.closed);
  if (view.closed && shownClosed === null) { shownClosed = view.closed; refresh(); }
});

byId("close").addEventListener("submit", async (event) => {
  event.preventDefault();
  const how = event.submitter?.value ?? "finished";
  try {
    const reply = await send(`/api/jobs/${job}/close`, { how, reason: byId("reason").value, by });
    tell(byId("closed"), reply.shown);
  } catch (error) {
    tell(byId("closed"), error.message);
  }
});
byId("metered").addEventListener("submit", async (event) => {
  event.preventDefault();
  const told = Object.fromEntries(new FormData(event.target));
  try {
    const reply = await send(`/api/jobs/${job}/meter`, { ...told, by });
    tell(byId("corrected"), reply.shown);
    event.target.elements.odometer.value = "";
    refresh();
  } catch (error) {
    tell(byId("corrected"), error.message);
  }
});
byId("again").addEventListener("click", refresh);

byId("link").addEventListener("click", async () => {
  try {
    const { url, where } = await send(`/api/jobs/${job}/link`, {});
    tell(byId("linked"), `${url}?${chosen()} (${where})`);
  } catch (error) {
    tell(byId("linked"), error.message);
  }
});
signing(job);
