// What was heard last and what it was taken for.

import { element, fill } from "./element.js";
import { shape } from "./shapes.js";

const SIGNS = {
  heard: "tick", done: "tick", "not-understood": "question", refused: "bar", fail: "cross",
};

export function heardLine(root, store) {
  store.watch((s) => s.get("heard"), (heard) => {
    if (!heard) {
      fill(root, element("div", { class: "heard", "data-tone": "" }, element("span", {}, "Nothing heard yet.")));
      return;
    }
    const said = heard.text ? `“${heard.text}”` : "a sound";
    const [, why] = /^not understood: (.*)/.exec(heard.understood ?? "") ?? [];
    const plain = (words) => words.toLowerCase().replaceAll("-", " ");
    const taken = heard.understood && plain(heard.understood) !== plain(heard.text) ? ` → ${heard.understood}` : "";
    fill(root, element("div", { class: "heard", "data-tone": heard.tone },
      shape(SIGNS[heard.tone] ?? "listening", heard.tone),
      element("span", {}, heard.note ? heard.note : why ? `Not understood, ${why}: ${said}` : `Heard ${heard.who}: ${said}${taken}`)));
  });
}
