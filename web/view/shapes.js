// Signs told apart by their shape, drawn after the shapes of ISO 3864-1: triangle for a warning,
// square for a safe condition, disc for information. Stroke and fill follow the text colour.

const NAMESPACE = "http://www.w3.org/2000/svg";

const PATHS = {
  // Triangle with an arrow-headed bolt: electricity.
  live: "M24 4 46 44H2zM26 14 17 29h6l-3 11 12-15h-7z",
  // Triangle with a question mark: not known.
  unknown: "M24 4 46 44H2zM19 23a5 5 0 1 1 7.500 4.500q-2.500 1.500-2.500 4.500M24 37.500v2",
  // Triangle with an exclamation mark: general warning.
  alert: "M24 4 46 44H2zM24 17v14M24 36v3",
  // Square with a padlock.
  locked: "M3 3h42v42H3zM14 22h20v16H14zM18 22v-4a6 6 0 0 1 12 0v4",
  // Square with an open switch.
  isolated: "M3 3h42v42H3zM24 8v9M24 31v9M24 31 34 18",
  // Square with a tick: safe condition.
  safe: "M3 3h42v42H3zM12 25l9 9 16-19",
  listening: "M24 5a7 7 0 0 1 7 7v11a7 7 0 0 1-14 0V12a7 7 0 0 1 7-7zM11 22a13 13 0 0 0 26 0M24 35v8M16 43h16",
  deaf: "M24 5a7 7 0 0 1 7 7v11a7 7 0 0 1-14 0V12a7 7 0 0 1 7-7zM11 22a13 13 0 0 0 26 0M24 35v8M16 43h16M5 4 43 45",
  tick: "M6 25l12 12L42 10",
  cross: "M9 9l30 30M39 9 9 39",
  question: "M15 17a9 9 0 1 1 13 8q-4 2-4 8M24 39v3",
  bar: "M8 24h32",
  open: "M14 6l20 18-20 18",
  box: "M8 8h32v32H8z",
  person: "M24 6a8 8 0 1 1 0 16a8 8 0 1 1 0-16M8 44c0-10 7-16 16-16s16 6 16 16",
};

export function shape(name, label = "") {
  const svg = document.createElementNS(NAMESPACE, "svg");
  svg.setAttribute("viewBox", "0 0 48 48");
  if (label) {
    svg.setAttribute("role", "img");
    svg.setAttribute("aria-label", label);
  } else {
    svg.setAttribute("aria-hidden", "true");
  }
  const path = document.createElementNS(NAMESPACE, "path");
  path.setAttribute("d", PATHS[name] ?? PATHS.question);
  path.setAttribute("fill", "none");
  path.setAttribute("stroke", "currentColor");
  path.setAttribute("stroke-width", "4");
  path.setAttribute("stroke-linejoin", "round");
  path.setAttribute("stroke-linecap", "round");
  svg.append(path);
  return svg;
}
