// Photographs: handed over, looked at, chosen and measured.
import { el, put, get, post, send, doing, fault, field, section, Wrong } from "./evening-kit.js";

let ui, ticked = null, touched = false, shown = "", marks = null, img = null, queue = [], sending = false, failed = [];

// linked waits until the computer is there again, or for ten minutes.
async function linked() {
  for (let i = 0; i < 1200; i++) {
    await new Promise((go) => setTimeout(go, 500));
    if (document.body.dataset.link === "good") return true;
  }
  return false;
}

// hand sends files one after the other; a fault of one does not stop the others. Where
// the link breaks, or the program ends, the same file is sent again once it is back.
async function hand(files, now) {
  queue.push(...files);
  if (sending) return;
  sending = true;
  failed = [];
  while (queue.length) {
    const f = queue[0];
    put(ui.sending, el("p", {}, "sending " + f.name + (queue.length > 1 ? ", " + (queue.length - 1) + " more" : "")), el("div", { class: "bar" }, el("i")));
    try {
      await send("photographs", { name: f.name, modified: f.lastModified || 0 }, f, (x) => { const bar = ui.sending.querySelector("i"); if (bar) bar.style.width = 100 * x + "%"; });
      queue.shift();
    } catch (e) {
      if (e.status === 0) put(ui.sending, el("p", { class: "bad" }, "✗ " + e.message), el("p", { class: "hint" }, "It is sent again by itself when the link is back: leave this page open."));
      if (e.status === 0 && await linked()) continue;
      failed.push(e);
      queue.shift();
      if ((e.status === 0 || e.status === 409 || e.status === 507) && queue.length) {
        failed.push(new Wrong(queue.length + " more not sent: " + queue.map((q) => q.name).join(", "), "choose them again then"));
        queue = [];
      }
    }
  }
  sending = false;
  put(ui.sending, failed.map((e) => fault(e.message, e.hint)));
  now.refresh();
}

const states = { new: "waits to be looked at", ready: "may be measured", aside: "set aside", queued: "is being measured", in: "✓\u00a0recognised", out: "✗\u00a0not used" };

// doomed is the photograph that the next press on its button deletes: rows move down as
// new ones come, and a finger may land on another one than it meant.
let doomed = "";
async function forget(b, now) {
  const name = b.dataset.forget;
  if (doomed !== name) {
    doomed = name;
    setTimeout(() => { if (doomed === name) { doomed = ""; update(now); } }, 4000);
    update(now);
    return;
  }
  doomed = "";
  await doing(b, ui.told, async () => { await post("forget", { photograph: name }); return name + " is deleted here"; });
}

// why is what stands behind the few words about a photograph that takes no part; what was
// opened stays open.
const opened = new Set();
function why(p) {
  const all = [p.hint, p.reason !== p.brief && p.reason].filter(Boolean);
  return all.length ? el("details", { "data-why": p.name, open: opened.has(p.name) }, el("summary", {}, "why, and what to try"), all.map((t) => el("p", { class: "hint" }, t))) : null;
}

function row(p, now) {
  const can = p.state === "ready" || p.state === "in" || p.state === "out";
  const tick = el("input", { type: "checkbox", "data-name": p.name, "aria-label": "measure " + p.name, disabled: !can });
  tick.toggleAttribute("checked", can && ticked.has(p.name));
  const when = p.clock || (can ? "no time" : "");
  return el("li", { class: "shot", "data-state": p.state, "data-name": p.name },
    el("div", { class: "tick" }, tick, el("div", {}, el("b", {}, p.name), el("div", { class: "soft" }, [when, p.exposure_s ? p.exposure_s + " s" : "", p.spots ? p.spots + " spots" : "", states[p.state]].filter(Boolean).join(" · ")))),
    p.taken_by ? el("p", { class: "soft" }, "taken by " + p.taken_by + (p.turns || []).map((t) => "; RA turned by " + t.reported_deg.toFixed(1) + "° to the " + t.direction + " before" + (t.stopped_by === "angle" ? "" : ", ended by " + t.stopped_by)).join("")) : null,
    p.words ? el("p", { class: "soft" }, p.words) : null, p.brief ? el("p", {}, p.brief) : null, why(p), p.doubtful ? el("p", { class: "soft" }, "time: " + p.doubtful) : null,
    el("div", { class: "row picks" }, p.pictured ? el("button", { type: "button", "data-show": p.name }, "show") : null, el("button", { type: "button", "data-forget": p.name }, doomed === p.name ? "delete it?" : "forget")));
}

