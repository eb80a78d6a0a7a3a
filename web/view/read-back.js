// The pending read-back, large, with its two answers at opposite ends.

import { button, element } from "./element.js";
import { shape } from "./shapes.js";

export function readBack(step, pending, act) {
  return element("section", { class: "read-back", "data-pending": pending.written },
    button([shape("cross"), "Negative"], () => act.touch("negative"), { "data-phrase": "negative" }),
    element("div", { class: "value" },
      element("p", { class: "asked" }, pending.asked || step?.brief || step?.say || ""),
      element("b", {}, pending.written),
      pending.text !== pending.written && element("span", {}, pending.text)),
    button([shape("tick"), "Affirm"], () => act.touch("affirm"), { "data-phrase": "affirm", class: "key" }));
}
