// Knows the other modules and joins them; decides nothing about the job.

import { Microphone } from "./audio/microphone.js";
import { Speaker } from "./audio/speaker.js";
import { LOUD, SOFT } from "./audio/tones.js";
import { Awake } from "./device/awake.js";
import { Camera } from "./device/camera.js";
import { headsetButton as hardwareButton } from "./device/headset-button.js";
import { Shooting } from "./device/shooting.js";
import { Photos } from "./net/photos.js";
import { keepPlan, keptJobs, readPlan } from "./net/plans.js";
import { Line } from "./net/socket.js";
import { Settings } from "./state/settings.js";
import { Store } from "./state/store.js";
import { banners } from "./view/banners.js";
import { button, element, fill, layoutMoved } from "./view/element.js";
import { heardLine } from "./view/heard-line.js";
import { jobsView } from "./view/jobs.js";
import { joinView } from "./view/join.js";
import { moreView } from "./view/more.js";
import { peopleBar, peopleView } from "./view/people.js";
import { photoView } from "./view/photo.js";
import { planView } from "./view/plan.js";
import { progressView } from "./view/progress.js";
import { readingsView } from "./view/readings.js";
import { recordView } from "./view/record.js";
import { setUpView } from "./view/set-up.js";
import { settingsView } from "./view/settings.js";
import { soundCheckView } from "./view/sound-check.js";
import { deafBecause, earBar, energyBar } from "./view/status-bar.js";
import { stepCard } from "./view/step-card.js";

const address = new URL(location.href);
const pairing = new URLSearchParams(address.hash.slice(1)); // what follows # never leaves the phone
const asked = (name) => pairing.get(name) ?? address.searchParams.get(name) ?? "";
const role = (asked("role") || localStorage.getItem("role")) === "helper" ? "helper" : "lead";

const settings = new Settings();
if (asked("headset")) settings.set("headset", asked("headset") === "1" ? "1" : "");
let headset = settings.get("headset") === "1";
const store = new Store({
  view: null, link: "connecting", mic: false, micProblem: null, level: null, heard: null,
  error: null, ring: null, headset, started: false, slow: false, awake: false, job: asked("job"), role, device: drawn(`device-${role}`, 8), seen: 0,
});
const speaker = new Speaker();
const microphone = new Microphone();
const awake = new Awake();
const shooting = new Shooting(new Camera());
const line = new Line(
  `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/socket`,
  { device: store.get("device"), role, job: store.get("job"), headset, key: drawn("key", 16) },
);
let context = null;
let cautious = true; // the first link is no link that came back
const AWAY_MS = 2000; // a link lost for longer is spoken of when it is back

// A number drawn once and kept: one id a phone and role, so that a reload is no new person, and one
// key. The key is told to the server alone: the id, which all devices get to know, takes no seat.
function drawn(name, bytes) {
  let kept = localStorage.getItem(name);
  if (!kept) {
    kept = Array.from(crypto.getRandomValues(new Uint8Array(bytes)), (b) => b.toString(16).padStart(2, "0")).join("");
    localStorage.setItem(name, kept);
  }
  return kept;
}

async function ask(path, body) {
  const headers = { "X-Device-Key": drawn("key", 16) };
  const response = await fetch(path, body
    ? { method: "POST", headers: { ...headers, "Content-Type": "application/json" }, body: JSON.stringify(body) }
    : { headers }).catch(() => { throw new Error("The server can't be reached. Wait until the link is back, then try again."); });
  const answer = await response.json().catch(() => ({}));
  if (!response.ok) throw new Error([answer.what, answer.do].filter(Boolean).join(" ") || "No answer.");
  return answer;
}

// --- what the person does ----------------------------------------------------------------------

function send(type, fields) {
  if (line.input(type, fields)) return true;
  speaker.tone("refused");
  store.set({ error: { what: "The link is lost: that was not sent.", do: "Wait until it is back, then press again." } });
  return false;
}

