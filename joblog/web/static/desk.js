// The desk: keep the advisor's words, make a link, take a signature.

import { byId, send, setText } from "./dom.js";

const { job } = byId("desk").dataset;

for (const form of document.querySelectorAll("form.explain")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const told = form.querySelector("[role=status]");
    try {
      const text = form.querySelector("textarea").value;
      await send(`/api/jobs/${job}/explain`, { finding: form.dataset.finding, text, by: "advisor" });
      setText(told, "Kept.");
      document.querySelector(".preview").contentWindow.location.reload();
    } catch (error) {
      setText(told, error.message);
    }
  });
}

byId("link").addEventListener("click", async () => {
  try {
    const { path, days } = await send(`/api/jobs/${job}/link`, {});
    setText(byId("linked"), `${location.origin}${path} (works on this shop's network for ${days} days)`);
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
