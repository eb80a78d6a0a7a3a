// Readings so far with limits and verdict, and the open points.

import { element, fill } from "./element.js";
import { limitPlot } from "./plot.js";
import { shape } from "./shapes.js";

const VERDICTS = {
  pass: ["safe", "tick", "PASS"],
  fail: ["danger", "cross", "FAIL"],
  none: ["", "", ""],
};

// Each reading with its verdict, drawn against its limits where it has any.
export function readingRows(readings) {
  if (!readings?.length) return element("p", { class: "quiet" }, "None yet.");
  return element("ul", { class: "rows" }, readings.map(({ name, item, written, verdict, limits, plot }) => {
    const [colour, sign, word] = VERDICTS[verdict] ?? VERDICTS.none;
    const told = [`${item || name}: ${written}`, limits && `limits ${limits}`, word].filter(Boolean).join(", ");
    return element("li", { "data-reading": name },
      element("span", { class: "name" }, item || name),
      element("span", { class: "written" }, written),
      word && element("span", { class: `verdict ${colour}` }, shape(sign), word),
      limitPlot(plot, verdict !== "fail", told),
      limits && element("span", { class: "under" }, limits));
  }));
}

export function readingsView(root, store) {
  store.watch((s) => [s.get("view")?.readings, s.get("view")?.open_points], ([readings, points]) => {
    fill(root,
      element("h1", {}, "Readings"),
      readingRows(readings),
      element("h2", {}, "Open points"),
      points?.length
        ? element("ul", { class: "rows" }, points.map(({ step, cause, reason }) =>
          element("li", {}, element("span", { class: "name" }, `${step}, ${cause}`), reason || "No reason given")))
        : element("p", { class: "quiet" }, "None."));
  });
}
