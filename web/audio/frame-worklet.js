// Float samples at the device's rate -> 16-bit sound at 16 kHz in 40 ms, or 160 ms while it is
// quiet; nothing else runs in this thread.

import { Bundler } from "./bundler.js";
import { Resampler, toInt16 } from "./resampler.js";

const RATE_HZ = 16000;
const FRAME_SAMPLES = 640;

class FrameMaker extends AudioWorkletProcessor {
  constructor() {
    super();
    this.resampler = new Resampler(sampleRate, RATE_HZ);
    this.bundler = new Bundler();
    this.frame = new Int16Array(FRAME_SAMPLES);
    this.filled = 0;
    this.ended = false;
    this.port.onmessage = () => { this.ended = true; };
  }

  process(inputs) {
    const channel = inputs[0][0];
    if (this.ended) return false;
    if (!channel) return true;
    const samples = toInt16(this.resampler.push(channel));
    for (let i = 0; i < samples.length; i += 1) {
      this.frame[this.filled] = samples[i];
      this.filled += 1;
      if (this.filled === FRAME_SAMPLES) {
        const sound = this.bundler.push(this.frame);
        if (sound) this.port.postMessage(sound.buffer, [sound.buffer]);
        this.frame = new Int16Array(FRAME_SAMPLES);
        this.filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("frame-maker", FrameMaker);
