// Who is on the job: whose lock is on and whose device is there, always in sight where there are
// two; and the page from which the lead asks the helper in.

import { button, element, fill } from "./element.js";
import { shape } from "./shapes.js";

const capital = (word) => word[0].toUpperCase() + word.slice(1);
const presence = (device) => (device === "lost" ? "device lost" : device ? "" : "no device");
const lock = (tag) => (tag ? `lock ${tag}` : "no lock");

export function peopleBar(root, store) {
  store.watch((s) => s.get("view")?.people ?? [], (people) => {
    if (people.length < 2) return fill(root);
    return fill(root, element("div", { class: "people" }, people.map(({ role, tag, device }) =>
      element("div", {
        class: device === "lost" ? "person warning" : "person", "data-person": role,
        "data-device": device === "lost" ? "lost" : String(Boolean(device)), "data-tag": tag || "",
      },
      shape(device === "lost" ? "alert" : tag ? "locked" : "person"),
      element("span", {}, element("b", {}, capital(role)),
        // The sign before it says lock.
        device === "lost" ? " lost" : ` ${tag || "no lock"}`)))));
  });
}

export async function peopleView(root, store, ask, act) {
  const view = store.get("view");
  const lead = store.get("role") === "lead";
  const code = element("section", { class: "stack", "data-invite": "" });
  fill(root,
    element("h1", {}, "People"),
    element("ul", { class: "rows" }, (view?.people ?? []).map(({ role, tag, device }) =>
      element("li", {},
        element("span", { class: "name" }, role === view.role ? `${capital(role)}, you` : capital(role)),
        [lock(tag), presence(device)].filter(Boolean).join(", ")))),
    element("div", { class: "stack" },
      button(lead ? "Call the helper" : "Call the lead", () => act.touch("call helper"), { "data-phrase": "call helper" }),
      lead && view?.people.length > 1 && button("Hand over", () => act.touch("hand over"), { "data-phrase": "hand over" }),
      lead && view?.people.length > 1 && element("p", { class: "quiet" },
        "You change places with the helper. Every lock and the proof are then taken anew.")),
    lead && code);
  if (!lead) return;
  try {
    fill(code, invitation(await ask(`/api/pairing?job=${encodeURIComponent(store.get("job"))}`)));
  } catch (problem) {
    fill(code, element("p", {}, problem.message));
  }
}

function invitation({ url, code, qr, near, trust }) {
  return [
    element("h2", {}, "Ask the helper in"),
    element("p", {}, "Let the helper's phone scan this. It opens the job as helper."),
    square(qr),
    code && element("p", { class: "code", "data-code": code, "aria-label": [...code].join(" ") },
      code.match(/.{1,5}/g).map((part) => element("span", {}, part))),
    element("p", { class: "quiet", "data-url": url }, url),
    ...(trust ? [
      element("h2", {}, "A phone that is new here"),
      element("p", {}, "It has to trust this machine first, once. Let it scan this, then the one above."),
      square(trust.qr),
      element("p", { class: "quiet", "data-trust": trust.url }, trust.url),
    ] : []),
    near && element("p", { class: "banner caution" },
      "This server answers on this machine only: a phone can't reach it. Open the address in a second window here."),
  ];
}

// The code as the server computed it: always dark on light, as readers want it.
function square({ size, path }) {
  const drawn = shape("qr", "code to scan");
  drawn.setAttribute("class", "qr");
  drawn.setAttribute("viewBox", `0 0 ${size} ${size}`);
  const line = drawn.firstElementChild;
  line.setAttribute("d", path);
  line.setAttribute("stroke-width", "1");
  line.setAttribute("stroke-linejoin", "miter");
  line.setAttribute("stroke-linecap", "butt");
  return drawn;
}
