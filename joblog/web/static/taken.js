// The photos or notes that count, each with a button that takes it back: the newest first.

import { byId, element, send, setText } from "./dom.js";

const SURE = 5000; // milliseconds in which taking back must be touched once more

export class Taken {
  // ``kind`` is what the shop PC is told that ``entry`` is; ``box`` holds the list.
  constructor(job, by, told, kind, box) {
    Object.assign(this, { job, by, told, kind, box: byId(box), drawn: "" });
  }

  draw(rows, closed) {
    const now = JSON.stringify([closed, rows]);
    if (now === this.drawn) return; // a button that waits for its second touch stays
    this.drawn = now;
    this.box.hidden = !rows.length || Boolean(closed); // a closed job changes no more
    this.box.querySelector("ul").replaceChildren(...[...rows].reverse().map((row) => this.row(row)));
  }

  row({ entry, what, at, sha256 }) {
    const line = element("li");
    if (sha256) line.append(this.picture(sha256));
    const time = new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    const back = element("button", "Disregard");
    back.type = "button";
    back.setAttribute("aria-label", `Disregard: ${what}, ${time}`);
    back.onclick = () => this.touched(back, entry);
    const buttons = element("div", "", "row");
    buttons.append(back);
    line.append(element("p", `${what}, ${time}`), buttons);
    return line;
  }

  picture(sha256) {
    const picture = element("img");
    picture.alt = "";
    picture.loading = "lazy";
    picture.onerror = () => picture.remove(); // not every browser shows a HEIC photo
    picture.src = `/api/jobs/${this.job}/media/${sha256}`;
    return picture;
  }

  async touched(back, entry) {
    if (!back.dataset.sure) {
      const label = back.getAttribute("aria-label");
      back.dataset.sure = "asked";
      setText(back, "Take it back?");
      back.removeAttribute("aria-label");
      setTimeout(() => { delete back.dataset.sure; setText(back, "Disregard"); back.setAttribute("aria-label", label); }, SURE);
      return;
    }
    try {
      this.told(await send(`/api/jobs/${this.job}/disregard`, { [this.kind]: entry, by: this.by }));
    } catch (error) {
      setText(byId("answer"), error.message);
    }
  }
}
