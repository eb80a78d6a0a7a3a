// Samples at one rate to samples at another: a windowed-sinc low-pass, sampled where it is
// needed. The stop band begins where frequencies would fold back into speech.

const ZEROS = 16; // zero crossings of the sinc on each side
const PHASES = 512;

export class Resampler {
  constructor(from_hz, to_hz) {
    this.step = from_hz / to_hz;
    const cutoff = 0.92 * Math.min(1, to_hz / from_hz); // of the input's half rate
    this.half = Math.ceil(ZEROS / cutoff);
    const taps = 2 * this.half;
    this.table = new Float32Array((PHASES + 1) * taps);
    for (let phase = 0; phase <= PHASES; phase += 1) {
      let sum = 0;
      for (let tap = 0; tap < taps; tap += 1) {
        const x = tap - this.half + 1 - phase / PHASES;
        const angle = Math.PI * x * cutoff;
        const sinc = x === 0 ? 1 : Math.sin(angle) / angle;
        const edge = Math.min(1, Math.abs(x) / this.half);
        const window = 0.42 + 0.5 * Math.cos(Math.PI * edge) + 0.08 * Math.cos(2 * Math.PI * edge);
        this.table[phase * taps + tap] = sinc * window;
        sum += sinc * window;
      }
      for (let tap = 0; tap < taps; tap += 1) this.table[phase * taps + tap] /= sum;
    }
    this.kept = new Float32Array(this.half - 1); // silence before the first sample
    this.at = 0; // where in `kept` plus input the next output sample lies, from half - 1
  }

  // Output samples that can be made with this input; the rest is kept for the next call.
  push(input) {
    const taps = 2 * this.half;
    const all = new Float32Array(this.kept.length + input.length);
    all.set(this.kept);
    all.set(input, this.kept.length);
    const output = [];
    let at = this.at;
    while (Math.floor(at) + taps <= all.length) {
      const start = Math.floor(at);
      const row = Math.round((at - start) * PHASES) * taps;
      let sum = 0;
      for (let tap = 0; tap < taps; tap += 1) sum += all[start + tap] * this.table[row + tap];
      output.push(sum);
      at += this.step;
    }
    const used = Math.min(Math.floor(at), all.length);
    this.kept = all.slice(used);
    this.at = at - used;
    return Float32Array.from(output);
  }
}

// 16-bit samples of floats in -1 to 1.
export function toInt16(samples) {
  const out = new Int16Array(samples.length);
  for (let i = 0; i < samples.length; i += 1) {
    out[i] = Math.max(-32768, Math.min(32767, Math.round(samples[i] * 32767)));
  }
  return out;
}
