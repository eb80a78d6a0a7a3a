// Entry by touch of what would be said: the digits become the words of the spoken form.

import { button, element } from "./element.js";

const WORDS = {
  0: "zero", 1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven",
  8: "eight", 9: "nine", ".": "decimal", "−": "minus",
};
const LONGEST = { reading: 8, tag: 8 };

export const spoken = (digits) => [...digits].map((each) => WORDS[each]).join(" ");

// A line that shows what was entered, and the keys that enter it. `typed` is told each change.
export function digitKeys(longest, unit, more, typed) {
  let digits = "";
  const value = element("span", { "data-entered": true });
  const change = (next) => {
    digits = next.slice(0, longest);
    value.textContent = digits;
    typed(digits);
  };
  const key = (label) => button(label, () => change(digits + label), { "data-key": label });
  return [
    element("div", { class: "entry" },
      element("p", { class: "entered", "aria-live": "polite" }, value, unit && element("span", {}, unit)),
      button("⌫", () => change(digits.slice(0, -1)), { "data-key": "delete", "aria-label": "delete" })),
    element("div", { class: "keypad" }, [..."123456789"].map(key),
      more.length ? [key(more[0]), key("0"), key(more[1])] : [element("i"), key("0")]),
  ];
}

export const enterable = (step) => step.kind === "reading" || step.kind === "tag";

// Takes the step's place until the value is entered or the person goes back.
export function keypad(step, back, act) {
  const reading = step.kind === "reading";
  let digits = "";
  const send = () => {
    if (digits) act.typed(`${reading ? "" : "tag "}${spoken(digits)}`);
  };
  return element("section", { "aria-label": "entry" },
    digitKeys(LONGEST[step.kind], reading ? step.unit : "", reading ? [".", "−"] : [], (now) => { digits = now; }),
    element("div", { class: "pair" },
      button("Back", back, { "data-act": "keypad-back" }),
      button("Enter", send, { class: "key", "data-act": "enter" })));
}
