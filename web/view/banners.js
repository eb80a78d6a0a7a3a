// What outweighs the step: a lost link, work held, an error, a refused microphone.

import { button, element, fill, layoutMoved } from "./element.js";

const HELD = {
  "stop-work": ["Work stopped", "Nothing goes on until the lead says go ahead."],
  "stand-by": ["Standing by", "Say or press go ahead to carry on."],
  emergency: ["Emergency", "Call for help. Cut the power only if you can reach the switch safely."],
};

export function banners(root, store, act) {
  let shown = "";
  store.watch(
    (s) => [s.get("link"), s.get("view")?.held ?? null, s.get("error"), s.get("micProblem"), s.get("ring")],
    ([link, held, error, micProblem, ring]) => {
      const found = [];
      if (link === "lost") {
        found.push(element("div", { class: "banner danger", role: "alert", "data-banner": "link" },
          element("b", {}, "Link lost"),
          "Nothing you say or press is taken. What you see may be old. Trying again…"));
      } else if (link === "taken-over") {
        found.push(element("div", { class: "banner danger", role: "alert", "data-banner": "link" },
          element("b", {}, "Open in another window"),
          "This window is no longer connected.",
          button("Use this window", act.reconnect)));
      }
      if (held) {
        const [head, text] = HELD[held] ?? ["Held", ""];
        found.push(element("div", { class: "banner danger", role: "alert", "data-banner": "held" },
          element("b", {}, head), text));
      }
      if (ring) {
        found.push(element("div", { class: "banner notice", role: "alert", "data-banner": "ring" },
          element("b", {}, `The ${ring} calls you`),
          button("I come", act.closeRing)));
      }
      if (error) {
        found.push(element("div", { class: "banner caution", role: "alert", "data-banner": "error" },
          element("b", {}, error.what), error.do,
          button("Close", act.closeError)));
      }
      if (micProblem) {
        found.push(element("div", { class: "banner caution", role: "alert", "data-banner": "mic" },
          element("b", {}, micProblem.what), micProblem.remedy,
          button("Try again", act.openMicrophone)));
      }
      const kinds = found.map((banner) => banner.dataset.banner).join();
      if (kinds !== shown) layoutMoved();
      shown = kinds;
      fill(root, ...found);
    });
}
