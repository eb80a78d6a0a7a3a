// The last state from the server, and what this device knows of itself. Views read it and
// listen for "change"; only app.js writes.

export class Store extends EventTarget {
  #values;

  constructor(values) {
    super();
    this.#values = values;
  }

  get(name) { return this.#values[name]; }

  set(values) {
    const changed = Object.keys(values).filter((name) => values[name] !== this.#values[name]);
    if (!changed.length) return;
    Object.assign(this.#values, values);
    this.dispatchEvent(new CustomEvent("change", { detail: changed }));
  }

  // Call `draw` now and whenever what `pick` returns is another value, compared as JSON, so
  // that a button under a finger isn't replaced by an equal one.
  watch(pick, draw) {
    let before;
    const look = () => {
      const picked = pick(this);
      const now = JSON.stringify(picked) ?? "";
      if (now === before) return;
      before = now;
      draw(picked);
    };
    this.addEventListener("change", look);
    look();
  }
}
