// Choosing a job, or going to set one up, and one's role in it.

import { button, element, fill } from "./element.js";

const when = (wall) => (wall ? wall.slice(0, 16).replace("T", " at ") : "earlier");

export async function jobsView(root, store, ask, act) {
  fill(root, element("h1", {}, "Jobs"), element("p", { class: "quiet" }, "Reading…"));
  try {
    const { jobs } = await ask("/api/jobs");
    const roles = element("div", { class: "grid" }, ["lead", "helper"].map((role) =>
      button(role === "lead" ? "I lead" : "I help", () => act.role(role),
        { "aria-pressed": String(store.get("role") === role), "data-role": role })));
    fill(root,
      element("h1", {}, "Your part"), roles,
      element("div", { class: "stack" }, button("Set up a new job", () => act.go("set-up"), { "data-go": "set-up" })),
      element("h2", {}, "On record"),
      element("div", { class: "stack" }, jobs.length
        ? jobs.map(({ id, title, started_wall }) => button(
          [element("span", { class: "first" }, title || id),
            element("span", { class: "second" }, `${id.replace(/-\d{12}.*$/, "")}, begun ${when(started_wall)}`)],
          () => act.job(id), { "data-job": id }))
        : element("p", { class: "quiet" }, "No job yet.")));
  } catch (problem) {
    fill(root, element("h1", {}, "Jobs"), element("p", {}, problem.message));
  }
}
