// A gate's challenge: the digits to say, and the press-and-hold for a site too loud to hear.
// Whether the press was long enough and the digits right is decided by the server.

import { button, element } from "./element.js";
import { digitKeys } from "./keypad.js";
import { signalPanel } from "./step-card.js";

export function gatePanel(step, challenge, act) {
  const panel = element("section", { class: "gate", "data-gate": challenge.phrase });
  const spoken = () => [
    element("div", { class: "place" },
      element("span", {}, step?.section ?? ""),
      element("span", { class: "number" }, step ? `Step ${step.number} of ${step.of}` : "")),
    signalPanel(step?.caution),
    element("h1", { class: "say" }, `Say “${challenge.phrase.replaceAll("-", " ")}” and the digits`),
    element("p", { class: "digits", "aria-label": challenge.digits.split("").join(" ") },
      [...challenge.digits].map((digit) => element("span", {}, digit))),
    element("div", { class: "stack" },
      button("Too loud? Use touch", () => show(touched), { "data-act": "gate-touch" })),
  ];
  const toVoice = () => button("Back to voice", () => show(spoken));
  const touched = () => [
    element("h1", {}, `Enter ${[...challenge.digits].join(" ")}`),
    ...digitKeys(challenge.digits.length, "", [], (digits) => {
      if (digits.length === challenge.digits.length) show(() => entered(digits));
    }),
    element("div", { class: "stack" }, toVoice()),
  ];
  const entered = (digits) => [
    element("p", { class: "digits", "data-entered": digits }, [...digits].map((each) => element("span", {}, each))),
    holdButton(challenge, digits, act),
    element("div", { class: "pair" },
      button("Enter again", () => show(touched)), toVoice()),
  ];
  const show = (part) => {
    panel.replaceChildren(...part().filter(Boolean));
    panel.closest("main")?.scrollTo(0, 0);
  };
  show(spoken);
  return panel;
}

function holdButton(challenge, digits, act) {
  const words = element("span", {}, "Press and hold until the bar is full");
  const hold = element("button", { type: "button", class: "hold key", "data-act": "hold" }, words, element("i"));
  hold.style.setProperty("--hold", `${(challenge.hold_s ?? 1.5) + 0.2}s`);
  let since = 0;
  const end = (cancelled) => {
    if (!since) return;
    const held_s = (performance.now() - since) / 1000;
    since = 0;
    hold.classList.remove("down");
    words.textContent = "Press and hold until the bar is full";
    if (cancelled) act.gateCancel();
    else act.gateRelease(held_s);
  };
  const begin = () => {
    if (since || !act.gatePress(challenge.phrase, digits)) return;
    since = performance.now();
    hold.classList.add("down");
    words.textContent = "Holding…";
  };
  hold.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    hold.setPointerCapture(event.pointerId);
    begin();
  });
  hold.addEventListener("pointerup", (event) => {
    const box = hold.getBoundingClientRect();
    const inside = event.clientX >= box.left && event.clientX <= box.right
      && event.clientY >= box.top && event.clientY <= box.bottom;
    end(!inside);
  });
  hold.addEventListener("pointercancel", () => end(true));
  hold.addEventListener("contextmenu", (event) => event.preventDefault());
  hold.addEventListener("keydown", (event) => {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault();
    if (!event.repeat) begin();
  });
  hold.addEventListener("keyup", (event) => {
    if (event.key === " " || event.key === "Enter") end(false);
  });
  hold.addEventListener("blur", () => end(true));
  document.addEventListener("visibilitychange", () => end(true));
  return hold;
}
