// The fault guide while it is spoken to, and what of it is shown while the job's steps are.

import { button, element } from "./element.js";
import { shape } from "./shapes.js";
import { buttonGrid } from "./turns.js";

const LEAVE = {
  "out-of-service": "Out of service until it is found, repaired and tested.",
  "hold-to-run": "No automatic. Hold to run in sight of the door, or out of service.",
};

// Where in the guide: the check's number, while there is one.
export function guidePlace(step) {
  return step.number ? `Check ${step.number}` : "";
}

// What was seen or found, and what was told besides the question.
export function guideHead(fault) {
  const found = fault.phase === "repair" && fault.found;
  return [
    (found || fault.symptom) && element("p", { class: "seen" }, found ? `Found: ${fault.found}` : fault.symptom),
    found && element("p", { class: "limits", "data-fix": "" }, fault.fix),
    fault.told.length > 0 && element("div", { class: "told", "data-told": "" }, fault.told.map((text) => element("p", {}, text))),
  ];
}

// The likeliest causes as bars of one scale, told in words too.
export function causes(fault) {
  if (!fault.causes.length || !["check", "named"].includes(fault.phase)) return null;
  return element("section", { class: "causes", "aria-label": "Likeliest causes" },
    element("h2", {}, "Likeliest"),
    element("ol", {}, fault.causes.map(({ name, chance, tenths }) => {
      const words = tenths < 1 ? "under 1 in 10" : `${tenths} in 10`;
      const drawn = element("i");
      drawn.style.setProperty("width", `${100 * chance}%`);
      return element("li", {},
        element("span", { class: "part" }, element("b", {}, name), element("span", { class: "of-ten" }, words)),
        element("div", { class: "bar", "aria-hidden": "true" }, drawn));
    })));
}

export function leaveBanner(fault) {
  const text = LEAVE[fault.leave];
  return text && element("p", { class: "banner danger leave", "data-leave": fault.leave }, shape("alert"), text);
}

// Symptoms, folded under what they belong to: forty buttons are too many for one look.
export function symptoms(buttons, act) {
  const groups = new Map();
  for (const each of buttons.filter(({ group }) => group)) {
    groups.set(each.group, [...(groups.get(each.group) ?? []), each]);
  }
  return element("div", { class: "stack" }, [...groups].map(([name, seen]) =>
    element("details", { "data-group": name, name: "symptoms" },
      element("summary", {}, element("span", { class: "choice" }, shape("open"), element("span", { class: "first" }, name))),
      element("div", { class: "inside stack" }, seen.map(({ phrase, label }) =>
        button(label, () => act.touch(phrase), { "data-phrase": phrase }))))));
}

// The guide's answers first, its picture of the causes next, the rest below them.
export function guideButtons(step, fault, buttons, act) {
  const answers = new Set(step.answers);
  const own = buttons.filter(({ phrase }) => answers.has(phrase));
  const rest = buttons.filter(({ phrase, group }) => !answers.has(phrase) && !group);
  const short = own.length > 1 && own.every(({ label }) => label.length < 12);
  return [
    own.length > 0 && element("div", { class: "grid" }, own.map(({ phrase, label }) =>
      button(label, () => act.touch(phrase), { "data-phrase": phrase, class: short ? "key tall" : "key wide" }))),
    fault.phase === "symptom" && symptoms(buttons, act),
    causes(fault),
    leaveBanner(fault),
    buttonGrid(rest, [], act),
  ];
}

// Beside a step of the job: the search that waits for it, or that has ended.
export function guideNote(fault, finished) {
  if (!fault || fault.floor) return null;
  if (fault.phase === "over") {
    return finished && fault.found
      && element("p", { class: "limits", "data-fault": "over" }, `Fault found, repaired and tested: ${fault.found}.`);
  }
  if (finished && fault.retests.length) {
    return element("p", { class: "banner danger", "data-fault": "open" },
      `The fault isn't closed. Still to be tested: ${fault.retests.join("; ")}.`);
  }
  return fault.waits && element("p", { class: "mark", "data-fault": "waits" }, `Fault guide: waits for ${fault.waits}.`);
}
