// The photos that count, each with a button that takes it back: the newest first.

import { byId, element, send, setText } from "./dom.js";

const SURE = 5000; // milliseconds in which taking back must be touched once more

export class Taken {
  constructor(job, by, told) {
    Object.assign(this, { job, by, told, drawn: "" });
  }

  draw({ photos, closed }) {
    const now = JSON.stringify([closed, photos]);
    if (now === this.drawn) return; // a button that waits for its second touch stays
    this.drawn = now;
    byId("taken").hidden = !photos.length || Boolean(closed); // a closed job changes no more
    byId("photos").replaceChildren(...[...photos].reverse().map((photo) => this.row(photo)));
  }

  row({ entry, what, at, sha256 }) {
    const line = element("li");
    const picture = element("img");
    picture.alt = "";
    picture.loading = "lazy";
    picture.onerror = () => picture.remove(); // not every browser shows a HEIC photo
    picture.src = `/api/jobs/${this.job}/media/${sha256}`;
    const time = new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    const back = element("button", "Disregard");
    back.type = "button";
    back.setAttribute("aria-label", `Disregard: ${what}, ${time}`);
    back.onclick = () => this.touched(back, entry);
    const buttons = element("div", "", "row");
    buttons.append(back);
    line.append(picture, element("p", `${what}, ${time}`), buttons);
    return line;
  }

  async touched(back, photo) {
    if (!back.dataset.sure) {
      const label = back.getAttribute("aria-label");
      back.dataset.sure = "asked";
      setText(back, "Take it back?");
      back.removeAttribute("aria-label");
      setTimeout(() => { delete back.dataset.sure; setText(back, "Disregard"); back.setAttribute("aria-label", label); }, SURE);
      return;
    }
    try {
      this.told(await send(`/api/jobs/${this.job}/disregard`, { photo, by: this.by }));
    } catch (error) {
      setText(byId("answer"), error.message);
    }
  }
}
