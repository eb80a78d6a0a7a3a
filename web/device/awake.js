// Keeps the screen on while the job is open; the system may take it back, and then it is asked anew.
// Event: "change" {on}.

export class Awake extends EventTarget {
  #lock = null; #wanted = false;

  constructor() {
    super();
    document.addEventListener("visibilitychange", () => this.#ask());
  }

  get on() { return this.#lock !== null; }

  keep() {
    this.#wanted = true;
    return this.#ask();
  }

  async #ask() {
    if (!this.#wanted || this.#lock || document.visibilityState !== "visible") return;
    try {
      this.#lock = await navigator.wakeLock.request("screen");
    } catch {
      return; // the phone saves power, or knows no wake lock; the page works without
    }
    this.#lock.addEventListener("release", () => {
      this.#lock = null;
      this.#tell();
      this.#ask();
    });
    this.#tell();
  }

  #tell() {
    this.dispatchEvent(new CustomEvent("change", { detail: { on: this.on } }));
  }
}
