// What the lead's and the helper's page share: whose turn it is, and the buttons.

import { button, element } from "./element.js";

// Why a step waits, if a device that it needs has dropped; "" otherwise.
export function waitsFor(refused) {
  const lost = (refused ?? []).filter((code) => code.startsWith("device-lost:")).map((code) => code.slice(12));
  return lost.length ? `Wait. The device of the ${lost.join(" and the ")} is lost.` : "";
}

// Before the mark: who has said all clear, and that this role waits for the other.
export function clearLine(step, role) {
  if (!step?.mark) return null;
  if (step.marked) return element("p", { class: "mark", "data-mark": "given" }, `Mark: ${step.mark}.`);
  if (!step.clear.includes(role)) return null;
  return element("p", { class: "mark", "data-mark": "waits" }, "You are clear. Wait for the mark.");
}

// Every phrase that can be touched now; the step's own answers are wide. Stop work has its own
// place at the foot of the page.
export function buttonGrid(buttons, answers, act) {
  const own = new Set([...answers, "go ahead", "all clear"]);
  return element("div", { class: "grid" },
    (buttons ?? []).filter(({ phrase }) => phrase !== "stop work").map(({ phrase, label }) =>
      button(label, () => act.touch(phrase), {
        "data-phrase": phrase,
        class: own.has(phrase) ? "key wide" : "",
      })));
}
