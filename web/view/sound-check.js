// How loud the place is and how far the voice stands above it, as the server hears them.

import { element, fill } from "./element.js";

export function soundCheckView(root, store) {
  let quiet = [], loud = [];
  const words = element("p", { class: "say" });
  const figures = element("p", { class: "limits" });
  fill(root, element("h1", {}, "Sound check"),
    element("p", {}, "Be silent for five seconds, then say a sentence as you would at work."),
    figures, words);
  const middle = (list) => [...list].sort((a, b) => a - b)[Math.floor(list.length / 2)];
  store.watch((s) => s.get("level"), (level) => {
    if (!level || !root.isConnected) return;
    (level.speaking ? loud : quiet).push(level.dbfs);
    quiet = quiet.slice(-40);
    loud = loud.slice(-20);
    if (!quiet.length || loud.length < 3) {
      figures.textContent = `Level ${Math.round(level.dbfs)} dB below full scale`.replace("-", "");
      return;
    }
    const above = Math.round(middle(loud) - middle(quiet));
    figures.textContent = `Your voice stands ${above} dB above the noise.`;
    words.textContent = above >= 10 ? "Good enough for voice."
      : above >= 5 ? "Noisy: speak close to the microphone and watch each read-back."
        : "Too loud here for gates by voice. Use the buttons for them.";
  });
}
