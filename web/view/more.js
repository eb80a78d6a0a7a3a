// The way to everything but the step.

import { button, element, fill } from "./element.js";

const PAGES = [
  ["progress", "Where are we"], ["plan", "Read before climbing"], ["readings", "Readings and open points"],
  ["record", "Record"], ["people", "People"], ["jobs", "Jobs and roles"], ["settings", "Settings"], ["sound", "Sound check"],
];

export function moreView(root, act) {
  fill(root,
    element("h1", {}, "More"),
    element("div", { class: "stack" },
      button("Find the fault", () => act.touch("find the fault"), { "data-act": "find-fault" }),
      PAGES.map(([name, label]) => button(label, () => act.go(name), { "data-go": name })),
      typedLine(act)));
}

function typedLine(act) {
  const field = element("input", { type: "text", maxlength: 200, "aria-label": "Type what you would say", placeholder: "Type what you would say", autocomplete: "off" });
  const sendIt = () => {
    if (field.value.trim() && act.typed(field.value.trim())) {
      field.value = "";
      act.go("step");
    }
  };
  field.addEventListener("keydown", (event) => { if (event.key === "Enter") sendIt(); });
  return element("div", { class: "stack" }, field, button("Send", sendIt, { "data-act": "send" }));
}