function update(now) {
  const s = now.summary, st = now.state;
  if (!touched) ticked = new Set(s.offered);
  put(ui.list, s.photographs.map((p) => row(p, now)));
  for (const i of ui.list.querySelectorAll("input")) {
    i.checked = !i.disabled && ticked.has(i.dataset.name);
    i.onchange = () => { touched = true; ticked[i.checked ? "add" : "delete"](i.dataset.name); buttons(now); };
  }
  for (const d of ui.list.querySelectorAll("[data-why]")) d.ontoggle = () => opened[d.open ? "add" : "delete"](d.dataset.why);
  for (const b of ui.list.querySelectorAll("[data-show]")) b.onclick = () => show(now, b.dataset.show, true);
  for (const b of ui.list.querySelectorAll("[data-forget]")) b.onclick = () => forget(b, now);
  put(ui.working, s.working ? el("p", {}, "… " + s.working) : null, s.watching ? el("p", { class: "soft" }, "New files of the folder " + s.watching + " are taken over.") : null);
  put(ui.next, st && s.photographs.length && (s.measured || s.offered.length < 2) ? el("p", { class: "back", id: "next-words" }, st.refusal ? "NO ANSWER: " + st.refusal : (st.offset_arcmin ? "Off by " + st.off_by + " " + st.off_plus + ". " : "") + st.next) : null,
    st ? st.doubts.map((d) => el("p", { class: "bad" }, "DOUBTFUL: " + d)) : null, st && !st.refusal ? st.notes.map((n) => el("p", { class: "soft" }, "Note: " + n)) : null);
  put(ui.on, s.measured ? el("a", { href: "adjust", class: "file" }, "to the adjusters →") : null);
  ui.follow.checked = s.following;
  camera(s.shooting);
  if (document.activeElement !== ui.zone.input) ui.zone.input.value = s.zone;
  ui.zone.input.placeholder = "this computer's, " + s.zone_here;
  buttons(now);
  // The newest that was looked at is shown, unless another one was asked for.
  const p = s.photographs.find((x) => x.pictured && (x.state === "in" || x.state === "out")) || s.photographs.find((x) => x.pictured);
  const want = s.photographs.find((x) => x.name === ui.asked) ? ui.asked : p && p.name;
  if (want) show(now, want, false);
  else ui.figure.hidden = true;
}

// camera shows what a camera that the program commands is at.
function camera(c) {
  ui.camera.hidden = !c;
  if (!c) return;
  ui.once.hidden = ui.many.hidden = c.on;
  ui.turning.hidden = c.on || !c.mount;
  ui.halt.hidden = !c.on;
  put(ui.halt, c.turns ? "end photographing and turning" : "stop photographing");
  put(ui.turn, "photograph and turn RA of " + c.mount);
  if (c.exposure_s && !ui.typed) ui.exposure.input.value = Number(c.exposure_s.toPrecision(3)); // as it was chosen
  put(ui.shot, el("p", {}, c.on && c.turns ? "… " + c.camera + " and " + c.mount + " are at work; what they are at stands above." : c.on ? "… " + c.camera + " exposes " + Number(c.exposure_s.toPrecision(3)) + " s" : c.camera + " waits."),
    c.trouble ? fault(c.trouble.error, c.trouble.hint) : null);
}

