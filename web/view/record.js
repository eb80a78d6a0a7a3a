// The record as the server keeps it, and whether its chain holds.

import { element, fill } from "./element.js";

export async function recordView(root, job, ask) {
  fill(root, element("h1", {}, "Record"), element("p", { class: "quiet" }, "Reading…"));
  try {
    const [record, chain] = await Promise.all([
      ask(`/api/jobs/${encodeURIComponent(job)}/record`),
      ask(`/api/jobs/${encodeURIComponent(job)}/record/verify`),
    ]);
    fill(root,
      element("h1", {}, "Record"),
      element("p", { class: `banner ${chain.good ? "safe" : "danger"}`, "data-chain": String(chain.good) }, chain.text),
      element("ol", { class: "rows" }, record.lines.map((line) => element("li", {}, line))));
  } catch (problem) {
    fill(root, element("h1", {}, "Record"), element("p", {}, problem.message));
  }
}
