// Readings so far with limits and verdict, and the open points.

import { element, fill } from "./element.js";
import { shape } from "./shapes.js";

const VERDICTS = {
  pass: ["safe", "tick", "PASS"],
  fail: ["danger", "cross", "FAIL"],
  none: ["", "", ""],
};

export function readingsView(root, store) {
  store.watch((s) => [s.get("view")?.readings, s.get("view")?.open_points], ([readings, points]) => {
    fill(root,
      element("h1", {}, "Readings"),
      readings?.length
        ? element("ul", { class: "rows" }, readings.map(({ name, item, written, verdict, limits }) => {
          const [colour, sign, word] = VERDICTS[verdict] ?? VERDICTS.none;
          return element("li", { "data-reading": name },
            element("span", { class: "name" }, item || name),
            element("span", { class: "written" }, written),
            word && element("span", { class: `verdict ${colour}` }, shape(sign), word),
            limits && element("span", { class: "under" }, limits));
        }))
        : element("p", { class: "quiet" }, "None yet."),
      element("h2", {}, "Open points"),
      points?.length
        ? element("ul", { class: "rows" }, points.map(({ step, cause, reason }) =>
          element("li", {}, element("span", { class: "name" }, `${step}, ${cause}`), reason || "No reason given")))
        : element("p", { class: "quiet" }, "None."));
  });
}
