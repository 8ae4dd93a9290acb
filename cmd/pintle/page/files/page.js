"use strict";
// The page: it shows what the computer sends and computes nothing.

const $ = (id) => document.getElementById(id);
let state = null, link = false, got = 0, img = null, shown = -1;

// A figure older than this, though the link is good, is marked: no frames come.
const stale = 45000;

function text(id, s) { const e = $(id); if (e.textContent !== s) e.textContent = s; }

// list shows sentences, one below the other.
function list(id, sentences) {
  const e = $(id), all = sentences.join("\n");
  if (e.dataset.all === all) return;
  e.dataset.all = all;
  e.replaceChildren(...sentences.map((s) => { const p = document.createElement("p"); p.textContent = s; return p; }));
}

function age() { return state ? state.age_ms + (performance.now() - got) : 0; }

// freshness is how strongly an arrow is drawn: it pales from fading to stale, so
// that who stands two metres away sees that no frame came.
const fading = 12000;
function freshness(ms) { return 1 - 0.6 * Math.min(1, Math.max(0, (ms - fading) / (stale - fading))); }

function words(ms) { const s = Math.round(ms / 1000); return s < 100 ? s + " s" : Math.round(s / 60) + " min"; }

function name(path) { return path.split(/[\\/]/).pop(); }

function bolt(m, old) {
  const e = $(m.adjuster), n = $(m.adjuster + "-amount");
  text(m.adjuster + "-amount", m.amount);
  n.classList.toggle("long", m.amount.length > 4);
  $(m.adjuster + "-wedge").setAttribute("d", wedge(m.direction, m.arcmin, m.done));
  text(m.adjuster + "-how", (old ? "OLD, " : "") + (m.done ? m.adjuster + ": done" : m.hand));
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
  document.documentElement.style.setProperty("--fresh", freshness(age()).toFixed(2));
  document.body.dataset.seq = s.seq;
  document.body.dataset.phase = s.phase;
  $("sim").hidden = !s.simulated;
  document.body.dataset.doubt = s.doubts.length || s.refusal ? "yes" : "no";
  list("doubts", s.refusal ? ["NO ANSWER: " + s.refusal] : s.doubts.map((d, i) => (i ? "" : "DOUBTFUL: ") + d));
  text("next", s.refusal ? "" : s.next);
  if (s.offset_arcmin) {
    for (const m of s.moves) bolt(m, old);
    text("total", s.off_by);
    text("sigma", s.off_plus);
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
  text("tolerance", s.allowed);
  text("standing", "Site: " + s.site + ". Pole: " + s.pole + ". Times: " + s.time_source + ".");
  text("viewpoint", s.offset_arcmin ? "(" + s.viewpoint + ")" : "");
  $("where").hidden = !s.asks;
  let v = "";
  if (s.offset_arcmin) {
    if (s.old) v = "OLD: figures of " + name(s.since);
    else if (late) v = "OLD: no frame for " + words(age());
    else if (s.doubts.length) v = "? doubtful, see above (" + words(age()) + " ago)";
    else v = (s.within_tolerance ? "✓ within what is allowed" : "✗ more than is allowed") + " (" + words(age()) + " ago)";
  }
  text("verdict", v);
  let f = "no frame yet";
  if (s.frame) f = "frame " + s.frames + ", " + name(s.frame) + (s.solved ? ": " + s.stars + " stars recognised" : ": " + s.brief);
  text("frame-words", f);
  const more = s.frame && !s.solved && s.reason !== s.brief;
  $("why").hidden = !more;
  text("why-words", more ? s.reason : "");
  list("note", s.notes.map((n) => "Note: " + n));
  $("resume").hidden = !s.offer;
  text("resume", s.offer ? "resume " + s.offer : "resume");
  $("mount").hidden = !s.mount;
  if (s.mount) {
    text("mount-words", "The pretended mount: RA turned " + s.mount.turn_deg.toFixed(0) + "° by hand.");
    text("tracking", s.mount.tracking ? "stop the drive" : "start the drive");
    text("cloud", s.mount.cloud ? "cloud goes" : "cloud comes");
  }
  text("sound", !sound.on ? "sound is off" : s.muted ? "sound is on, but muted at the computer" : "sound is on");
  hands.show(s.hands, link);
  document.title = s.offset_arcmin && link && !old ? s.off_by + " pintle" : "pintle";
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
  if (!before || before.frames !== s.frames) speech.say(s.spoken);
}

listen({
  state: take,
  beat: (b) => { if (state) { state.age_ms = b.age_ms; got = performance.now(); } },
  link: (good) => { link = good; render(); },
  tick: () => { if (link) render(); },
});

// What the user asks for.
async function ask(what, v, typed) {
  const q = typed !== undefined ? "?t=" + encodeURIComponent(typed) : v === undefined ? "" : "?v=" + v;
  try {
    const r = await fetch("do/" + what + q, { method: "POST" });
    text("refused", r.ok ? "" : "Not done: " + (await r.text()));
  } catch {
    text("refused", "Not done: no link to the computer.");
  }
}

$("where-form").onsubmit = (e) => { e.preventDefault(); ask("site", undefined, $("where-text").value); };

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

hands.start(ask);
for (const changed of ["resize", "palette"]) window.addEventListener(changed, pictures);

keepAwake((s) => text("awake", s));
