"use strict";
// The page: it shows what the computer sends and computes nothing.

const $ = (id) => document.getElementById(id);
let state = null, link = false, heard = 0, got = 0, source = null, img = null, shown = -1;

// Nothing heard for so long means that the link is lost; a sign of life comes
// every second.
const patience = 2400;
// A figure older than this, though the link is good, is marked: no frames come.
const stale = 45000;

function text(id, s) { const e = $(id); if (e.textContent !== s) e.textContent = s; }

function amount(a) { return a >= 100 ? a.toFixed(0) : a >= 10 ? a.toFixed(1) : a.toFixed(2); }

function age() { return state ? state.age_ms + (performance.now() - got) : 0; }

function words(ms) { const s = Math.round(ms / 1000); return s < 100 ? s + " s" : Math.round(s / 60) + " min"; }

function name(path) { return path.split(/[\\/]/).pop(); }

function bolt(m, old) {
  const e = $(m.adjuster), n = $(m.adjuster + "-amount"), a = amount(m.arcmin);
  text(m.adjuster + "-amount", a);
  n.classList.toggle("long", a.length > 4);
  $(m.adjuster + "-wedge").setAttribute("d", wedge(m.direction, m.arcmin, m.done));
  const hand = { raise: "raise", lower: "lower", clockwise: "clockwise, to the right", "counter-clockwise": "counter-clockwise, to the left" }[m.direction];
  let how = m.adjuster + ": " + (m.done ? "done" : hand);
  if (m.turns && !m.done) how += ", " + m.turns.toFixed(m.turns < 1 ? 2 : 1) + " turns" + (m.sense ? " " + m.sense : "");
  text(m.adjuster + "-how", (old ? "OLD, " : "") + how);
  e.dataset.here = m.here ? "yes" : "no";
  e.dataset.done = m.done ? "yes" : "no";
  e.dataset.direction = m.direction;
}

function render() {
  const s = state;
  document.body.dataset.link = link ? "good" : "lost";
  if (!s) return;
  const late = age() > stale && s.offset_arcmin, old = s.old || late;
  document.body.dataset.answer = !s.offset_arcmin ? "none" : old ? "old" : "now";
  document.body.dataset.seq = s.seq;
  document.body.dataset.phase = s.phase;
  $("sim").hidden = !s.simulated;
  text("next", s.next);
  if (s.offset_arcmin) {
    for (const m of s.moves) bolt(m, old);
    text("total", amount(s.offset_arcmin.total) + "′");
    const e = s.sigma_arcmin.total;
    text("sigma", "± " + (e < 0.1 ? (60 * e).toFixed(1) + "″" : amount(e) + "′"));
  } else {
    for (const a of ["altitude", "azimuth"]) {
      text(a + "-amount", "–");
      text(a + "-how", a);
      $(a + "-wedge").setAttribute("d", "");
      $(a).dataset.here = $(a).dataset.done = "no";
    }
    text("total", "–");
    text("sigma", "–");
  }
  text("tolerance", s.tolerance_arcmin + "′");
  let v = "";
  if (s.offset_arcmin) {
    if (s.old) v = "OLD: figures are of " + name(s.since) + ", the last frame was not solved";
    else if (late) v = "OLD: no frame for " + words(age());
    else v = (s.within_tolerance ? "✓ within what is allowed" : "✗ more than is allowed") + " (" + words(age()) + " ago)";
  }
  text("verdict", v);
  let f = "no frame yet";
  if (s.frame) f = "frame " + s.frames + ", " + name(s.frame) + (s.solved ? ": " + s.marks.length + " stars recognised" : ": not solved, " + s.reason);
  text("frame-words", f);
  text("note", s.note ? "Note: " + s.note : "");
  $("resume").hidden = !s.offer;
  text("resume", s.offer ? "resume " + s.offer : "resume");
  $("mount").hidden = !s.mount;
  if (s.mount) {
    text("mount-words", "The pretended mount: RA turned " + s.mount.turn_deg.toFixed(0) + "° by hand.");
    text("tracking", s.mount.tracking ? "stop the drive" : "start the drive");
    text("cloud", s.mount.cloud ? "cloud goes" : "cloud comes");
  }
  text("sound", !sound.on ? "sound is off" : s.muted ? "sound is on, but muted at the computer" : "sound is on");
  document.title = s.offset_arcmin && link && !old ? amount(s.offset_arcmin.total) + "′ pintle" : "pintle";
  sound.set(s, !link || late);
}

