// What is always shown: the energy state, and whether the server's ear is open.

import { element, fill } from "./element.js";
import { shape } from "./shapes.js";

// State -> signal colour, shape, words, what it means for hands.
const ENERGY = {
  unknown: ["danger", "unknown", "Power unknown", "Treat everything as live"],
  isolated: ["warning", "isolated", "Off, not locked", "Treat as live"],
  locked: ["warning", "locked", "Locked, not proven", "Treat as live"],
  "proven-dead": ["safe", "safe", "Proven dead", "Locked and measured"],
  released: ["danger", "alert", "Released", "Power may come at any moment"],
  energised: ["danger", "live", "Live", "Keep hands and tools out"],
};

const clock = (seconds) => {
  const whole = Math.ceil(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
};

export function energyBar(root, store) {
  store.watch((s) => [s.get("view")?.energy ?? null, s.get("link") === "open"], ([energy, linked]) => {
    // Without a link the proof may be void by now, and unknown is live.
    const state = linked && energy ? energy.state : "unknown";
    const [colour, sign, words] = ENERGY[state] ?? ENERGY.unknown;
    const last = !linked && energy && energy.state !== "unknown" && ENERGY[energy.state]?.[2];
    const meaning = last ? `No link. Was: ${last.toLowerCase()}` : (ENERGY[state] ?? ENERGY.unknown)[3];
    const left = linked && energy?.wait_left_s;
    const bar = element("div", { class: `energy ${colour}`, "data-state": state },
      shape(sign),
      element("div", {}, element("b", {}, words), element("span", {}, meaning)),
      left > 0 && element("span", { class: "left", "aria-label": "waiting time left" }, clock(left)));
    fill(root, bar);
  });
}

const WHY = {
  start: "Not started",
  link: "Not listening: no link",
  mic: "Not listening: no microphone",
  slow: "Not listening: link too slow",
  reply: "Not listening: speaking",
  "push-to-talk": "Not listening: hold to talk",
  quiet: "Not listening: no sound arrives",
  "touch-only": "Not listening: touch only",
};
const OPEN = { open: "Listening", "attention-word": "Listening for the attention word", "push-to-talk": "Listening" };

// Why nothing that is said now counts, or "" while it does.
export function deafBecause(store) {
  if (!store.get("started")) return "start";
  if (store.get("link") !== "open") return "link";
  if (!store.get("mic")) return "mic";
  if (store.get("slow")) return "slow";
  const level = store.get("level");
  if (!level) return "quiet";
  return level.open ? "" : level.why || "quiet";
}

export function earBar(root, store) {
  const meter = element("i");
  store.watch((s) => [deafBecause(s), s.get("view")?.listening, s.get("level")?.speaking ?? false],
    ([why, mode, speaking]) => {
      const words = why ? WHY[why] ?? "Not listening" : speaking ? "Hearing you" : OPEN[mode] ?? "Listening";
      fill(root, element("div", { class: why ? "ear off" : "ear", "data-open": String(!why) },
        shape(why ? "deaf" : "listening"),
        element("span", { class: "words" }, words),
        element("div", { class: "meter", role: "img", "aria-label": "sound level" }, meter)));
    });
  store.watch((s) => (deafBecause(s) === "mic" ? -99 : s.get("level")?.dbfs ?? -99), (dbfs) => {
    // -60 dB to full scale fills the bar.
    meter.style.setProperty("width", `${Math.max(0, Math.min(100, (dbfs + 60) / 0.6))}%`);
  });
}
