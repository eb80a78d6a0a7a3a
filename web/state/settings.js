// What is set on this phone and kept there: "theme", "hand", "headset", "tones", each "" until it is set.
// "change" {name, value} tells of a new one.

export class Settings extends EventTarget {
  get(name) { return localStorage.getItem(name) ?? ""; }

  set(name, value) {
    if (value) localStorage.setItem(name, value);
    else localStorage.removeItem(name);
    this.dispatchEvent(new CustomEvent("change", { detail: { name, value } }));
  }
}
