// What the camera sees, until the picture is taken.

import { button, element, fill } from "./element.js";

export function photoView(root, act) {
  const video = element("video", { class: "camera", "aria-label": "what the camera sees" });
  fill(root,
    element("h1", {}, "Photo"),
    video,
    element("div", { class: "stack" },
      button("Take it now", act.shoot, { class: "key", "data-act": "shoot" }),
      button("No photo", act.noPhoto, { "data-act": "no-photo" })));
  return video;
}
