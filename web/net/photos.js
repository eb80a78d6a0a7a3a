// Pictures on their way to the record. One that the server couldn't be given waits in memory, with
// the time it was taken, and goes when the link is back. Event: "refused" {what, do}.

export class Photos extends EventTarget {
  #send; #waiting = []; #busy = false;

  // send: (path, jpeg) -> Response, as fetch.
  constructor(send) {
    super();
    this.#send = send;
  }

  get waiting() { return this.#waiting.length; }

  add(photo) {
    this.#waiting.push({ ...photo, at_ms: Date.now() });
    return this.go();
  }

  // Send what waits, oldest first. True if nothing is left.
  async go() {
    if (this.#busy) return false;
    this.#busy = true;
    try {
      while (this.#waiting.length) {
        const { job, device, step, jpeg, at_ms } = this.#waiting[0];
        const where = new URLSearchParams({ step, device, age_s: String((Date.now() - at_ms) / 1000) });
        const answer = await this.#send(`/api/jobs/${encodeURIComponent(job)}/photos?${where}`, jpeg);
        if (!answer.ok) {
          const told = await answer.json().catch(() => ({}));
          this.dispatchEvent(new CustomEvent("refused", {
            detail: { what: told.what ?? "The photo was not kept.", do: told.do ?? "Take it again." },
          }));
        }
        this.#waiting.shift();
      }
    } catch {
      return false; // no link: it waits
    } finally {
      this.#busy = false;
    }
    return true;
  }
}
