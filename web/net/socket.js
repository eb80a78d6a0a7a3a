// The line to the server: connects, tries again, says when it is lost, and resumes so that
// nothing is lost and nothing comes twice. Events: "link" {state}, "message" {…}, "welcome" {…}.

import { decode, encode, RATE_HZ } from "./messages.js";

const PING_EVERY_MS = 1000;
const SILENT_MS = 4000; // no frame for so long: the line is dead though nobody said so
const RETRY_MS = [300, 700, 1500, 3000, 5000];
const ACK_EVERY = 8;
const STALE_MS = 10000; // a press older than this must not act after the link is back
const SOUND_WAITING_MAX_BYTES = 96000; // three seconds; beyond it the link is too slow for sound
const ENDS = { 4001: "taken-over", 4003: "not-joined" }; // closed with these codes, it stays closed

export class Line extends EventTarget {
  #url; #hello; #socket = null; #session = ""; #last = 0; #acked = 0;
  #number = 0; #waiting = new Map(); #tries = 0; #retry = 0; #pulse = 0; #beatAt = 0; #frameAt = 0;
  #open = false; #ended = false; #torn = false; #lostAt = 0;

  constructor(url, hello) {
    super();
    this.#url = url;
    this.#hello = hello;
    // The phone itself knows best when its network goes, and when it is worth trying again.
    addEventListener("offline", () => this.#socket && this.#lost(0));
    addEventListener("online", () => !this.#socket && this.#retry && this.connect());
  }

  // A socket that is closing takes what it is given and loses it, before it says that it closed.
  get open() { return this.#open && this.#socket.readyState === WebSocket.OPEN; }
  get busy() { return this.#waiting.size > 0; }
  get last() { return this.#last; }

  connect() {
    this.#ended = false;
    clearTimeout(this.#retry);
    this.#retry = 0;
    if (this.#socket) this.#drop(this.#socket);
    const socket = new WebSocket(this.#url);
    socket.binaryType = "arraybuffer";
    this.#socket = socket;
    this.#frameAt = this.#beatAt = Date.now();
    socket.onopen = () => socket.send(encode("hello", {
      ...this.#hello, session: this.#session, last: this.#last, rate_hz: RATE_HZ,
    }));
    socket.onmessage = (event) => {
      if (socket !== this.#socket) return;
      this.#frameAt = Date.now();
      const message = typeof event.data === "string" ? decode(event.data) : null;
      if (message) this.#take(message);
    };
    socket.onclose = (event) => {
      if (socket === this.#socket) this.#lost(event.code);
    };
    clearInterval(this.#pulse);
    this.#pulse = setInterval(() => this.#beat(), PING_EVERY_MS);
  }

  // An input that must arrive once. False if the link is down: it is not kept for later, since
  // what the person answered may have changed by then.
  input(type, fields = {}) {
    if (!this.open) return false;
    this.#number += 1;
    const text = encode(type, fields, this.#number);
    this.#waiting.set(this.#number, { text, type, at: Date.now() });
    this.#socket.send(text);
    return true;
  }

  // A sign of the moment, sent if the link is there.
  sign(type, fields = {}) {
    if (type === "headset") this.#hello = { ...this.#hello, headset: fields.on };
    if (this.open) this.#socket.send(encode(type, fields));
  }

  // Sound: dropped while the link is down or too slow. False if it was dropped. What was said on
  // both sides of the gap is not to be pieced together: "four ... two" is no forty-two.
  sound(frame) {
    if (!this.open || this.#socket.bufferedAmount > SOUND_WAITING_MAX_BYTES) {
      this.#torn = true;
      return false;
    }
    if (this.#torn) this.sign("gap");
    this.#torn = false;
    this.#socket.send(frame);
    return true;
  }

  #take(message) {
    if (message.type === "welcome") return this.#welcomed(message);
    if (message.n > 0) {
      if (message.n <= this.#last) return undefined; // it came before the link was lost
      this.#last = message.n;
      // A state at once: by it the server knows what question the next words answer.
      if (message.type === "state" || this.#last - this.#acked >= ACK_EVERY) this.#acknowledge();
    }
    if (message.type === "taken") this.#waiting.delete(message.number);
    this.#tell("message", message);
    return undefined;
  }

  #welcomed(message) {
    this.#tries = 0;
    this.#open = true;
    const unanswered = [...this.#waiting];
    if (message.resumed) {
      for (const [n, input] of unanswered) {
        if (n <= message.taken) continue; // it arrived; its answer follows
        if (Date.now() - input.at < STALE_MS) {
          this.#socket.send(input.text);
        } else {
          this.#socket.send(encode("gate-cancel", {}, n)); // holds its place and does nothing
          this.#void();
        }
      }
    } else {
      this.#last = this.#acked = this.#number = 0;
      this.#waiting.clear();
      if (unanswered.length) this.#void();
    }
    this.#session = message.session;
    const away_ms = this.#lostAt ? Date.now() - this.#lostAt : 0;
    this.#lostAt = 0;
    this.#tell("welcome", message);
    this.#tell("link", { state: "open", away_ms });
  }

  #void() {
    this.#tell("message", {
      type: "error", n: 0, about: 0,
      what: "The link was lost before your press arrived.", do: "Look again, then press again.",
    });
  }

  #beat() {
    // A page that slept has had no frames either: it asks first, and judges at the next beat.
    const slept = Date.now() - this.#beatAt > 3 * PING_EVERY_MS;
    this.#beatAt = Date.now();
    if (slept) this.#frameAt = Math.max(this.#frameAt, Date.now() - PING_EVERY_MS);
    if (Date.now() - this.#frameAt > SILENT_MS) {
      this.#lost(0);
    } else if (this.open) {
      this.sign("ping");
      if (this.#last > this.#acked) this.#acknowledge();
    }
  }

  #acknowledge() {
    this.#acked = this.#last;
    this.sign("ack", { last: this.#last });
  }

  #lost(code) {
    this.#open = false;
    this.#drop(this.#socket);
    this.#socket = null;
    clearInterval(this.#pulse);
    if (this.#ended) return;
    if (ENDS[code]) {
      this.#tell("link", { state: ENDS[code] });
      return;
    }
    this.#lostAt ||= Date.now();
    this.#tell("link", { state: "lost" });
    const wait = RETRY_MS[Math.min(this.#tries, RETRY_MS.length - 1)];
    this.#tries += 1;
    this.#retry = setTimeout(() => this.connect(), wait * (0.8 + 0.4 * Math.random()));
  }

  #drop(socket) {
    socket.onopen = socket.onmessage = socket.onclose = null;
    socket.close();
  }

  #tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }
}

