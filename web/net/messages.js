// The messages between device and server: the twin of assistant/server/messages.py.
// A test compares the two, so the object below is written as JSON.

export const RATE_HZ = 16000;

export const MESSAGES = {
  "from-device": {
    "hello": {
      "device": "string", "role": "string", "job": "string", "session": "string",
      "last": "number", "headset": "boolean", "rate_hz": "number", "key": "string"
    },
    "touch": { "phrase": "string", "seen": "number" },
    "typed": { "text": "string" },
    "gate-press": { "phrase": "string", "digits": "string" },
    "gate-release": { "held_s": "number" },
    "gate-cancel": {},
    "talk": { "on": "boolean" },
    "playback": { "on": "boolean" },
    "headset": { "on": "boolean" },
    "gap": {},
    "ack": { "last": "number" },
    "ping": {}
  },
  "from-server": {
    "welcome": {
      "session": "string", "device": "string", "role": "string", "job": "string",
      "resumed": "boolean", "taken": "number", "gap": "boolean"
    },
    "state": { "view": "object" },
    "say": {
      "text": "string", "audio": "string", "turn": "number", "part": "number",
      "parts": "number", "again": "boolean", "cut": "boolean"
    },
    "heard": {
      "device": "string", "who": "string", "text": "string", "understood": "string",
      "tone": "string", "turn": "number"
    },
    "ring": { "who": "string" },
    "shutter": { "step": "string" },
    "level": { "dbfs": "number", "speaking": "boolean", "open": "boolean", "why": "string" },
    "taken": { "number": "number" },
    "error": { "what": "string", "do": "string", "about": "number" },
    "pong": {}
  },
  "numbered": [
    "touch", "typed", "gate-press", "gate-release", "gate-cancel",
    "state", "say", "heard", "ring", "shutter", "taken"
  ]
};

const isOf = (value, kind) =>
  kind === "object"
    ? typeof value === "object" && value !== null && !Array.isArray(value)
    : typeof value === kind && (kind !== "number" || Number.isFinite(value));

// The text of one frame; a field that is missing or of the wrong kind is our own mistake.
export function encode(type, fields = {}, n = 0) {
  const kinds = MESSAGES["from-device"][type];
  if (!kinds) throw new TypeError(`no message of type ${type}`);
  for (const [name, value] of Object.entries(fields)) {
    if (!isOf(value, kinds[name])) throw new TypeError(`${type}: ${name} is ${value}`);
  }
  return JSON.stringify({ type, n, ...fields });
}

// A message from the server, or null for a frame that is none.
export function decode(text) {
  let message;
  try {
    message = JSON.parse(text);
  } catch {
    return null;
  }
  const kinds = message && MESSAGES["from-server"][message.type];
  if (!kinds || !Number.isInteger(message.n)) return null;
  return Object.entries(kinds).every(([name, kind]) => isOf(message[name], kind)) ? message : null;
}