// number is what was typed into a field, with its unit or without; 0 for what is none.
const number = (f) => Number(f.input.value.trim().replace(",", ".").replace(/ ?(s|°)$/, "")) || 0;

function shoot(button, many) {
  ui.typed = false;
  return doing(button, ui.told, async () => { await post("shoot", { on: true, exposure_s: number(ui.exposure), many }); return ""; });
}

function turn() {
  return doing(ui.turn, ui.told, async () => { await post("turn", { exposure_s: number(ui.exposure), frames: number(ui.frames), turn_deg: number(ui.degrees), lowest_deg: number(ui.lowest), unpark: ui.unpark.checked }); scrollTo(0, 0); return ""; });
}

function buttons(now) {
  const s = now.summary, n = [...ticked].filter((x) => s.photographs.some((p) => p.name === x && p.state !== "aside" && p.state !== "new" && p.state !== "queued"));
  put(ui.measure, n.length < 2 ? "measure: choose two or more" : "measure the " + n.length + " chosen");
  ui.measure.disabled = n.length < 2;
  ui.measure.hidden = s.measured && !n.length;
  ui.names = n;
  const fresh = n.filter((x) => s.photographs.find((p) => p.name === x).state === "ready");
  ui.more.hidden = !s.measured || !fresh.length;
  ui.fresh = fresh;
}

async function show(now, name, asked) {
  if (asked) ui.asked = name;
  const p = now.summary.photographs.find((x) => x.name === name), k = name + p.state + p.stars;
  put(ui.caption, name + ": " + (p.words || p.brief || states[p.state]));
  ui.figure.hidden = false;
  ui.picture.setAttribute("aria-label", "photograph " + name + ": " + (p.stars ? p.stars + " stars recognised, marked with ticks" : p.spots + " spots found, marked with dots"));
  if (k === shown) { if (asked) ui.figure.scrollIntoView({ block: "center" }); return; }
  shown = k;
  try {
    marks = await get("marks", { name });
    const next = new Image();
    next.onload = () => { img = next; draw(); };
    next.src = "api/v1/picture?name=" + encodeURIComponent(name);
  } catch { marks = img = null; }
  draw();
  if (asked) ui.figure.scrollIntoView({ block: "center" });
}

// draw draws a photograph in the ink's colour: ticks beside what was recognised,
// dots on spots that were not.
function draw() {
  if (!ui || !marks || !ui.picture.isConnected || ui.figure.hidden) return;
  const b = board(ui.picture, marks.high / marks.wide), { c } = b, k = b.w / marks.wide;
  drawPhotograph(b, img, marks.known, k);
  for (const [x, y] of marks.known.length ? marks.spots.slice(0, 20) : marks.spots) { const px = (x + 0.5) * k, py = (y + 0.5) * k; c.fillRect(px - 1, py + 5, 2, 2); c.fillRect(px - 1, py - 7, 2, 2); }
}

