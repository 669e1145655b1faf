// The customer signs: draws in the field, or types the name, which needs no hand that can draw.

import { byId, send, tell } from "./dom.js";

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
wipe();

export function signing(job) {
  async function keep(signature) {
    try {
      const answer = await send(`/api/jobs/${job}/sign`, signature);
      tell(byId("signed"), answer.shown);
      return true;
    } catch (error) {
      tell(byId("signed"), error.message);
      return false;
    }
  }
  byId("sign").addEventListener("submit", (event) => {
    event.preventDefault();
    if (drawn) keep({ name: byId("signer").value, image: pad.toDataURL("image/png") });
    else tell(byId("signed"), "Sign in the field first, or type your name below it.");
  });
  byId("sign-typed").addEventListener("submit", async (event) => {
    event.preventDefault();
    if (await keep({ name: byId("typed").value, typed: true })) byId("typed").value = ""; // a second Enter signs nothing
  });
}
