// What still lies on this phone: photos that wait for the shop PC, and those that it refused. These
// stay, through every reload, until somebody discards them; until saved or discarded they are counted.

import { byId, element, setText } from "./dom.js";
import { discard, markSaved, refused, waiting } from "./queue.js";

const PHONE = "joblog-phone"; // this phone's own name, by which the shop PC tells it from others
const SURE = 5000; // milliseconds in which discarding must be touched once more
let drawn = "";
let urls = [];
let told = {}; // how many refused photos the shop PC knows of, by job

function name() {
  const known = localStorage.getItem(PHONE) ?? crypto.getRandomValues(new Uint32Array(2)).join("-");
  localStorage.setItem(PHONE, known);
  return known;
}

const photos = (count) => `${count} photo${count > 1 ? "s" : ""}`;

export async function showKept() {
  const [queue, rows] = [(await waiting()).length, await refused()];
  const open = rows.filter((row) => !row.saved).length;
  const words = [queue && `${photos(queue)} waiting for the shop PC`, open && `${photos(open)} refused: save or discard ${open > 1 ? "them" : "it"}`];
  setText(byId("queue"), words.filter(Boolean).join(". ") || "All photos are with the shop PC");
  drawRefused(rows);
  await tell(rows.filter((row) => !row.saved));
}

function drawRefused(rows) {
  const now = JSON.stringify(rows.map(({ sha256, order, saved, why }) => [sha256, order, saved, why]));
  if (now === drawn) return;
  drawn = now;
  urls.forEach((url) => URL.revokeObjectURL(url));
  urls = [];
  byId("refused").replaceChildren(...rows.map(row));
}

function row(photo) {
  const url = URL.createObjectURL(new Blob([photo.blob], { type: photo.blob.type || "image/jpeg" }));
  urls.push(url);
  const line = element("li");
  const picture = element("img");
  picture.alt = "";
  picture.onerror = () => picture.remove(); // it may be no picture at all
  picture.src = url;
  const at = photo.taken.slice(0, 19).replace("T", " ");
  const of = [photo.kind, photo.vehicle].filter(Boolean).join(", ");
  line.append(picture, element("p", `${photo.saved ? "Saved" : "Refused"}: ${of}. ${photo.why.replace(/^the /, "The ")}`));
  const save = element("a", photo.saved ? "Save it once more" : "Save this picture on the phone", "button");
  save.href = url;
  save.download = `photo-${at.replaceAll(":", "").replace(" ", "-")}.jpg`;
  save.onclick = () => setTimeout(async () => { await markSaved(photo); await showKept(); }, 1000); // the browser has it by then
  const away = element("button", photo.saved ? "Take it off this list" : "Discard it");
  away.type = "button";
  away.onclick = async () => {
    if (!photo.saved && !away.dataset.sure) {
      away.dataset.sure = "asked";
      setText(away, "Discard it for good?");
      setTimeout(() => { delete away.dataset.sure; setText(away, "Discard it"); }, SURE);
      return;
    }
    await discard(photo);
    await showKept();
  };
  const buttons = element("div", "", "row");
  buttons.append(save, away);
  line.append(buttons);
  return line;
}

// The shop PC forgets it with a restart: whoever finds it anew tells it again.
export function tellAnew() {
  told = {};
  return showKept();
}

async function tell(rows) {
  const counts = {};
  for (const job of Object.keys(told)) counts[job] = 0;
  for (const { job } of rows) counts[job] = (counts[job] ?? 0) + 1;
  for (const [job, count] of Object.entries(counts)) {
    if (told[job] === count) continue;
    const body = JSON.stringify({ who: name(), count });
    const headers = { "Content-Type": "application/json" };
    const answer = await fetch(`/api/jobs/${job}/refused`, { method: "POST", headers, body }).catch(() => null);
    if (answer?.ok) told[job] = count;
  }
}
