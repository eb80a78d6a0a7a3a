// Frames of 40 ms -> what is sent at once: four together while it is quiet, each by itself as soon
// as it gets louder. Whoever speaks isn't kept waiting, and most of a day is quiet: every frame
// costs the link, the battery and the server as much as four do together.

const TOGETHER = 4;
const LOUDER = 2; // 6 dB above the quietest lately
const STAYS = 50; // frames (2 s): longer than the silence that ends an answer
const RISE = 1.01; // of the floor, a frame (2 dB a second): a compressor that starts becomes quiet
const LOWEST = 3; // steps of 16 bits: below it is a microphone's own noise

export class Bundler {
  #held = []; #floor = Infinity; #prompt = 0;

  // frame: Int16Array. Returns an Int16Array to be sent, or null.
  push(frame) {
    let squares = 0;
    for (const sample of frame) squares += sample * sample;
    const level = Math.max(LOWEST, Math.sqrt(squares / frame.length));
    if (level > this.#floor * LOUDER) this.#prompt = STAYS;
    this.#floor = Math.min(level, this.#floor * RISE);
    this.#held.push(frame);
    this.#prompt = Math.max(-1, this.#prompt - 1);
    return this.#prompt >= 0 || this.#held.length === TOGETHER ? this.#release() : null;
  }

  #release() {
    const whole = new Int16Array(this.#held.reduce((sum, frame) => sum + frame.length, 0));
    let at = 0;
    for (const frame of this.#held) {
      whole.set(frame, at);
      at += frame.length;
    }
    this.#held = [];
    return whole;
  }
}
