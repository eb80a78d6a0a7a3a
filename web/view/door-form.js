// What is at the door, as far as it differs from its sheet: supply, options, instruments, terminal
// plan. Each part has a node, and tells what was changed; nothing is judged here but by the server.

import { button, element, fill } from "./element.js";
import { shape } from "./shapes.js";

const words = (name) => name.replaceAll("-", " ");
const unbroken = (text) => text.replaceAll(" ", "\u00a0"); // a number and its unit on one line
const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);

const SYSTEMS = {
  "three-phase": "Three-phase", "three-phase-neutral": "Three-phase with neutral",
  "single-phase": "Single-phase", "two-phase-lines": "Two lines of three",
};
const VOLTS = ["120 V", "208 V", "230 V", "240 V", "277 V", "400 V", "480 V", "575 V", "600 V"];
const KINDS = [
  "multimeter and contact tester", "low-ohm and insulation tester", "clamp meter", "torque screwdriver", "force gauge",
];
const PLAN_MAX_BYTES = 40_000;

// A button that is chosen or not. It is repainted in place: a new one would be inert for a moment
// and would lose the focus.
export function toggle(first, press, properties) {
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

// One of several, in a grid of buttons. chosen() tells which.
export function oneOf(name, options, first, changed = () => {}, look = "grid") {
  let value = first;
  const buttons = options.map(([key, label]) => button(label, () => {
    value = key;
    paint();
    changed();
  }, { [`data-${name}`]: key }));
  const paint = () => buttons.forEach((each, i) => each.setAttribute("aria-pressed", String(options[i][0] === value)));
  paint();
  return { node: element("div", { class: look }, buttons), chosen: () => value };
}

export function supplyPart(sheet) {
  const volts = VOLTS.includes(sheet.supply.nominal) ? VOLTS : [sheet.supply.nominal, ...VOLTS];
  const own = (list) => list.map((each) => [each, each]);
  const system = oneOf("system", Object.entries(SYSTEMS), sheet.supply.system, () => {}, "choices");
  const nominal = oneOf("volts", own(volts), sheet.supply.nominal);
  const frequency = oneOf("hertz", own(["50 Hz", "60 Hz"]), sheet.supply.frequency);
  const chosen = () => ({ system: system.chosen(), nominal: nominal.chosen(), frequency: frequency.chosen() });
  return {
    node: folded("supply", "Supply", () => `${SYSTEMS[chosen().system]}, ${unbroken(chosen().nominal)}, ${unbroken(chosen().frequency)}`,
      [element("p", { class: "quiet" }, "Volts between lines; single-phase, from line to neutral."), system.node, nominal.node, frequency.node]),
    changes: () => (same(chosen(), sheet.supply) ? {} : { supply: chosen() }),
  };
}

export function optionsPart(sheet, changed) {
  const fitted = new Set(sheet.options);
  const row = (name) => {
    const { node, paint } = toggle(words(name), () => {
      if (!fitted.delete(name)) fitted.add(name);
      paint(fitted.has(name), "");
      changed();
    }, { "data-option": name });
    paint(fitted.has(name), "");
    return node;
  };
  const chosen = () => sheet.known_options.filter((name) => fitted.has(name));
  const other = sheet.known_options.filter((name) => !fitted.has(name));
  return {
    node: folded("options", "Options", () => `${fitted.size} fitted`, [
      element("p", { class: "quiet" }, "Take away what is not fitted: its steps and tests are left out."),
      element("div", { class: "choices" }, sheet.options.map(row)),
      element("h3", {}, "Not on the sheet"),
      element("p", { class: "quiet" }, "One that is fitted after all needs its lines in the terminal plan, some need facts on the sheet."),
      element("div", { class: "choices" }, other.map(row)),
    ]),
    changes: () => (same(chosen(), [...sheet.options].sort()) ? {} : { options: chosen() }),
  };
}

export function instrumentsPart(sheet) {
  const listed = sheet.instruments.map((each) => ({ ...each, here: true }));
  const list = element("div", { class: "stack" });
  const given = () => listed.filter(({ here }) => here).map(({ id, kind, calibration_due }) => ({ id, kind, calibration_due }));
  function add(each) {
    const { node, paint } = toggle(`${each.id}, ${each.kind}`, () => {
      each.here = !each.here;
      paint(each.here, each.here ? "Is here" : "Is not here");
    }, { "data-instrument": each.id });
    paint(each.here, "Is here");
    const due = element("input", {
      type: "date", value: each.calibration_due, "data-due": each.id, onchange: () => { each.calibration_due = due.value; },
    });
    list.append(element("div", { class: "stack" }, node, element("label", {}, `Calibration of ${each.id} holds until`, due)));
  }
  listed.forEach(add);
  const kinds = element("div", { class: "choices" }, KINDS.map((kind) => button(kind, () => {
    const letter = kind.startsWith("torque") ? "T" : kind.startsWith("force") ? "G" : "M";
    const numbers = listed.map(({ id }) => Number(id.match(/^[A-Z]-(\d+)$/)?.[1] ?? 0));
    const each = { id: `${letter}-${Math.max(0, ...numbers) + 1}`, kind, calibration_due: "", here: true };
    listed.push(each);
    add(each);
  }, { "data-add": kind })));
  return {
    node: folded("instruments", "Instruments", () => given().map(({ id }) => id).join(", ") || "none",
      [list, element("h3", {}, "Add one"), kinds]),
    changes: () => (same(given(), sheet.instruments.map(({ id, kind, calibration_due }) => ({ id, kind, calibration_due })))
      ? {} : { instruments: given() }),
  };
}

// look(plan): what the server says of it, {lines, faults}.
export function terminalsPart(sheet, look) {
  let plan = null;
  const told = element("div", { role: "status", "aria-live": "polite" });
  const file = element("input", { type: "file", accept: ".csv,.yaml,.yml", hidden: true, "data-file": "", onchange: take });
  const own = () => (plan ? plan.name : `${sheet.lines} lines, from the sheet`);

  async function take() {
    const [given] = file.files;
    if (!given) return undefined;
    plan = null;
    file.value = ""; // so that the same file, put right, can be chosen again
    if (given.size > PLAN_MAX_BYTES) {
      return tell(`${given.name} has ${Math.ceil(given.size / 1000)} kB. Leave only the lines of this door in it, 40 kB at most.`);
    }
    const bytes = new Uint8Array(await given.arrayBuffer());
    plan = { name: given.name, base64: btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join("")) };
    return again();
  }

  async function again() {
    if (!plan) return;
    try {
      const { lines, faults } = await look(plan);
      tell(faults.length ? "" : `${plan.name}: ${lines} lines, no fault found.`, faults.length && [
        element("p", { class: "limits caution" }, `${plan.name}: ${lines} lines, ${faults.length} to put right before anyone climbs.`),
        element("ol", { class: "rows" }, faults.map(({ line, problem }) => element("li", {}, `Line ${line}: ${problem}.`)))]);
    } catch (problem) {
      plan = null;
      tell(`Not taken. ${problem.message}`);
    }
    node.dispatchEvent(new Event("painted"));
  }

  function tell(text, more = []) {
    fill(told, text && element("p", { class: "limits", "data-told": "" }, text), more || []);
  }

  const node = folded("terminals", "Terminal plan", own, [
    element("p", {}, "From the maker's own sheet, as a CSV or YAML file with device, conductor, terminal, voltage_class."),
    element("div", { class: "stack" }, button("Choose the file", () => file.click(), { "data-act": "file" }), file), told]);
  return { node, plan: () => plan, again };
}

// A part that opens: its heading, and what stands in it told in a line.
export function folded(name, title, told, children) {
  const second = element("span", { class: "second" }, told());
  const node = element("details", { "data-of": name },
    element("summary", {}, element("span", { class: "choice" }, shape("open"), element("span", {},
      element("span", { class: "first" }, title), second))),
    element("div", { class: "inside" }, children));
  const paint = () => { second.textContent = told(); };
  for (const kind of ["click", "change", "painted"]) node.addEventListener(kind, paint);
  return node;
}
