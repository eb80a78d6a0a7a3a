// The helper's page: only what the helper must do now, large. Whose answer counts is decided by
// the server; what isn't the helper's shows no answer at all.

import { button, element, fill } from "./element.js";
import { guideButtons, guideHead, guidePlace } from "./fault-guide.js";
import { enterable, keypad } from "./keypad.js";
import { readBack } from "./read-back.js";
import { signalPanel } from "./step-card.js";
import { buttonGrid, clearLine, waitsFor } from "./turns.js";

export function helperCard(root, view, act, redraw, entering) {
  const { step, pending, challenge, held, refused, buttons, finished, fault } = view;
  if (pending?.mine) return fill(root, readBack(step, pending, act));
  if (entering) return fill(root, keypad(step, () => redraw(false), act));
  const waits = waitsFor(refused);
  const yours = step && (step.mine || step.part) && !challenge && !pending && !waits;
  const owesClear = yours && step.mark && !step.marked && !step.clear.includes("helper");
  const answers = yours && step.mine ? (step.answers ?? []).filter(Boolean) : [];
  const wait = finished || !step ? "All steps are done."
    : waits || (pending ? `Wait. The ${pending.who} answers: ${pending.written}.` : "Wait. The lead is working.");
  return fill(root,
    element("div", { class: "place" },
      element("span", {}, step?.section ?? ""),
      step && element("span", { class: "number" }, fault?.floor ? guidePlace(step) : `Step ${step.number} of ${step.of}`)),
    fault?.floor && guideHead(fault),
    yours && signalPanel(step.caution),
    yours
      ? element("h1", { class: "say task", "data-task": step.id }, step.marked ? step.brief : step.part || step.say)
      : element("h1", { class: "say task", "data-wait": "" }, wait),
    yours && clearLine(step, "helper"),
    yours && step.limits && element("p", { class: "limits" }, `Limits: ${step.limits}`),
    yours && !held && !refused?.length && step.mine && enterable(step) && element("div", { class: "stack" },
      button(step.kind === "reading" ? "Enter the value" : "Enter the tag", () => redraw(true), { "data-act": "keypad" })),
    owesClear && !held
      ? element("div", { class: "grid" },
        button("All clear", () => act.touch("all clear"), { class: "key wide", "data-phrase": "all clear" }))
      : null,
    fault?.floor && !held && !pending ? guideButtons(step, fault, buttons, act) : buttonGrid(owesClear ? buttons?.filter(({ phrase }) => phrase !== "all clear") : buttons, answers, act));
}
