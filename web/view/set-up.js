// Setting up a job: the door, who works, what is at the door, which parts. All by choice: nothing
// is typed.

import { folded, instrumentsPart, oneOf, optionsPart, supplyPart, terminalsPart, toggle } from "./door-form.js";
import { button, element, fill } from "./element.js";
import { duration } from "./progress.js";

const words = (name) => name.replaceAll("-", " ");
// What tells the sheets of one door from each other: the rest of the name after the shortest one.
function visit(sheet, sheets) {
  const names = sheets.filter(({ site, door }) => site === sheet.site && door === sheet.door).map(({ name }) => name);
  const shortest = names.reduce((one, other) => (other.length < one.length ? other : one));
  return sheet.name.startsWith(`${shortest}-`) ? `, ${words(sheet.name.slice(shortest.length + 1))}` : "";
}
const CREWS = { alone: ["lead"], two: ["lead", "helper"] };

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
      shown = form(await ask(`/api/sheets/${encodeURIComponent(name)}`), ask, act);
    } catch (problem) {
      shown = [element("p", {}, problem.message)];
    }
    if (wanted === name) fill(rest, ...shown); // another door may have been pressed meanwhile
  }
  const doors = sheets.map((sheet) => {
    const door = toggle(`Door ${sheet.door}${visit(sheet, sheets)}`, () => {
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

// People, what is at the door, and parts of one job, and the button that begins it.
function form(sheet, ask, act) {
  const crew = oneOf("crew", [["alone", "Lead alone"], ["two", "With a helper"]],
    sheet.people.length > 1 ? "two" : "alone", () => paint());
  const listening = oneOf("listening", [["open", "At any time"], ["push-to-talk", "Push to talk"]], sheet.listening);
  const supply = supplyPart(sheet), instruments = instrumentsPart(sheet);
  const options = optionsPart(sheet, () => terminals.again());
  const terminals = terminalsPart(sheet, (plan) =>
    ask(`/api/sheets/${encodeURIComponent(sheet.name)}/look`, { plan, changes: changes() }));
  const heard = () => (listening.chosen() === sheet.listening ? {} : { listening: listening.chosen() });
  const changes = () => ({ ...heard(), ...supply.changes(), ...options.changes(), ...instruments.changes() });

  const wanted = new Set(sheet.packs.map(({ name }) => name));
  const fits = (pack) => pack.people <= CREWS[crew.chosen()].length;
  const picked = () => sheet.packs.filter((pack) => wanted.has(pack.name) && fits(pack));
  const every = (on) => () => {
    for (const { name } of sheet.packs) on ? wanted.add(name) : wanted.delete(name);
    paint();
  };
  const parts = sheet.packs.map((pack) => [pack, toggle(pack.title, () => {
    if (!wanted.delete(pack.name)) wanted.add(pack.name);
    paint();
  }, { "data-part": pack.name })]);
  const summed = () => {
    const found = picked();
    return found.length
      ? `${found.length} of ${sheet.packs.length} parts, about ${duration(found.reduce((all, pack) => all + pack.minutes, 0))}`
      : "Choose one part or more.";
  };
  const sum = element("p", { class: "limits", "data-sum": "", "aria-live": "polite" });
  let begun = false;
  const begin = button("Begin the job", async () => {
    if (begun) return;
    begun = true; // a second press begins no second job
    const packs = picked().map(({ name }) => name);
    const changed = changes(), plan = terminals.plan();
    begun = await act.begin({
      job: sheet.name, people: CREWS[crew.chosen()],
      ...(packs.length === sheet.packs.length ? {} : { packs }),
      ...(Object.keys(changed).length ? { changes: changed } : {}),
      ...(plan ? { plan } : {}),
    });
  }, { class: "key", "data-act": "begin" });

  const partsPart = folded("parts", "Parts", summed, [
    element("div", { class: "grid" },
      button("All", every(true), { "data-act": "all-parts" }), button("None", every(false), { "data-act": "no-parts" })),
    element("div", { class: "stack" }, parts.map(([, { node }]) => node))]);

  function paint() {
    for (const [pack, row] of parts) {
      row.paint(wanted.has(pack.name) && fits(pack), fits(pack) ? duration(pack.minutes) : "Takes two people", !fits(pack));
    }
    sum.textContent = summed();
    begin.disabled = !picked().length;
    partsPart.dispatchEvent(new Event("painted"));
  }

  paint();
  return [
    element("h2", {}, "People"), crew.node,
    element("h2", {}, "Listening"), listening.node,
    element("p", { class: "quiet" }, "Push to talk: by the headset's button, or a finger anywhere beside the buttons."),
    element("h2", {}, "As it is at the door"),
    element("div", { class: "stack" }, supply.node, options.node, instruments.node, terminals.node, partsPart),
    element("div", { class: "stack" }, sum, begin),
  ];
}