const act = {
  touch(phrase) {
    // One press at a time, so that a second one can't answer what nobody has seen.
    if (line.busy && phrase !== "stop work") return;
    if (send("touch", { phrase, seen: store.get("seen") })) show("step");
  },
  // As touch, and the page stays where it is.
  tell: (phrase) => !line.busy && send("touch", { phrase, seen: store.get("seen") }),
  typed: (text) => !line.busy && send("typed", { text }),
  gatePress: (phrase, digits) => !line.busy && send("gate-press", { phrase, digits }),
  gateRelease: (held_s) => send("gate-release", { held_s }),
  gateCancel: () => line.open && send("gate-cancel"),
  closeError: () => store.set({ error: null }),
  closeRing: () => store.set({ ring: null }),
  reconnect: () => line.connect(),
  openMicrophone,
  // {plan, keptAt} or null: the texts of the plan, from the phone itself if the server is gone.
  plan: async () => readPlan(store.get("job") || (await keptJobs()).at(-1) || "", drawn("key", 16)),
  go: (name) => show(name),
  headset(value) {
    headset = Boolean(value);
    settings.set("headset", value);
    store.set({ headset });
    line.sign("headset", { on: headset });
    if (store.get("mic")) openMicrophone();
  },
  // Save a printed page of the record; returns what to tell the person.
  async pdf(who) {
    const job = store.get("job");
    try {
      const path = `/api/records/${encodeURIComponent(job)}/report.pdf${who ? `?for=${who}` : ""}`;
      const response = await fetch(path, { headers: { "X-Device-Key": drawn("key", 16) } });
      if (!response.ok) throw new Error((await response.json()).what);
      const url = URL.createObjectURL(await response.blob());
      element("a", { href: url, download: `${job}-${who || "record"}.pdf` }).click();
      setTimeout(() => URL.revokeObjectURL(url), 60_000);
      return "Saved on this device.";
    } catch (problem) {
      return `Not saved. ${problem instanceof TypeError ? "The server can't be reached." : problem.message}`;
    }
  },
  shoot: () => shoot(),
  noPhoto() { shooting.end(); show("step"); },
  role(next) { go({ role: next }); },
  job(id) { go({ job: id }); },
  // A join code is used up by the first phone that brings it; from then on this phone's key counts.
  async join(code) {
    const found = await ask("/api/join", { code, key: drawn("key", 16) });
    localStorage.setItem("role", found.role);
    go({ role: found.role });
  },
  // False if the job could not be begun; why stands on the page.
  async begin(wanted) {
    try {
      go({ job: (await ask("/api/jobs", wanted)).job });
      return true;
    } catch (problem) {
      store.set({ error: { what: problem.message, do: "" } });
      return false;
    }
  },
};

function go(changes) {
  const next = new URLSearchParams({ job: store.get("job"), role: store.get("role"), ...changes });
  location.hash = next;
  location.reload();
}

async function start() {
  context = new AudioContext({ latencyHint: "interactive" });
  store.set({ started: true });
  show("step"); // before the sound is there: some devices take long to open it, or never do
  awake.keep();
  hardwareButton(pressed);
  await context.resume();
  speaker.begin(context);
  await openMicrophone();
}

async function openMicrophone() {
  microphone.stop();
  try {
    await microphone.start(context, headset);
    store.set({ mic: true, micProblem: null });
  } catch (problem) {
    store.set({
      mic: false,
      micProblem: { what: problem.what ?? "The microphone did not start.", remedy: problem.remedy ?? String(problem.message) },
    });
  }
}

awake.addEventListener("change", (event) => store.set({ awake: event.detail.on }));
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") context?.resume();
});

// --- push to talk: anywhere that is no control ---------------------------------------------------

let talking = false;
let latched = false; // by a button that has no "let go"

function talk(on, latch = false) {
  if (on === talking || (on && store.get("view")?.listening !== "push-to-talk")) return;
  talking = on;
  latched = on && latch;
  document.body.classList.toggle("talking", on);
  line.sign("talk", { on });
}

// The headset's button: talk and have done; where the ear is open anyway, it ends the reply.
function pressed() {
  if (store.get("view")?.listening === "push-to-talk") talk(!talking, true);
  else speaker.cut();
}

