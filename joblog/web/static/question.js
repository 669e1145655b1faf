// An open question with a button for each answer, in the bay and on the phone.

import { byId, element, inOrder, setText } from "./dom.js";
import { leave } from "./settle.js";

export function drawQuestion(question, say) {
  const box = byId("options");
  const words = question?.answers ?? [];
  const labels = words.map((word, i) =>
    question.options.length > 1 && i < 2 ? `${word}: ${question.options[i]}` : word);
  const same = inOrder(labels.join("\n")) === [...box.children].map((button) => button.textContent).join("\n");
  if (!same) {
    leave(box); // not to the next question's answers: a pedal would press them
    box.replaceChildren(...labels.map((label, i) => {
      const button = element("button", label);
      button.type = "button";
      button.onclick = () => say(words[i]);
      return button;
    }));
  }
  byId("question").hidden = !question;
  if (question) setText(byId("asked"), question.question);
}
