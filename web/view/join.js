// Where a phone comes in that has not joined: the code from the terminal or the lead's page, typed.

import { button, element, fill } from "./element.js";

export function joinView(root, act) {
  const field = element("input", {
    type: "text", maxlength: 20, autocomplete: "off", autocapitalize: "characters", spellcheck: "false",
    "aria-label": "Join code", placeholder: "ABCDE-FGHJK", "data-field": "code",
  });
  const told = element("p", { class: "limits", role: "alert" });
  const join = async () => {
    told.textContent = "";
    try {
      await act.join(field.value);
    } catch (problem) {
      told.textContent = problem.message;
    }
  };
  field.addEventListener("keydown", (event) => { if (event.key === "Enter") join(); });
  fill(root,
    element("h1", {}, "Join the job"),
    element("p", { class: "say" }, "Scan the code on the machine's terminal, or on the lead's page under People. Or type it here."),
    element("div", { class: "stack" }, field, button("Join", join, { class: "key", "data-act": "join" }), told));
}
