// Keeps the page's own files, so that it opens without a link and says so. What the server
// answers under /api/ is never kept here: an old state must not look like the present one.

const VERSION = "shell-8";
const PLANS = "plans"; // kept by net/plans.js
const FILES = [
  "./", "index.html", "app.js", "app.css", "theme.js", "manifest.webmanifest",
  "audio/bundler.js", "audio/frame-worklet.js", "audio/microphone.js", "audio/resampler.js", "audio/speaker.js", "audio/tones.js",
  "device/awake.js", "device/camera.js", "device/headset-button.js", "device/shooting.js",
  "icons/icon.svg", "icons/icon-192.png", "icons/icon-512.png",
  "net/messages.js", "net/photos.js", "net/plans.js", "net/socket.js", "state/settings.js", "state/store.js",
  "view/banners.js", "view/door-form.js", "view/element.js", "view/fault-guide.js", "view/gate-panel.js", "view/heard-line.js", "view/helper-card.js",
  "view/jobs.js", "view/join.js", "view/keypad.js", "view/more.js", "view/people.js", "view/photo.js", "view/plan.js", "view/plot.js",
  "view/progress.js", "view/read-back.js", "view/readings.js", "view/record.js", "view/set-up.js", "view/settings.js", "view/shapes.js",
  "view/sound-check.js", "view/status-bar.js", "view/step-card.js", "view/turns.js",
];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(VERSION).then((kept) => kept.addAll(FILES)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((name) => name !== VERSION && name !== PLANS).map((name) => caches.delete(name))))
    .then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin || url.pathname.includes("/api/")) return;
  // The server's file first: a kept one may be older than the protocol.
  event.respondWith(fetch(event.request)
    .then((response) => {
      if (response.ok) {
        const copy = response.clone();
        caches.open(VERSION).then((kept) => kept.put(url.origin + url.pathname, copy));
      }
      return response;
    })
    .catch(() => caches.match(event.request, { ignoreSearch: true }).then((found) => found ?? Response.error())));
});
