// Where the job stands: each part of the plan with what is done and the minutes that are left.

import { element, fill } from "./element.js";

// Minutes as a person would say them: rounded up, so that nobody is promised too little. A number
// and its unit stay on one line.
export function duration(minutes) {
  const whole = Math.ceil(minutes), hours = Math.floor(whole / 60);
  return [hours && `${hours} h`, (whole % 60 || !hours) && `${whole % 60} min`].filter(Boolean).join(" ").replaceAll(" ", "\u00a0");
}

function bar(done, steps, title) {
  const drawn = element("i");
  drawn.style.setProperty("width", `${steps ? (100 * done) / steps : 0}%`);
  return element("div", {
    class: "bar", role: "progressbar", "aria-label": title,
    "aria-valuemin": 0, "aria-valuemax": steps, "aria-valuenow": done, "aria-valuetext": `${done} of ${steps} steps`,
  }, drawn);
}

export function progressView(root, store) {
  store.watch((s) => [s.get("view")?.parts ?? [], s.get("view")?.step ?? null, s.get("link") === "open"], ([parts, step, linked]) => {
    const left = parts.reduce((sum, part) => sum + part.minutes_left, 0);
    const done = parts.reduce((sum, part) => sum + part.done, 0);
    const steps = parts.reduce((sum, part) => sum + part.steps, 0);
    fill(root,
      element("h1", {}, "Where are we"),
      !linked && element("p", { class: "banner caution" }, "No link. This was the state before it was lost."),
      step && element("p", { class: "where" }, `${step.section}, step ${step.number} of ${step.of}`),
      parts.length
        ? [
          element("p", { class: "limits", "data-left": "" },
            `${done} of ${steps} steps are done. About ${duration(left)} left.`),
          element("ol", { class: "rows" }, parts.map(({ name, title, done: ready, steps: all, minutes_left, now }) =>
            element("li", { "data-part": name, "aria-current": now ? "step" : false },
              element("span", { class: "part" },
                element("b", {}, title), now && element("span", { class: "now" }, "NOW")),
              bar(ready, all, title),
              element("span", { class: "under" },
                ready === all ? `Done, ${all} steps` : `${ready} of ${all} steps, about ${duration(minutes_left)} left`)))),
          element("p", { class: "quiet" }, "The minutes are an estimate of the plan. They measure nobody's work."),
        ]
        : element("p", { class: "quiet" }, "This job is worked as one part."));
  });
}
