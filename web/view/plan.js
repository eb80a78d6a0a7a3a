// The texts of the plan, to be read before climbing; they are kept on the phone, so they are there
// with the server gone. They tell nothing of how far the job is.

import { element, fill } from "./element.js";
import { shape } from "./shapes.js";
import { signalPanel } from "./step-card.js";

const FOR = { both: "For both of you", helper: "For the helper", lead: "For the lead" };
const NEEDS = {
  "proven-dead": "Only when proven dead", locked: "Only when locked", isolated: "Only when off",
  released: "Only when released", energised: "Live work",
};

function stepRow({ id, say, helper, caution, reason, source, who, needs, unit, conditional }) {
  const marks = [FOR[who] !== FOR.lead && FOR[who], NEEDS[needs], unit && `Reading in ${unit}`, conditional && "Only if it comes up"];
  return element("li", { "data-step": id },
    signalPanel(caution),
    element("p", { class: "task-text" }, say),
    helper && element("p", {}, `Helper: ${helper}`),
    reason && element("p", { class: "quiet" }, `Reason: ${reason}`),
    source && element("p", { class: "quiet" }, `Source: ${source}`),
    element("p", { class: "quiet" }, marks.filter(Boolean).join(". ")));
}

export async function planView(root, act) {
  fill(root, element("h1", {}, "Read before climbing"), element("p", { class: "quiet" }, "Reading…"));
  const found = await act.plan();
  if (!found) {
    fill(root, element("h1", {}, "Read before climbing"),
      element("p", { class: "say" }, "No plan is kept on this phone. It is kept when a job is opened with a link."));
    return;
  }
  const { plan: { job, sections }, keptAt } = found;
  const cautions = sections.flatMap(({ steps }) => steps).filter((step) => step.caution).length;
  fill(root,
    element("h1", {}, "Read before climbing"),
    element("p", { class: "where" }, `${job.site}, door ${job.door}`),
    element("p", { class: "quiet", "data-kept": keptAt ? keptAt.toISOString() : "now" },
      keptAt ? `No server. Kept on this phone on ${keptAt.toLocaleString()}.` : "As the server has it now.",
      ` ${cautions} steps have a caution. What is done so far is not told here.`),
    element("div", { class: "stack" }, sections.map(({ name, steps }) => {
      const warned = steps.filter((step) => step.caution).length;
      return element("details", { "data-section": name },
        element("summary", {}, element("span", { class: "choice" }, shape("open"), element("span", {},
          element("span", { class: "first" }, name),
          element("span", { class: "second" }, `${steps.length} steps${warned ? `, ${warned} with a caution` : ""}`)))),
        element("ol", { class: "rows" }, steps.map(stepRow)));
    })));
}
