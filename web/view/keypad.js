// Entry by touch of what would be said: the digits become the words of the spoken form.

import { button, element } from "./element.js";

const WORDS = {
  0: "zero", 1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven",
  8: "eight", 9: "nine", ".": "decimal", "−": "minus",
};
const LONGEST = { reading: 10, tag: 8 };

export const spoken = (digits) => [...digits].map((each) => WORDS[each]).join(" ");

// Keys for digits and some more, writing into `shown`.
export function digitKeys(shown, longest, more) {
  const put = (key) => {
    if (shown.textContent.length < longest) shown.textContent += key;
  };
  const key = (label, press = () => put(label), name = label) =>
    button(label, press, { "data-key": name, "aria-label": name });
  return element("div", { class: "keypad" },
    [..."123456789"].map((digit) => key(digit)),
    more.map((each) => key(each)),
    key("0"),
    key("⌫", () => { shown.textContent = shown.textContent.slice(0, -1); }, "delete"));
}

export function keypad(step, act) {
  if (step.kind !== "reading" && step.kind !== "tag") return null;
  const reading = step.kind === "reading";
  const panel = element("div", { class: "stack" });
  const closed = () => [
    button(reading ? "Enter the value" : "Enter the tag", () => panel.replaceChildren(...open()),
      { "data-act": "keypad" }),
  ];
  const open = () => {
    const entered = element("p", { class: "entered", "aria-live": "polite" });
    const send = () => {
      if (!entered.textContent) return;
      if (act.typed(`${reading ? "" : "tag "}${spoken(entered.textContent)}`)) {
        panel.replaceChildren(...closed());
      }
    };
    return [
      entered,
      digitKeys(entered, LONGEST[step.kind], reading ? [".", "−"] : []),
      button(reading ? `Enter in ${step.unit}` : "Enter", send, { class: "key", "data-act": "enter" }),
    ];
  };
  panel.append(...closed());
  return panel;
}
