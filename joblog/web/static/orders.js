// The desk's list of orders: takes a CSV file and says what became of it.

import { byId, element, put, setText } from "./dom.js";

// The list above as it stands after the import.
async function showList() {
  const answer = await fetch("/orders");
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  byId("list").replaceWith(page.getElementById("list"));
}

byId("csv").addEventListener("change", async ({ target }) => {
  const [file] = target.files;
  if (!file) return;
  byId("remarks").replaceChildren();
  try {
    const { new: added, renewed, refused, remarks } = await put("/api/orders", file);
    setText(byId("imported"), `${file.name}: ${added} new, ${renewed} renewed${refused ? `, ${refused} left out` : ""}.`);
    byId("remarks").replaceChildren(...remarks.map((text) => element("li", text)));
    await showList();
  } catch (error) {
    setText(byId("imported"), `Nothing was imported. ${error.message}`);
  }
  target.value = "";
});
