// Plays replies in order, and stops when the person speaks into one that allows it.
// Events: "playback" {on}; "spoken" when nothing is left to say.

import { feel, LOUD, sound } from "./tones.js";

const WAITING_MAX = 12;

export class Speaker extends EventTarget {
  toneGain = LOUD;
  #context = null; #last = []; #waiting = []; #playing = null; #source = null; #running = false;

  // Sound needs a press of the person first; until then only the newest turn is kept.
  begin(context) {
    this.#context = context;
    this.#next();
  }

  get speaking() { return this.#playing !== null; }

  // Heard and felt: in noise, or through a glove, one of the two gets there.
  tone(name) {
    feel(name);
    return sound(this.#context, name, this.toneGain);
  }

  // The last turn once more, for a person who may have missed it.
  again() {
    if (!this.#running) for (const reply of this.#last) this.say({ ...reply });
  }

  // Words of the page itself, when no server can speak.
  tell(text) { this.say({ text, audio: "", turn: this.#last[0]?.turn ?? 0, cut: true, own: true }); }

  say(reply) {
    if (!reply.own) this.#last = [...this.#last.filter((r) => r.turn === reply.turn && r.part !== reply.part), reply];
    if (!this.#context) this.#waiting = this.#waiting.filter((r) => r.turn === reply.turn);
    this.#waiting.push(reply);
    if (this.#waiting.length > WAITING_MAX) this.#waiting.shift();
    this.#next();
  }

  // The person speaks: end a reply that may be cut, and what would follow of its turn.
  cut() {
    if (!this.#playing?.cut) return;
    const { turn } = this.#playing;
    this.#waiting = this.#waiting.filter((reply) => reply.turn !== turn);
    this.#stop();
  }

  // A newer turn supersedes what was left of older ones.
  supersede(turn) {
    this.#waiting = this.#waiting.filter((reply) => reply.turn >= turn);
    if (this.#playing && this.#playing.turn < turn) this.#stop();
  }

  async #next() {
    if (this.#running || !this.#context || !this.#waiting.length) return;
    this.#running = true;
    this.dispatchEvent(new CustomEvent("playback", { detail: { on: true } }));
    while (this.#waiting.length) {
      this.#playing = this.#waiting.shift();
      const reply = this.#playing;
      if (!(await this.#play(reply)) && this.#playing === reply) await this.#speak(reply.text);
    }
    this.#playing = null;
    this.#running = false;
    this.dispatchEvent(new CustomEvent("playback", { detail: { on: false } }));
    this.dispatchEvent(new Event("spoken"));
  }

  #stop() {
    this.#playing = null;
    this.#source?.stop();
    globalThis.speechSynthesis?.cancel();
    this.#release?.();
  }

  #release = null;

  // True if the server's sound file was played, to its end or until it was cut.
  async #play(reply) {
    if (!reply.audio) return false;
    let buffer;
    try {
      const response = await fetch(reply.audio);
      if (!response.ok) return false;
      buffer = await this.#context.decodeAudioData(await response.arrayBuffer());
    } catch {
      return false;
    }
    if (this.#playing !== reply) return true;
    const source = this.#context.createBufferSource();
    source.buffer = buffer;
    source.connect(this.#context.destination);
    this.#source = source;
    await new Promise((resolve) => {
      source.onended = resolve;
      // A context that was suspended by the system never ends a source.
      const guard = setTimeout(resolve, buffer.duration * 1000 + 3000);
      this.#release = () => { clearTimeout(guard); resolve(); };
      source.start();
    });
    this.#release?.();
    this.#source = this.#release = null;
    return true;
  }

  // The browser's own voice, for a reply without a sound file.
  #speak(text) {
    const voice = globalThis.speechSynthesis;
    if (!voice || !voice.getVoices().length) return Promise.resolve();
    return new Promise((resolve) => {
      const words = new SpeechSynthesisUtterance(text);
      const guard = setTimeout(resolve, 3000 + text.length * 90);
      this.#release = () => { clearTimeout(guard); resolve(); };
      words.lang = document.documentElement.lang;
      words.onend = words.onerror = this.#release;
      voice.speak(words);
    });
  }
}
