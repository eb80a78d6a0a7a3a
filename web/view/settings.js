// How this phone is held, seen and heard. Rate and volume are the job's, by the words that change
// them; the rest is kept on the phone.

import { button, element, fill } from "./element.js";

const press = (buttons, value) => buttons.forEach((each) =>
  each.setAttribute("aria-pressed", String(each.dataset.value === value)));

// One of several: a row of buttons of which one is pressed.
function choice(name, label, options, choose) {
  const buttons = options.map(([value, text]) => button(text, () => {
    press(buttons, value);
    choose(value);
  }, { "data-set": name, "data-value": value }));
  const group = element("section", { role: "group", "aria-label": label },
    element("h2", {}, label), element("div", { class: "grid" }, buttons));
  return { group, show: (value) => press(buttons, value) };
}

// A figure, and the two words that change it by a notch.
function notches(label, lower, higher, act) {
  const figure = element("p", { class: "limits", "aria-live": "polite" });
  const group = element("section", { role: "group", "aria-label": label },
    element("h2", {}, label), figure,
    element("div", { class: "grid" }, [lower, higher].map((phrase) =>
      button(phrase[0].toUpperCase() + phrase.slice(1), () => act.tell(phrase), { "data-tell": phrase }))));
  return { group, show: (text) => { figure.textContent = text; } };
}

export function settingsView(root, store, settings, act) {
  const rate = notches("Rate of speech", "slower", "faster", act);
  const volume = notches("Volume of speech", "quieter", "louder", act);
  const headset = choice("headset", "Headset", [["1", "Yes"], ["", "No"]], (value) => act.headset(value));
  const tones = choice("tones", "Tones", [["", "Loud"], ["soft", "Soft"]], (value) => settings.set("tones", value));
  const theme = choice("theme", "Screen", [["day", "Daylight"], ["night", "Night"], ["", "As the phone"]],
    (value) => settings.set("theme", value));
  const hand = choice("hand", "Hand that holds the phone", [["left", "Left"], ["right", "Right"]],
    (value) => settings.set("hand", value));
  tones.show(settings.get("tones"));
  theme.show(settings.get("theme"));
  hand.show(settings.get("hand") || "right");
  fill(root, element("h1", {}, "Settings"), rate.group, volume.group, tones.group, headset.group, theme.group, hand.group,
    element("p", { class: "quiet" }, "It mirrors the two buttons at the foot."));
  store.watch((s) => s.get("headset"), (on) => headset.show(on ? "1" : ""));
  store.watch((s) => s.get("view")?.speaking ?? null, (speaking) => {
    rate.show(speaking ? `${speaking.rate_wpm} words a minute` : "Not known without a link");
    volume.show(speaking ? `${Math.round(100 * speaking.volume)} %` : "Not known without a link");
  });
}
