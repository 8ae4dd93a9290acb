// The evening: it shows what the computer says, and computes nothing.
import { askFirst, el, endHands, get, order, told, undone, who, Wrong } from "./evening-kit.js";
import day from "./evening-day.js";
import point from "./evening-sky.js";
import photos from "./evening-photos.js";
import enough from "./evening-enough.js";
import after from "./evening-after.js";

const steps = { day, point, photos, enough, after };
const $ = (id) => document.getElementById(id);

// now is what is known: summary of the evening, state of the session.
const now = { summary: null, state: null, step: null };
let drawn = null; // the step that is drawn

function go() {
  const name = location.hash.slice(1) in steps ? location.hash.slice(1) : "day";
  for (const a of document.querySelectorAll("#steps a")) {
    if (a.dataset.step === name) a.setAttribute("aria-current", "page");
    else a.removeAttribute("aria-current");
  }
  if (now.step === steps[name]) return; // what was typed stays
  document.title = steps[name].title + " · pintle";
  now.step = steps[name];
  if (now.summary) draw(name);
  else $("step").replaceChildren(el("h1", {}, steps[name].title));
}

// draw draws a step once the evening is known, so that nothing moves under a finger.
function draw(name) {
  const root = el("section", { id: "step", "aria-label": now.step.title });
  $("step").replaceWith(root);
  drawn = now.step;
  drawn.show(root, now);
  drawn.update(now);
  document.body.dataset.step = name;
  window.scrollTo(0, 0);
}

function update() { if (drawn && drawn === now.step) drawn.update(now); }

// refresh fetches the summary, one request at a time; what changed meanwhile is
// fetched after.
let asking = false, again = false;
async function refresh() {
  if (asking) { again = true; return; }
  asking = true;
  try {
    const s = await get("evening");
    const first = !now.summary;
    now.summary = s;
    who($("watching"), s.controls);
    undone($("undone"), s.shooting);
    told($("trouble"), s.trouble ? new Wrong(s.trouble.error, s.trouble.hint) : null);
    document.body.dataset.version = s.version;
    if (first && !location.hash && s.photographs.length) location.hash = "photos";
    else if (first) draw(Object.keys(steps).find((k) => steps[k] === now.step));
    else update();
  } catch { /* the stream says that the link is lost */ }
  asking = false;
  if (again) { again = false; refresh(); }
}
now.refresh = refresh;

let version = -1;
const showHands = () => hands.show(now.state && now.state.hands, document.body.dataset.link === "good");

function take(state) {
  now.state = state;
  showHands();
  if (state.evening !== version) { version = state.evening; refresh(); }
  else update();
}

function linked(good) {
  document.body.dataset.link = good ? "good" : "lost";
  showHands();
  if (good) refresh();
}

const redraw = () => { if (now.step && now.step.draw) now.step.draw(now); };
askFirst($("palette"));
$("skip").addEventListener("click", (e) => { e.preventDefault(); $("content").focus(); });
window.addEventListener("hashchange", go);
let width = innerWidth;
window.addEventListener("resize", () => { if (innerWidth !== width) { width = innerWidth; redraw(); } });
window.addEventListener("palette", redraw);
hands.end = endHands;
hands.start(order($("refused")));
go();
listen({ state: take, beat: () => {}, link: linked, tick: () => {} });

keepAwake(() => {});
