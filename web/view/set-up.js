// Setting up a job: the door, who works, which parts. All by choice, nothing is typed.

import { button, element, fill } from "./element.js";
import { duration } from "./progress.js";
import { shape } from "./shapes.js";

const words = (name) => name.replaceAll("-", " ");
const CREWS = { alone: ["lead"], two: ["lead", "helper"] };

// A button that is chosen or not. It is repainted in place: a new one would be inert for a moment
// and would lose the focus.
function toggle(first, press, properties) {
  const sign = element("span"), second = element("span", { class: "second" });
  const node = button([element("span", { class: "choice" }, sign,
    element("span", {}, element("span", { class: "first" }, first), second))], press, properties);
  const paint = (on, text, disabled = false) => {
    fill(sign, shape(on ? "tick" : "box"));
    second.textContent = text;
    node.setAttribute("aria-pressed", String(on));
    node.disabled = disabled;
  };
  return { node, paint };
}

export async function setUpView(root, ask, act) {
  fill(root, element("h1", {}, "Set up a job"), element("p", { class: "quiet" }, "Reading…"));
  let sheets;
  try {
    sheets = (await ask("/api/sheets")).doors;
  } catch (problem) {
    fill(root, element("h1", {}, "Set up a job"), element("p", {}, problem.message));
    return;
  }
  const rest = element("div");
  let wanted = "";
  async function open(name) {
    wanted = name;
    fill(rest, element("p", { class: "quiet", role: "status" }, "Reading…"));
    let shown;
    try {
      shown = form(await ask(`/api/sheets/${encodeURIComponent(name)}`), act);
    } catch (problem) {
      shown = [element("p", {}, problem.message)];
    }
    if (wanted === name) fill(rest, ...shown); // another door may have been pressed meanwhile
  }
  const doors = sheets.map((sheet) => {
    const door = toggle(`Door ${sheet.door}`, () => {
      for (const other of doors) other.paint(other === door);
      open(sheet.name);
    }, { "data-sheet": sheet.name });
    const { node, paint: whole } = door;
    return Object.assign(door, { node, paint: (on) => whole(on, `${words(sheet.door_type)}, ${sheet.site}`) });
  });
  for (const door of doors) door.paint(false);
  fill(root, element("h1", {}, "Set up a job"), element("h2", {}, "Door"),
    doors.length
      ? element("div", { class: "stack" }, doors.map(({ node }) => node))
      : element("p", { class: "quiet" }, "No job sheet is on this server."),
    rest);
}

// People and parts of one door, and the button that begins its job.
function form(sheet, act) {
  let crew = sheet.people.length > 1 ? "two" : "alone";
  let begun = false;
  const wanted = new Set(sheet.packs.map(({ name }) => name));
  const fits = (pack) => pack.people <= CREWS[crew].length;
  const picked = () => sheet.packs.filter((pack) => wanted.has(pack.name) && fits(pack));
  const every = (on) => () => {
    for (const { name } of sheet.packs) on ? wanted.add(name) : wanted.delete(name);
    paint();
  };

  const people = Object.keys(CREWS).map((name) => button(name === "two" ? "With a helper" : "Lead alone",
    () => { crew = name; paint(); }, { "data-crew": name }));
  const parts = sheet.packs.map((pack) => [pack, toggle(pack.title, () => {
    if (!wanted.delete(pack.name)) wanted.add(pack.name);
    paint();
  }, { "data-part": pack.name })]);
  const sum = element("p", { class: "limits", "data-sum": "", "aria-live": "polite" });
  const begin = button("Begin the job", async () => {
    if (begun) return;
    begun = true; // a second press begins no second job
    const packs = picked().map(({ name }) => name);
    const all = packs.length === sheet.packs.length;
    begun = await act.begin({ job: sheet.name, people: CREWS[crew], ...(all ? {} : { packs }) });
  }, { class: "key", "data-act": "begin" });

  function paint() {
    for (const each of people) each.setAttribute("aria-pressed", String(each.dataset.crew === crew));
    for (const [pack, row] of parts) {
      row.paint(wanted.has(pack.name) && fits(pack), fits(pack) ? duration(pack.minutes) : "Takes two people", !fits(pack));
    }
    const found = picked();
    sum.textContent = found.length
      ? `${found.length} of ${sheet.packs.length} parts, about ${duration(found.reduce((all, pack) => all + pack.minutes, 0))}`
      : "Choose one part or more.";
    begin.disabled = !found.length;
  }

  paint();
  return [
    element("h2", {}, "People"), element("div", { class: "grid" }, people),
    element("h2", {}, "Parts"),
    element("div", { class: "grid" },
      button("All", every(true), { "data-act": "all-parts" }), button("None", every(false), { "data-act": "no-parts" })),
    element("div", { class: "stack" }, parts.map(([, { node }]) => node)),
    element("div", { class: "stack" }, sum, begin),
  ];
}
