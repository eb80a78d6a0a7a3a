// From "take photo" to a picture on its way: the camera opens at once, so that it has settled when
// the count that is spoken comes to its end.

const SETTLE_MS = 1500;
const COUNT_MS = 4000; // so long at least, also where no voice counts, to hold still or call it off
const LONGEST_MS = 9000; // a reply that never ends

export class Shooting {
  #camera; #ready = null; #where = null; #guard = 0; #begun_ms = 0;

  constructor(camera) {
    this.#camera = camera;
  }

  get on() { return this.#where !== null; }

  // where: {job, device, step}. Resolves when the camera shows; throws what Camera.open throws.
  begin(where, video, late) {
    this.end();
    this.#where = where;
    this.#begun_ms = performance.now();
    this.#ready = this.#camera.open(video).then(() => new Promise((resolve) => setTimeout(resolve, SETTLE_MS)));
    this.#guard = setTimeout(late, LONGEST_MS);
    return this.#ready;
  }

  // As `shoot`, when the count is over.
  async count() {
    const where = this.#where;
    await new Promise((resolve) => setTimeout(resolve, COUNT_MS - (performance.now() - this.#begun_ms)));
    return where === this.#where ? this.shoot() : null;
  }

  // The picture with where it belongs, or null if there is none to take.
  async shoot() {
    const where = this.#where;
    if (!where) return null;
    this.#where = null; // one picture a request
    clearTimeout(this.#guard);
    try {
      await this.#ready;
      return { ...where, jpeg: await this.#camera.shoot() };
    } finally {
      this.#camera.close();
    }
  }

  end() {
    clearTimeout(this.#guard);
    this.#where = null;
    this.#camera.close();
  }
}
