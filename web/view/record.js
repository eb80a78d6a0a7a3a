// The record as the server keeps it: whether its chain holds, the printed pages, the readings drawn
// against their limits, and its lines.

import { button, element, fill } from "./element.js";
import { readingRows } from "./readings.js";

const PAGES = [["", "Record as PDF"], ["customer", "Customer's page as PDF"]];

export async function recordView(root, store, ask, act) {
  const job = store.get("job");
  fill(root, element("h1", {}, "Record"), element("p", { class: "quiet" }, "Reading…"));
  try {
    const [record, chain] = await Promise.all([
      ask(`/api/jobs/${encodeURIComponent(job)}/record`),
      ask(`/api/jobs/${encodeURIComponent(job)}/record/verify`),
    ]);
    const told = element("p", { class: "quiet", role: "status", "data-saved": "" });
    fill(root,
      element("h1", {}, "Record"),
      element("p", { class: `banner ${chain.good ? "safe" : "danger"}`, "data-chain": String(chain.good) }, chain.text),
      element("div", { class: "stack" },
        PAGES.map(([who, label]) => button(label, async () => {
          told.textContent = "The page is being made…";
          told.textContent = await act.pdf(who);
        }, { "data-pdf": who || "record" })), told),
      element("h2", {}, "Readings"), readingRows(store.get("view")?.readings),
      element("h2", {}, "Lines"),
      element("ol", { class: "rows lines" }, record.lines.map((line) => element("li", {}, line))));
  } catch (problem) {
    fill(root, element("h1", {}, "Record"), element("p", {}, problem.message));
  }
}
