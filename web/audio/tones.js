// Short tones, each told from the others by its shape and not only by its pitch.
// A note: [frequency in Hz, start in s, length in s].

export const LOUD = 0.35, SOFT = 0.08; // there is no off: a lost link must be heard

const TONES = {
  expect: [[880, 0, 0.09]],
  heard: [[660, 0, 0.06], [990, 0.07, 0.08]],
  done: [[523, 0, 0.08], [659, 0.09, 0.08], [784, 0.18, 0.14]],
  "not-understood": [[330, 0, 0.12], [330, 0.18, 0.12]],
  refused: [[196, 0, 0.5]],
  fail: [[587, 0, 0.12], [440, 0.13, 0.12], [330, 0.26, 0.22]],
  "link-lost": [[740, 0, 0.12], [494, 0.13, 0.12], [740, 0.26, 0.12], [494, 0.39, 0.12]],
  "link-back": [[494, 0, 0.1], [740, 0.11, 0.16]],
  deaf: [[523, 0, 0.1], [262, 0.12, 0.3]],
  ring: [[988, 0, 0.15], [988, 0.2, 0.15], [988, 0.6, 0.15], [988, 0.8, 0.15]],
};

// Pulses and pauses of the phone's motor, in ms; in turn with the tones. Not for "expect": it comes
// after each reply, and a signal that always comes is soon felt by nobody.
const PULSES = {
  heard: [40],
  done: [40, 60, 40],
  "not-understood": [150, 100, 150],
  refused: [600],
  fail: [150, 80, 150, 80, 150],
  "link-lost": [80, 60, 80, 60, 80, 60, 500],
  "link-back": [80, 80, 250],
  deaf: [300, 150, 300],
  ring: [300, 150, 300, 150, 600],
};

// Let a tone be felt, where the phone can.
export function feel(name) {
  // Browsers refuse it, and complain, before the first touch.
  if (PULSES[name] && navigator.userActivation?.hasBeenActive !== false) navigator.vibrate?.(PULSES[name]);
}

// Sound a tone; the time it takes. [s] gain: 0 to 1 of full scale.
export function sound(context, name, gain = LOUD) {
  const notes = TONES[name];
  if (!notes || !context || context.state !== "running") return 0;
  let end_s = 0;
  for (const [frequency_hz, start_s, length_s] of notes) {
    const begin = context.currentTime + start_s;
    const oscillator = context.createOscillator();
    const shaped = context.createGain();
    oscillator.type = name === "refused" ? "square" : "triangle";
    oscillator.frequency.value = frequency_hz;
    shaped.gain.setValueAtTime(0, begin);
    shaped.gain.linearRampToValueAtTime(gain, begin + 0.01);
    shaped.gain.setValueAtTime(gain, begin + length_s - 0.02);
    shaped.gain.linearRampToValueAtTime(0, begin + length_s);
    oscillator.connect(shaped).connect(context.destination);
    oscillator.start(begin);
    oscillator.stop(begin + length_s);
    end_s = Math.max(end_s, start_s + length_s);
  }
  return end_s;
}