document.addEventListener("pointerdown", (event) => {
  if (!event.target.closest("button, input, a, summary")) talk(true);
});
for (const name of ["pointerup", "pointercancel", "blur"]) window.addEventListener(name, () => talk(false));
window.addEventListener("keydown", (event) => {
  if (event.key === " " && event.target === document.body && !event.repeat) talk(true);
});
window.addEventListener("keyup", (event) => {
  if (event.key === " ") talk(false);
});

// --- what the microphone, the speaker and the server say -----------------------------------------

microphone.addEventListener("frame", (event) => store.set({ slow: !line.sound(event.detail) && line.open }));
microphone.addEventListener("ended", () => store.set({
  mic: false,
  micProblem: { what: "The microphone was taken away.", remedy: "Connect it anew, then press Try again. The buttons work all the same." },
}));

speaker.addEventListener("playback", (event) => line.sign("playback", { on: event.detail.on }));
speaker.addEventListener("spoken", () => {
  if (shooting.on) return shoot(() => shooting.count());
  const view = store.get("view");
  if (view?.step && !view.held && store.get("mic") && line.open) speaker.tone("expect");
  return undefined;
});

// An ear that shuts though nobody speaks is told at once: the person may be talking to it.
let heardBefore = false;
store.watch(deafBecause, (why) => {
  if (heardBefore && ["mic", "slow", "quiet"].includes(why)) speaker.tone("deaf");
  heardBefore = !why;
});

const TAKES = {
  state(message) {
    // The role is the job's to say: at a change over it is another than this page asked for.
    store.set({ view: message.view, seen: message.n, role: message.view.role ?? store.get("role") });
  },
  heard(message) {
    // Speech that was nobody's answer is told by its tone alone; what was said last stays on.
    // A turn of no device is the job's own: a wait that is over, a device that came or went.
    if (message.device && (message.text || message.understood)) store.set({ heard: message, error: null });
    if (message.tone) speaker.tone(message.tone);
    if (latched && message.device === store.get("device")) talk(false);
  },
  say(message) {
    speaker.supersede(message.turn);
    speaker.say(message);
  },
  level(message) {
    if (message.speaking && headset && !store.get("level")?.speaking) speaker.cut();
    store.set({ level: message });
  },
  ring(message) {
    store.set({ ring: message.who });
    speaker.tone("ring");
  },
  shutter(message) {
    show("photo");
    const where = { job: store.get("job"), device: store.get("device"), step: message.step };
    shooting.begin(where, photoFrame, () => shoot()).catch((problem) => {
      shooting.end();
      show("step");
      TAKES.error({ what: problem.what ?? "The camera did not start.", do: problem.remedy ?? "Try again." });
    });
  },
  error(message) {
    store.set({ error: message });
    speaker.tone("refused");
  },
};

// --- photos ------------------------------------------------------------------------------------------

const photos = new Photos((path, jpeg) => fetch(path, {
  method: "POST", body: jpeg, headers: { "Content-Type": "image/jpeg", "X-Device-Key": drawn("key", 16) },
}));
photos.addEventListener("refused", (event) => TAKES.error(event.detail));
let photoFrame = null;

async function shoot(take = () => shooting.shoot()) {
  const photo = await take();
  if (!photo) return;
  show("step");
  if (!(await photos.add(photo))) {
    store.set({ error: { what: "The photo waits for the link.", do: "It is sent when the link is back. Keep this page open." } });
  }
}

line.addEventListener("message", (event) => TAKES[event.detail.type]?.(event.detail));
line.addEventListener("welcome", (event) => {
  store.set({ job: event.detail.job });
  keepPlan(event.detail.job, drawn("key", 16));
  photos.go();
});
line.addEventListener("link", (event) => {
  const { state, away_ms = 0 } = event.detail;
  if (state === store.get("link")) return;
  document.body.classList.toggle("cut", state !== "open");
  if (state === "not-joined") return show("join");
  if (state !== "open") {
    if (store.get("link") === "open" && state === "lost") {
      speaker.tone("link-lost");
      speaker.tell("Link lost. Nothing is heard.");
    }
    talk(false);
    store.set({ link: state, level: null });
  } else {
    if (!cautious) speaker.tone("link-back");
    cautious = false;
    store.set({ link: state });
    line.sign("headset", { on: headset });
    if (speaker.speaking) line.sign("playback", { on: true });
    if (away_ms > AWAY_MS && store.get("started")) backAgain();
  }
});

