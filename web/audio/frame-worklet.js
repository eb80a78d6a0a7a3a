// Float samples at the device's rate -> 16-bit frames of 40 ms at 16 kHz; nothing else runs in
// this thread.

import { Resampler, toInt16 } from "./resampler.js";

const RATE_HZ = 16000;
const FRAME_SAMPLES = 640;

class FrameMaker extends AudioWorkletProcessor {
  constructor() {
    super();
    this.resampler = new Resampler(sampleRate, RATE_HZ);
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
        this.port.postMessage(this.frame.buffer, [this.frame.buffer]);
        this.frame = new Int16Array(FRAME_SAMPLES);
        this.filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("frame-maker", FrameMaker);