function pictures() {
  text("walk-words", drawWalk($("walk"), state));
  if (state) drawFrame($("frame"), state, state.picture === shown ? img : null);
}

function take(s) {
  const before = state;
  state = s;
  got = performance.now();
  render();
  pictures();
  if (s.picture && s.picture !== shown) {
    const next = new Image();
    next.onload = () => { img = next; shown = s.picture; pictures(); };
    next.src = "frame.png?n=" + s.picture;
  }
  if (!before || before.frames !== s.frames) speech.say(spoken(s));
}

function spoken(s) {
  if (!s.offset_arcmin) return s.next;
  if (s.old) return "not solved";
  if (s.within_tolerance) return "within tolerance, " + amount(s.offset_arcmin.total);
  return s.moves.filter((m) => !m.done).map((m) => m.adjuster + " " + m.direction + " " + amount(m.arcmin)).join(", ");
}

// connect opens the stream anew; the browser's own retries give up on some
// errors.
function connect() {
  if (source) source.close();
  source = new EventSource("events");
  const alive = () => { heard = performance.now(); if (!link) { link = true; render(); } };
  source.addEventListener("state", (e) => { alive(); take(JSON.parse(e.data)); });
  source.addEventListener("beat", (e) => {
    alive();
    const b = JSON.parse(e.data);
    if (state) { state.age_ms = b.age_ms; got = performance.now(); }
  });
}

let tried = 0;
setInterval(() => {
  const now = performance.now();
  if (now - heard > patience) {
    if (link) { link = false; render(); }
    if (now - tried > 1500) { tried = now; connect(); }
  } else {
    render();
  }
}, 250);
connect();
tried = performance.now();

// What the user asks for.
async function ask(what, v) {
  try {
    const r = await fetch("do/" + what + (v === undefined ? "" : "?v=" + v), { method: "POST" });
    if (!r.ok) text("note", "Not done: " + (await r.text()));
  } catch {
    text("note", "Not done: no link to the computer.");
  }
}

const steps = [0.1, 0.2, 0.3, 0.5, 0.75, 1, 1.5, 2, 3, 5, 7.5, 10, 15, 20, 30, 60, 120, 300, 600];
$("fresh").onclick = () => ask("fresh");
$("resume").onclick = () => ask("resume");
$("less").onclick = () => state && ask("tolerance", steps.filter((x) => x < state.tolerance_arcmin * 0.9999).pop() || steps[0]);
$("more").onclick = () => state && ask("tolerance", steps.find((x) => x > state.tolerance_arcmin * 1.0001) || 600);
$("sound").onclick = () => {
  const on = sound.toggle();
  $("sound").setAttribute("aria-pressed", on);
  render();
  if (on) ask("mute", 0);
};
$("speech").hidden = !speech.can;
$("speech").onclick = () => {
  const on = speech.toggle();
  $("speech").setAttribute("aria-pressed", on);
  text("speech", on ? "speech is on" : "speech is off");
};
for (const b of document.querySelectorAll("[data-do]")) b.onclick = () => ask(b.dataset.do, b.dataset.v);
$("tracking").onclick = () => state && state.mount && ask("tracking", state.mount.tracking ? 0 : 1);
$("cloud").onclick = () => state && state.mount && ask("cloud", state.mount.cloud ? 0 : 1);

function palette(p) {
  document.documentElement.dataset.palette = p;
  document.querySelector("meta[name=theme-color]").content = p === "day" ? "#f6f1e4" : "#000000";
  text("palette", p === "day" ? "night colours" : "day colours");
  try { localStorage.setItem("palette", p); } catch { /* not allowed here */ }
  pictures();
}
$("palette").onclick = () => palette(document.documentElement.dataset.palette === "day" ? "night" : "day");
try { if (localStorage.getItem("palette") === "day") palette("day"); } catch { /* not allowed here */ }
window.addEventListener("resize", pictures);

// The screen stays awake where the browser allows it.
async function awake() {
  if (document.visibilityState !== "visible") return;
  if (!("wakeLock" in navigator)) {
    text("awake", "This browser does not let a page keep the screen awake here: set the phone's screen time-out to long.");
    return;
  }
  try { await navigator.wakeLock.request("screen"); } catch { /* low battery, say */ }
}
document.addEventListener("visibilitychange", awake);
awake();