export default {
  title: "Photographs",
  show(root, now) {
    const input = el("input", { type: "file", id: "files", multiple: true, onchange: () => { hand([...input.files], now); input.value = ""; } });
    const drop = el("label", { class: "file", for: "files" }, "choose photographs, or drop them here");
    drop.ondragover = (e) => { e.preventDefault(); drop.classList.add("over"); };
    drop.ondragleave = () => drop.classList.remove("over");
    drop.ondrop = (e) => { e.preventDefault(); drop.classList.remove("over"); hand([...e.dataTransfer.files], now); };
    ui = { list: el("ul", { id: "shots" }), sending: el("div", { role: "status", id: "sending" }), working: el("div", { role: "status" }), told: el("div", { role: "status" }), next: el("div", { "aria-live": "polite" }), on: el("div", {}),
      measure: el("button", { type: "button", class: "main", id: "measure" }), more: el("button", { type: "button", id: "go-on", hidden: true }, "go on with the new ones"),
      follow: el("input", { type: "checkbox", id: "follow" }), zone: field("Zone of the camera's clock, where files do not say", { maxlength: 40 }),
      picture: el("canvas", { role: "img" }), caption: el("figcaption", {}), asked: "" };
    ui.figure = el("figure", { hidden: true, class: "shot" }, ui.picture, ui.caption);
    ui.exposure = field("Exposure of the first, seconds", { inputmode: "decimal", value: "2", maxlength: 10, oninput: () => { ui.typed = true; } });
    ui.shot = el("div", { role: "status", id: "shot" });
    ui.once = el("button", { type: "button", id: "shoot-once", onclick: () => shoot(ui.once, false) }, "photograph once");
    ui.many = el("button", { type: "button", id: "shoot-many", onclick: () => shoot(ui.many, true) }, "photograph on and on");
    ui.halt = el("button", { type: "button", class: "main", id: "shoot-stop", hidden: true, onclick: () => doing(ui.halt, ui.told, async () => { await post("shoot", { on: false }); return "stopped"; }) }, "stop photographing");
    ui.frames = field("Photographs", { options: [["2", "2"], ["3", "3"], ["4", "4"], ["5", "5"]], value: "3", id: "turn-frames" });
    ui.degrees = field("RA turned between two, degrees", { inputmode: "decimal", value: "20", maxlength: 6, id: "turn-degrees" });
    ui.lowest = field("Camera never lower than, degrees up", { inputmode: "decimal", value: "20", maxlength: 6 });
    ui.unpark = el("input", { type: "checkbox", id: "turn-unpark" });
    ui.turn = el("button", { type: "button", class: "main", id: "shoot-turn", onclick: turn });
    ui.turning = el("div", { hidden: true }, el("div", { class: "pair" }, ui.frames.row, ui.degrees.row),
      el("details", {}, el("summary", {}, "limits of the turn"), ui.lowest.row, el("div", { class: "tick" }, ui.unpark, el("label", { for: "turn-unpark" }, "a parked mount may be unparked"))),
      el("p", { class: "soft" }, "Stay beside the mount. It asks before every turn, and nothing turns before a photograph was recognised."), ui.turn);
    ui.camera = section("By the camera itself", ui.exposure.row, el("div", { class: "row" }, ui.once, ui.many), ui.turning, ui.halt, ui.shot);
    ui.camera.hidden = true;
    ui.list.style.listStyle = "none";
    ui.list.style.padding = 0;
    touched = false;
    shown = "";
    ui.measure.onclick = () => doing(ui.measure, ui.told, async () => { await post("measure", { photographs: ui.names, anew: true }); touched = false; return ""; });
    ui.more.onclick = () => doing(ui.more, ui.told, async () => { await post("measure", { photographs: ui.fresh, anew: false }); touched = false; return ""; });
    ui.follow.onchange = () => doing(null, ui.told, async () => { await post("follow", { on: ui.follow.checked }); return ui.follow.checked ? "each new photograph is measured at once" : ""; });
    const zone = el("button", { type: "submit" }, "take this zone");
    root.append(el("h1", {}, "Photographs"), el("div", { class: "two" },
      el("div", {}, el("p", {}, "Clamp everything; only RA may turn. Photograph any clear sky, turn RA by 20° or more, photograph again, and once more."), ui.camera, input, drop, ui.on, ui.measure, ui.more, ui.told, ui.next, ui.sending, ui.working, ui.figure),
      el("div", {}, section("Handed over", ui.list),
        section("How", el("div", { class: "tick" }, ui.follow, el("label", { for: "follow" }, "measure each new photograph at once, as while the bolts are turned")),
          el("form", { onsubmit: (e) => { e.preventDefault(); doing(zone, ui.told, async () => { await post("zone", { zone: ui.zone.input.value.trim() }); return "taken; the photographs are looked at again"; }); } }, ui.zone.row, zone)))));
  },
  update,
  draw,
};
