// A finding that was named is confirmed with a reason, chosen or in one's own words, or taken back.

import { byId, element, send, setText } from "./dom.js";

let open = null; // what the last answer named: {keys, about, reasons}
let asked = null; // what the open dialog is about; another answer meanwhile changes nothing in it

// Buttons that go take nobody's place away: who was on one is on the answer now.
export function leave(box) {
  if (box.contains(document.activeElement)) byId("answer").focus();
}

export function drawSettle(settle) {
  open = settle;
  if (!settle) leave(byId("settle"));
  byId("settle").hidden = !settle;
}

export function settling(job, by, answered, disregard) {
  const dialog = byId("reasons");
  async function confirm(text) {
    try {
      let reply = null;
      for (const finding of asked.keys) reply = await send(`/api/jobs/${job}/confirm`, { finding, text, by });
      dialog.close();
      answered(reply);
    } catch (error) {
      setText(byId("unsettled"), error.message);
    }
  }
  byId("why").addEventListener("click", () => {
    asked = open;
    if (!asked) return;
    setText(byId("about"), asked.about);
    setText(byId("unsettled"), "");
    byId("reason").value = "";
    byId("chosen").replaceChildren(...asked.reasons.map((text) => {
      const button = element("button", text);
      button.type = "button";
      button.onclick = () => confirm(text);
      return button;
    }));
    dialog.showModal();
  });
  byId("own").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = byId("reason").value.trim();
    if (text) confirm(text);
    else setText(byId("unsettled"), "Write the reason first.");
  });
  byId("leave").addEventListener("click", () => dialog.close());
  byId("back").addEventListener("click", disregard);
}
