// Permission, start, stop, release. Events: "frame" {buffer}, "ended".

export class MicrophoneRefused extends Error {
  // what: happened. remedy: what the person can do.
  constructor(what, remedy) {
    super(what);
    this.what = what;
    this.remedy = remedy;
  }
}

export class Microphone extends EventTarget {
  #stream = null; #source = null; #node = null;

  get on() { return this.#stream !== null; }

  // context: an AudioContext made within a press of the person.
  async start(context, headset) {
    if (!navigator.mediaDevices?.getUserMedia || !context.audioWorklet) {
      throw new MicrophoneRefused(
        "This page may not use a microphone.",
        "Open it by https, or by localhost. The buttons work all the same.",
      );
    }
    try {
      this.#stream = await navigator.mediaDevices.getUserMedia({
        audio: {
          channelCount: 1,
          // A headset can't hear the replies, so its sound is left as it is.
          echoCancellation: !headset, noiseSuppression: !headset, autoGainControl: !headset,
        },
      });
    } catch (error) {
      throw new MicrophoneRefused(...REFUSALS[error.name] ?? REFUSALS.other);
    }
    await context.audioWorklet.addModule(new URL("./frame-worklet.js", import.meta.url));
    this.#source = context.createMediaStreamSource(this.#stream);
    this.#node = new AudioWorkletNode(context, "frame-maker", {
      numberOfInputs: 1, numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit",
    });
    this.#node.port.onmessage = (event) => {
      this.dispatchEvent(new CustomEvent("frame", { detail: event.data }));
    };
    this.#source.connect(this.#node);
    this.#stream.getAudioTracks()[0].onended = () => {
      this.stop();
      this.dispatchEvent(new Event("ended"));
    };
  }

  stop() {
    this.#node?.port.postMessage("end");
    this.#source?.disconnect();
    for (const track of this.#stream?.getTracks() ?? []) {
      track.onended = null;
      track.stop();
    }
    this.#stream = this.#source = this.#node = null;
  }
}

const REFUSALS = {
  NotAllowedError: [
    "The microphone was refused.",
    "Allow it for this page in the browser's settings, then press Try again. The buttons work all the same.",
  ],
  NotFoundError: [
    "No microphone was found.",
    "Connect a headset, then press Try again. The buttons work all the same.",
  ],
  NotReadableError: [
    "Another program holds the microphone.",
    "End the call or program that uses it, then press Try again. The buttons work all the same.",
  ],
  other: [
    "The microphone did not start.",
    "Connect it anew, then press Try again. The buttons work all the same.",
  ],
};
