// An element with its properties and children; text is always text, never markup.

export function element(name, properties = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (key === "class") node.className = value;
    else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (value !== false && value != null) node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.flat().filter((child) => child != null && child !== false));
  return node;
}

// Show these children and no others.
export function fill(root, ...children) {
  root.replaceChildren(...children.flat().filter((child) => child != null && child !== false));
}

// A button is inert for a moment after it appeared or may have moved, so that the second half of
// a double tap, or a finger already on its way, can't answer a question that wasn't read.
const INERT_MS = 400;
let moved_ms = 0;

// Something above the buttons came or went.
export function layoutMoved() {
  moved_ms = performance.now();
}

export function button(label, press, properties = {}) {
  const born_ms = performance.now();
  return element("button", {
    type: "button",
    ...properties,
    onclick: (event) => {
      if (performance.now() - Math.max(born_ms, moved_ms) >= INERT_MS) press(event);
    },
  }, label);
}
