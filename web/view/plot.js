// A reading against its limits: the allowed range as a band with an edge, the reading as a mark.
// What it shows is told in words too, for whoever doesn't see it.

const NAMESPACE = "http://www.w3.org/2000/svg";
const WIDE = 320, HIGH = 44, EDGE = 16, BAND = 14;
const DECADES_FROM = 20; // from this ratio on the scale counts in decades

function draw(name, properties) {
  const node = document.createElementNS(NAMESPACE, name);
  for (const [key, value] of Object.entries(properties)) node.setAttribute(key, value);
  return node;
}

// [left, right] of the scale and the function that places a value on it, 0 to 1.
export function scale(values) {
  const low = Math.min(...values), high = Math.max(...values);
  const decades = low > 0 && high / low >= DECADES_FROM;
  const at = decades ? Math.log10 : (value) => value;
  const room = (at(high) - at(low)) * 0.25 || Math.abs(at(high)) * 0.25 || 1;
  const left = at(low) - room, right = at(high) + room;
  return (value) => (at(value) - left) / (right - left);
}

// plot: {value, at_least or null, at_most or null}, all in one unit. Null without limits.
export function limitPlot(plot, passed, words) {
  const bounds = [plot?.at_least, plot?.at_most].filter((bound) => bound != null);
  if (!bounds.length) return null;
  const place = scale([plot.value, ...bounds]);
  const x = (value) => EDGE + place(value) * (WIDE - 2 * EDGE);
  const from = plot.at_least == null ? EDGE : x(plot.at_least);
  const to = plot.at_most == null ? WIDE - EDGE : x(plot.at_most);
  const svg = draw("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, class: "plot", role: "img", "aria-label": words });
  const middle = HIGH - BAND;
  svg.append(
    draw("path", { d: `M${EDGE} ${middle}H${WIDE - EDGE}`, class: "axis" }),
    draw("rect", { x: from, y: middle - BAND / 2, width: Math.max(to - from, 2), height: BAND, class: "band" }),
    ...bounds.map((bound) => draw("path", { d: `M${x(bound)} ${middle - BAND}V${middle + BAND}`, class: "limit" })));
  const mark = x(plot.value);
  // Told apart by shape: a wedge that points at the band, or a cross beside it.
  svg.append(passed
    ? draw("path", { d: `M${mark} ${middle}l-9 -20h18z`, class: "mark-in" })
    : draw("path", { d: `M${mark - 9} ${middle - 9}l18 18M${mark + 9} ${middle - 9}l-18 18`, class: "mark-out" }));
  return svg;
}
