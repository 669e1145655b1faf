// The desk's list of orders: takes a CSV file and says what became of it.

import { byId, element, put, setText } from "./dom.js";

byId("csv").addEventListener("change", async ({ target }) => {
  const [file] = target.files;
  if (!file) return;
  byId("remarks").replaceChildren();
  try {
    const { new: added, renewed, refused, remarks } = await put("/api/orders", file);
    setText(byId("imported"), `${file.name}: ${added} new, ${renewed} renewed${refused ? `, ${refused} left out` : ""}.`);
    byId("remarks").replaceChildren(...remarks.map((text) => element("li", text)));
    const link = element("a", "Show the list");
    link.href = "/orders";
    byId("imported").append(" ", link);
  } catch (error) {
    setText(byId("imported"), `Nothing was imported. ${error.message}`);
  }
  target.value = "";
});
