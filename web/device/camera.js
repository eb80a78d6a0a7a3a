// One picture from the phone's camera, drawn anew: nothing leaves with it but the picture.

const EDGE_MAX_PX = 1920;
const BYTES_MAX = 1_500_000;
const QUALITIES = [0.85, 0.7, 0.5];

const REFUSALS = {
  NotAllowedError: ["The camera was refused.", "Allow it for this page in the browser's settings, then try again."],
  NotFoundError: ["No camera was found.", "Take the picture with another phone of this job."],
  NotReadableError: ["Another program holds the camera.", "End it, then try again."],
};

export class Camera {
  #stream = null; #video = null;

  get on() { return this.#stream !== null; }

  // Show what the camera sees in a video element. Throws an Error with `what` and `remedy`.
  async open(video) {
    try {
      this.#stream = await navigator.mediaDevices.getUserMedia({
        video: { facingMode: { ideal: "environment" }, width: { ideal: EDGE_MAX_PX } },
      });
    } catch (error) {
      const [what, remedy] = REFUSALS[error.name] ?? ["The camera did not start.", "Try again."];
      throw Object.assign(new Error(what), { what, remedy });
    }
    this.#video = video;
    video.muted = true;
    video.playsInline = true;
    video.srcObject = this.#stream;
    await video.play();
  }

  // The present picture as a JPEG.
  async shoot() {
    const { videoWidth: wide, videoHeight: high } = this.#video;
    const scale = Math.min(1, EDGE_MAX_PX / Math.max(wide, high));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(wide * scale);
    canvas.height = Math.round(high * scale);
    canvas.getContext("2d").drawImage(this.#video, 0, 0, canvas.width, canvas.height);
    let jpeg = null;
    for (const quality of QUALITIES) {
      jpeg = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
      if (jpeg.size <= BYTES_MAX) break;
    }
    return jpeg;
  }

  close() {
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    if (this.#video) this.#video.srcObject = null;
    this.#stream = this.#video = null;
  }
}