// What was said into the gap is gone: the person is told, and hears again what is asked, unless
// something newer is being said anyway.
function backAgain() {
  // In the line of what was heard: a banner would cover the answer that is due.
  store.set({ heard: { note: "The link is back. What was said meanwhile was not heard.", tone: "not-understood" } });
  setTimeout(() => speaker.again(), 800);
}

// --- views -------------------------------------------------------------------------------------------

const main = document.getElementById("main");
const pages = {};
let shown = "";

function page(name, draw) {
  pages[name] = { root: element("div", { class: "page", "data-page": name }), draw, drawn: false };
}

function show(name) {
  if (name === "step" && !store.get("started")) name = "start";
  const next = pages[name];
  if (shown === name && next.drawn) return;
  shown = name;
  fill(main, next.root);
  if (!next.drawn || next.always) {
    next.drawn = true;
    next.draw(next.root);
  }
  main.scrollTop = 0;
  foot();
}

page("start", (root) => fill(root,
  element("h1", {}, "Thirdhand"),
  element("p", { class: "say" }, "You work, it asks and keeps the record. Answer by voice, or by the buttons."),
  element("div", { class: "stack" },
    button("Start", start, { class: "key", "data-act": "start" }),
    headsetButton(),
    element("p", { class: "quiet" }, "Start opens the microphone. With a headset you may answer while a reply is spoken."))));

function headsetButton() {
  const label = () => (headset ? "Headset: yes" : "Headset: no");
  const toggle = button(label(), () => {
    act.headset(headset ? "" : "1");
    toggle.setAttribute("aria-pressed", String(headset));
    toggle.textContent = label();
  }, { "aria-pressed": String(headset), "data-act": "headset" });
  return toggle;
}

page("join", (root) => joinView(root, act));
page("step", (root) => stepCard(root, store, act));
page("photo", (root) => { photoFrame = photoView(root, act); });
page("readings", (root) => readingsView(root, store));
page("sound", (root) => soundCheckView(root, store));
page("record", (root) => recordView(root, store, ask, act));
page("people", (root) => peopleView(root, store, ask, act));
page("jobs", (root) => jobsView(root, store, ask, act));
page("more", (root) => moreView(root, act));
page("progress", (root) => progressView(root, store));
page("plan", (root) => planView(root, act));
page("set-up", (root) => setUpView(root, ask, act));
page("settings", (root) => settingsView(root, store, settings, act));
for (const name of ["photo", "record", "people", "jobs", "more", "plan", "set-up", "start"]) pages[name].always = true;

const stop = element("button", {
  type: "button", class: "stop", "data-phrase": "stop work", onclick: () => act.touch("stop work"),
}, "Stop work"); // never inert: it may be pressed at any moment

function foot() {
  const back = shown !== "step" && shown !== "start";
  const more = button(back ? "Back to step" : "More", () => show(back ? "step" : "more"), { "data-act": "more" });
  fill(document.getElementById("foot"), settings.get("hand") === "left" ? [more, stop] : [stop, more]);
}

function setTones() {
  speaker.toneGain = settings.get("tones") === "soft" ? SOFT : LOUD;
}

setTones();
settings.addEventListener("change", ({ detail: { name } }) => {
  if (name === "tones") {
    setTones();
    speaker.tone("heard"); // as it will be
  }
  if (name === "theme") dispatchEvent(new Event("theme")); // theme.js listens
  if (name === "hand") {
    layoutMoved();
    foot();
  }
});

energyBar(document.getElementById("energy"), store);
peopleBar(document.getElementById("people"), store);
earBar(document.getElementById("ear"), store);
banners(document.getElementById("banners"), store, act);
heardLine(document.getElementById("heard"), store);
show("start");
// Without the code in the address: a page that is kept or sent on must not carry it.
if (asked("code")) act.join(asked("code")).catch(() => go({}));
else line.connect();

if ("serviceWorker" in navigator && isSecureContext) navigator.serviceWorker.register("./sw.js").catch(() => {});
