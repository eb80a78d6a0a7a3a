// The button of a headset, where the system passes it on: it does so to whoever plays a sound, so
// this plays silence. There is no "let go": the first press begins, the next one ends.

const RATE_HZ = 8000;
const LENGTH_S = 10; // systems take shorter sounds for beeps, which get no button

// Silence as a WAV file, 8 bits a sample. Made here: as a file it would be most of the page's weight.
function silence() {
  const count = RATE_HZ * LENGTH_S;
  const file = new DataView(new ArrayBuffer(44 + count));
  const text = (at, word) => [...word].forEach((letter, i) => file.setUint8(at + i, letter.charCodeAt(0)));
  text(0, "RIFF"); file.setUint32(4, 36 + count, true); text(8, "WAVEfmt ");
  file.setUint32(16, 16, true); file.setUint16(20, 1, true); file.setUint16(22, 1, true);
  file.setUint32(24, RATE_HZ, true); file.setUint32(28, RATE_HZ, true);
  file.setUint16(32, 1, true); file.setUint16(34, 8, true);
  text(36, "data"); file.setUint32(40, count, true);
  new Uint8Array(file.buffer, 44).fill(128);
  return new Blob([file.buffer], { type: "audio/wav" });
}

// Call within a press of the person. press: what the button does. Returns a function that ends it.
export function headsetButton(press) {
  const session = navigator.mediaSession;
  if (!session) return () => {};
  const url = URL.createObjectURL(silence());
  const player = new Audio(url);
  player.loop = true;
  const begin = () => player.play().then(() => { session.playbackState = "playing"; }).catch(() => {});
  session.metadata = new MediaMetadata({ title: "Thirdhand", artist: "Headset button: talk" });
  for (const action of ["play", "pause"]) {
    session.setActionHandler(action, () => {
      press();
      begin(); // some systems stop the sound all the same, and the next press would be another's
    });
  }
  begin();
  return () => {
    for (const action of ["play", "pause"]) session.setActionHandler(action, null);
    player.pause();
    URL.revokeObjectURL(url);
  };
}
