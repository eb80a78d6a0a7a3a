// Day or night before anything is drawn: as set on this phone, else as the phone itself is set.
// A plain script, since a module would come after the first frame.

const dark = matchMedia("(prefers-color-scheme: dark)");

function paint() {
  const set = localStorage.getItem("theme");
  const night = set ? set === "night" : dark.matches;
  document.documentElement.classList.toggle("night", night);
  for (const meta of document.querySelectorAll("meta[name=theme-color]")) {
    meta.content = getComputedStyle(document.documentElement).getPropertyValue("--ground").trim();
  }
}

dark.addEventListener("change", paint);
addEventListener("theme", paint); // app.js tells of a new setting
paint();
