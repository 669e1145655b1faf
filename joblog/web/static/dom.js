// Small helpers that every page uses. Text from outside is only ever set as text, never as markup.

export const byId = (id) => document.getElementById(id);

// Without what turns the letters behind it around, as the pages are made (pages.py).
export const inOrder = (text) => String(text ?? "").replace(/[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]/g, "");

export function setText(node, raw) {
  const text = inOrder(raw);
  if (node.textContent === text) return;
  node.textContent = text;
  node.classList.remove("changed");
  void node.offsetWidth; // restart the animation
  node.classList.add("changed");
}

// What answers one's own action: the same words once more are read out once more.
export function tell(node, raw) {
  const text = inOrder(raw);
  if (node.textContent === text) node.replaceChildren(text);
  else setText(node, text);
}

export function element(tag, text = "", className = "") {
  const node = document.createElement(tag);
  node.textContent = inOrder(text);
  if (className) node.className = className;
  return node;
}

export const send = (path, body, method = "POST") =>
  asked(path, { method, headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });

export const get = (path) => asked(path, {});

// Sends a file or bytes as they are.
export const put = (path, body) => asked(path, { method: "PUT", body });

async function asked(path, options) {
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    throw new Error("The shop PC does not answer; check the network and try again.");
  }
  const data = await answer.json().catch(() => ({}));
  if (!answer.ok) {
    const why = typeof data.error === "string" ? data.error : "That could not be understood; check what was typed.";
    throw new Error(why);
  }
  return data;
}
