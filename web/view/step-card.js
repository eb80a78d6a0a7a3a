// The step: one thing at a time. While something is pending or a gate asks for its challenge,
// that takes the step's place.

import { button, element, fill } from "./element.js";
import { gatePanel } from "./gate-panel.js";
import { helperCard } from "./helper-card.js";
import { guideButtons, guideHead, guideNote, guidePlace } from "./fault-guide.js";
import { enterable, keypad } from "./keypad.js";
import { readBack } from "./read-back.js";
import { shape } from "./shapes.js";
import { buttonGrid, clearLine, waitsFor } from "./turns.js";

const SIGNALS = { DANGER: "danger", WARNING: "warning", CAUTION: "caution", NOTICE: "notice" };

export function signalPanel(caution) {
  if (!caution) return null;
  return element("section", { class: "signal", "data-word": caution.word, "aria-label": caution.word },
    element("div", { class: `word ${SIGNALS[caution.word] ?? "warning"}` },
      // NOTICE is about things and not about injury: it bears no alert sign.
      caution.word !== "NOTICE" && shape("alert"), caution.word),
    element("p", {}, caution.text));
}

// Whom a step addresses, where that isn't plain: the lead reads nothing on a step for the lead.
function addressee(who, role) {
  if (who === "both") return "For both of you";
  if (who === role) return role === "helper" ? "For you" : "";
  return `For the ${who}`;
}

export function stepCard(root, store, act) {
  store.watch(
    (s) => {
      const view = s.get("view");
      if (!view || !s.get("started")) return null;
      return [
        view.step, view.pending, view.challenge, view.finished, view.buttons, view.held,
        view.refused, view.open_points?.length, view.listening, view.job, view.role, view.fault,
      ];
    },
    (shown) => draw(shown),
  );
  function draw(shown, entering = false) {
    if (!shown) return;
    const [step, pending, challenge, finished, buttons, held, refused, points, listening, job, role, fault] = shown;
    if (role === "helper") {
      helperCard(root, { step, pending, challenge, held, refused, buttons, finished, fault }, act,
        (next) => draw(shown, next), entering);
    } else if (pending && !pending.mine) {
      fill(root, element("h1", { class: "say", "data-wait": "" },
        `The ${pending.who} answers: ${pending.written}`), buttonGrid(buttons, [], act));
    } else if (pending) {
      fill(root, readBack(step, pending, act));
    } else if (challenge && !held) {
      fill(root, gatePanel(step, challenge, act), buttonGrid(buttons, [], act));
    } else if (entering) {
      fill(root, keypad(step, () => draw(shown), act));
    } else if (!step) {
      fill(root, element("h1", {}, finished ? "All steps are done" : job?.title ?? ""),
        finished && element("p", { class: "say" },
          points ? `${points} open points are on the list.` : "Nothing is left open."),
        guideNote(fault, finished),
        buttonGrid(buttons, [], act));
    } else {
      const answers = (step.answers ?? []).filter(Boolean);
      const entry = enterable(step) && !held && !refused?.length && element("div", { class: "stack" },
        button(step.kind === "reading" ? "Enter the value" : "Enter the tag", () => draw(shown, true),
          { "data-act": "keypad" }));
      fill(root,
        element("div", { class: "place" },
          element("span", {}, step.section),
          element("span", { class: "number" }, fault?.floor ? guidePlace(step) : `Step ${step.number} of ${step.of}`)),
        fault?.floor && guideHead(fault),
        signalPanel(step.caution),
        addressee(step.who, role) && element("p", {},
          element("span", { class: "for" }, addressee(step.who, role))),
        waitsFor(refused) && element("p", { class: "banner warning", "data-waits": "" }, waitsFor(refused)),
        element("h1", { class: "say" }, step.say),
        guideNote(fault, finished),
        clearLine(step, role),
        step.limits && element("p", { class: "limits" }, `Limits: ${step.limits}`),
        step.kind === "reading" && element("p", { class: "quiet" }, `Say the value in ${step.unit}, or enter it.`),
        listening === "push-to-talk" && element("p", { class: "talk" }, "Hold here, or anywhere, to talk"),
        entry,
        fault?.floor ? guideButtons(step, fault, buttons, act) : buttonGrid(buttons, answers, act));
    }
    root.closest("main")?.scrollTo(0, 0);
  }
}
