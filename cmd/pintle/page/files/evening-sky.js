// Where to point: the sky as it is, what blocks it, and suggestions.
import { el, put, get, post, doing, field, section, told } from "./evening-kit.js";

let ui, key, sky, plan, chosen = 0, heights = new Array(72).fill(0), drawing = false;

const form = () => {
  const out = el("div", { role: "status", id: "plan-told" });
  const f = { field: field("Field of the camera, degrees", { placeholder: "2.1x1.4", maxlength: 20 }), frames: field("Photographs", { options: [["2", "2"], ["3", "3"], ["4", "4"], ["5", "5"], ["6", "6"]], value: "3" }),
    min: field("Not below, degrees up", { placeholder: "25", maxlength: 8 }), at: field("Time (empty: now, or when it is dark)", { placeholder: "21:30", maxlength: 25 }) };
  const find = el("button", { type: "submit", class: "main", id: "plan-find" }, "where to point?");
  const e = el("form", { onsubmit: (ev) => { ev.preventDefault(); doing(find, out, findPlan); } }, el("div", { class: "pair" }, f.field.row, f.frames.row, f.min.row, f.at.row), find, out);
  return { e, f, out };
};

const pick = (q) => Object.fromEntries(Object.entries(q).filter(([, v]) => v));

async function findPlan() {
  const f = ui.form.f;
  plan = await get("point", pick({ field: f.field.input.value, frames: f.frames.input.value, min_alt: f.min.input.value, at: f.at.input.value }));
  chosen = 0;
  await fetchSky(plan.time);
  showPlan();
  return "";
}

function showPlan() {
  put(ui.plan, !plan ? null : [
    el("p", { class: "soft" }, "For " + plan.clock + (plan.waited ? ", when it is dark" : "") + "; field " + plan.field + "°, " + plan.field_source + "."),
    plan.none ? el("p", { class: "bad" }, plan.none) : null,
    el("ol", {}, plan.suggestions.map((s) => el("li", { class: "back" }, s.words))),
    plan.suggestions.length ? el("p", { class: "soft" }, "The pole need not be in sight. Declination, camera and focus stay as they are; turn RA only.") : null]);
  draw();
}

async function fetchSky(at) {
  try { sky = await get("sky", at ? { at } : null); } catch (e) { sky = null; told(ui.skyWords, e); return; }
  put(ui.skyWords, el("p", { class: "soft" }, sky.clock + ". " + sky.twilight[0].toUpperCase() + sky.twilight.slice(1) + ". " + (sky.until_dark ? sky.until_dark + " " : "") + sky.moon_now));
  draw();
}

// draw draws the sky as it looks to someone on their back: zenith in the middle,
// north on top, east on the left.
function draw() {
  if (ui && ui.strip.isConnected) drawStrip();
  if (!ui || !sky || !ui.canvas.isConnected) return;
  const b = board(ui.canvas, 1), { c, w } = b, m = w / 2, r = m - 26;
  const at = (az, alt) => { const k = r * (1 - alt / 90), a = az * Math.PI / 180; return [m - k * Math.sin(a), m - k * Math.cos(a)]; };
  const path = (pts, close) => { c.beginPath(); pts.forEach((p, i) => c[i ? "lineTo" : "moveTo"](...p)); if (close) c.closePath(); };
  c.lineJoin = "round"; c.textAlign = "center"; c.textBaseline = "middle";
  // Twilight: a shade, strongest where the Sun is, as dark as the ink of lines at most.
  const lit = Math.min(Math.max((sky.sun_alt_deg + 18) / 18, 0), 1);
  if (lit > 0) {
    const g = c.createRadialGradient(...at(sky.sun[0], 0), 0, ...at(sky.sun[0], 0), 2 * r);
    g.addColorStop(0, b.faint); g.addColorStop(1, b.ground);
    c.save(); c.globalAlpha = 0.4 * lit; c.fillStyle = g; c.beginPath(); c.arc(m, m, r, 0, 7); c.fill(); c.restore();
  }
  c.strokeStyle = b.soft; c.lineWidth = 1.5; c.beginPath(); c.arc(m, m, r, 0, 7); c.stroke();
  c.strokeStyle = b.faint; c.lineWidth = 1;
  for (const alt of [30, 60]) { c.beginPath(); c.arc(m, m, r * (1 - alt / 90), 0, 7); c.stroke(); }
  c.fillStyle = b.soft; c.font = "bold 14px sans-serif";
  for (const [t, az] of [["N", 0], ["E", 90], ["S", 180], ["W", 270]]) c.fillText(t, ...at(az, -90 * 13 / r));
  // Lines between stars, then the stars by brightness.
  c.strokeStyle = b.faint; c.lineWidth = 1.2;
  for (const f of sky.figures) for (const l of f.lines) { path(l.map((p) => at(...p))); c.stroke(); }
  c.fillStyle = b.ink;
  for (const [az, alt, v] of sky.stars) { c.beginPath(); c.arc(...at(az, alt), Math.max(0.6, 3.6 - 0.75 * v), 0, 7); c.fill(); }
  // What blocks the sky, slanted lines.
  c.fillStyle = b.faint;
  for (const s of sky.blocked) {
    const to = s.to_deg <= s.from_deg ? s.to_deg + 360 : s.to_deg, pts = [];
    for (let a = s.from_deg; a <= to + 0.01; a += Math.min(2, to - s.from_deg || 2)) pts.push(at(a, 0));
    for (let a = to; a >= s.from_deg - 0.01; a -= Math.min(2, to - s.from_deg || 2)) pts.push(at(a, s.alt_deg));
    path(pts, true); c.fill();
  }
  // What a photograph shows of that: a broken line.
  if (ui.learnt) {
    c.strokeStyle = b.ink; c.lineWidth = 2; c.setLineDash([6, 4]);
    for (const s of ui.learnt.stretches) { path([0, 1, 2, 3, 4].map((k) => at(s.from_deg + k * (s.to_deg - s.from_deg) / 4, s.alt_deg))); c.stroke(); }
    c.setLineDash([]);
  }
  // Names, where there is room.
  const boxes = [["N", 0], ["E", 90], ["S", 180], ["W", 270]].map(([, az]) => { const [x, y] = at(az, -90 * 13 / r); return { x, y, half: 8 }; }), label = (t, x, y, font) => {
    c.font = font;
    const half = c.measureText(t).width / 2 + 3;
    x = Math.min(Math.max(x, half), w - half);
    if (boxes.some((q) => Math.abs(q.x - x) < q.half + half && Math.abs(q.y - y) < 17)) return;
    boxes.push({ x, y, half });
    c.fillText(t, x, y);
  };
  drawPlan(b, at, path, label);
  c.fillStyle = b.ink;
  const [px, py] = at(...sky.pole);
  c.strokeStyle = b.ink; c.lineWidth = 2; path([[px - 7, py], [px + 7, py]]); c.stroke(); path([[px, py - 7], [px, py + 7]]); c.stroke();
  label("pole", px, py + 15, "bold 13px sans-serif");
  if (sky.moon[1] > 0) {
    const [mx, my] = at(...sky.moon);
    c.beginPath(); c.arc(mx, my, 8, 0, 7); c.stroke(); c.beginPath(); c.arc(mx, my, 8, Math.PI / 2, 1.5 * Math.PI); c.fill();
    label("Moon " + Math.round(100 * sky.moon_lit) + "%", mx, my + 17, "bold 13px sans-serif");
  }
  c.fillStyle = b.soft;
  const most = w < 420 ? 14 : 40;
  sky.named.slice(0, most).forEach((n) => { const [x, y] = at(n.az_deg, n.alt_deg); label(n.name, x, y + 11, "12px sans-serif"); });
  if (w > 420) for (const f of sky.figures) {
    const all = f.lines.flat(), x = all.reduce((s, p) => s + at(...p)[0], 0) / all.length, y = all.reduce((s, p) => s + at(...p)[1], 0) / all.length;
    label(f.name.toUpperCase(), x, y, "10px sans-serif");
  }
}

// drawPlan marks the suggestions: a numbered ring at the first photograph, dots at
// the others, joined.
function drawPlan(b, at, path, label) {
  if (!plan) return;
  const c = b.c;
  plan.suggestions.forEach((s, i) => {
    const pts = s.frames.map((f) => at(f.az_deg, f.alt_deg));
    c.strokeStyle = c.fillStyle = b.ink;
    c.lineWidth = i === chosen ? 3 : 1.5; c.setLineDash(i === chosen ? [] : [5, 4]);
    path(pts); c.stroke(); c.setLineDash([]);
    pts.forEach(([x, y], k) => { c.beginPath(); c.arc(x, y, k ? 4 : 10, 0, 7); k ? c.fill() : (c.save(), c.fillStyle = b.ground, c.fill(), c.restore(), c.stroke()); });
    c.font = "bold 13px sans-serif";
    c.fillText(i + 1, pts[0][0], pts[0][1] + 1);
    if (i === chosen) label(s.size, (pts[0][0] + pts[pts.length - 1][0]) / 2, Math.max(...pts.map((p) => p[1])) + 18, "bold 13px sans-serif");
  });
}

// The strip: the horizon all round, drawn with a finger. A column is 5 degrees.
const top = 70, columns = 72;

function drawStrip() {
  const b = board(ui.strip, innerWidth < 500 ? 0.42 : 0.2), { c, w, h } = b, foot = 18, y = (alt) => (h - foot) * (1 - alt / top);
  c.fillStyle = b.faint;
  for (let i = 0; i < columns; i++) c.fillRect(i * w / columns, y(heights[i]), w / columns + 0.5, h - foot - y(heights[i]));
  c.strokeStyle = b.ink; c.lineWidth = 2; c.beginPath();
  for (let i = 0; i < columns; i++) { c.lineTo(i * w / columns, y(heights[i])); c.lineTo((i + 1) * w / columns, y(heights[i])); }
  c.stroke();
  c.strokeStyle = b.faint; c.lineWidth = 1;
  c.fillStyle = b.soft; c.font = "12px sans-serif"; c.textAlign = "center";
  ["N", "NE", "E", "SE", "S", "SW", "W", "NW"].forEach((t, i) => { const x = i * w / 8; c.fillText(t, Math.max(x, 6), h - 4); });
  c.textAlign = "left";
  if (ui.learnt) {
    c.strokeStyle = b.ink; c.lineWidth = 2; c.setLineDash([6, 4]);
    for (const s of ui.learnt.stretches) { c.beginPath(); c.moveTo(s.from_deg * w / 360, y(s.alt_deg)); c.lineTo(s.to_deg * w / 360, y(s.alt_deg)); c.stroke(); }
    c.setLineDash([]); c.strokeStyle = b.faint; c.lineWidth = 1;
  }
  for (const alt of [20, 40, 60]) { c.beginPath(); c.moveTo(0, y(alt)); c.lineTo(w, y(alt)); c.stroke(); c.fillText(alt + "°", 3, y(alt) - 3); }
}

function finger(e) {
  if (!drawing) return;
  const q = ui.strip.getBoundingClientRect(), foot = 18;
  const i = Math.floor((e.clientX - q.left) / q.width * columns), alt = top * (1 - (e.clientY - q.top) / (q.height - foot));
  const from = drawing.last === undefined ? i : drawing.last;
  for (let k = Math.min(i, from); k <= Math.max(i, from); k++) if (k >= 0 && k < columns) heights[k] = Math.round(Math.min(Math.max(alt, 0), top));
  drawing.last = i;
  drawStrip();
}

// The same by keyboard: left and right choose a direction, up and down its height.
let column = 0;
function keys(e) {
  const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 2], ArrowDown: [0, -2] }[e.key];
  if (!step) return;
  e.preventDefault();
  column = (column + step[0] + columns) % columns;
  heights[column] = Math.min(Math.max(heights[column] + step[1], 0), top);
  ui.strip.setAttribute("aria-valuenow", heights[column]);
  ui.strip.setAttribute("aria-valuetext", "azimuth " + column * 5 + " degrees: blocked to " + heights[column] + " degrees");
  drawStrip();
}

const line = () => heights.flatMap((h, i) => [[i * 5 + 0.01, h], [i * 5 + 4.99, h]]);

function blocks(now) {
  const out = el("div", { role: "status", id: "blocks-told" });
  ui.strip = el("canvas", { id: "strip", tabindex: 0, role: "slider", "aria-label": "what blocks the sky; arrow keys choose direction and height", "aria-valuemin": 0, "aria-valuemax": top, "aria-valuenow": 0 });
  ui.strip.addEventListener("pointerdown", (e) => { drawing = {}; ui.strip.setPointerCapture(e.pointerId); finger(e); });
  ui.strip.addEventListener("pointermove", finger);
  ui.strip.addEventListener("pointerup", () => { drawing = false; });
  ui.strip.addEventListener("pointercancel", () => { drawing = false; });
  ui.strip.addEventListener("keydown", keys);
  ui.text = el("textarea", { id: "blocks-text", rows: 4, placeholder: "80 140 35" });
  const keep = el("button", { type: "button", id: "blocks-keep" }, "keep what I drew");
  keep.onclick = () => doing(keep, out, async () => { await post("blocks", { drawn: heights.some((h) => h) ? line() : [] }); fetchSky(plan && plan.time); return "kept; ask anew where to point"; });
  const write = el("button", { type: "button" }, "keep what I wrote");
  write.onclick = () => doing(write, out, async () => { await post("blocks", { text: ui.text.value }); fetchSky(plan && plan.time); return "kept; ask anew where to point"; });
  const nothing = el("button", { type: "button" }, "nothing blocks it");
  nothing.onclick = () => doing(nothing, out, async () => { heights.fill(0); await post("blocks", { drawn: [] }); fetchSky(plan && plan.time); return "taken back"; });
  ui.offer = el("div", { id: "learnt", role: "status" });
  ui.answer = (on, name, button) => doing(button, out, async () => { await post("learnt", { photograph: name, on }); fetchSky(plan && plan.time); return on ? "taken over; ask anew where to point" : "left as it is"; });
  return section("What blocks the sky?", el("p", {}, "Draw roofs and trees with a finger, all round from north through east, as high as they reach."), ui.strip, el("div", { class: "row" }, keep, nothing), out, ui.offer,
    el("details", {}, el("summary", {}, "or write it"), el("label", { for: "blocks-text" }, "A line for each stretch: first azimuth, last azimuth, lowest clear altitude, degrees"), ui.text, write));
}

function update(now) {
  const s = now.summary, k = JSON.stringify([s.place, s.blocks, s.learnt]);
  if (k === key) return;
  key = k;
  ui.learnt = s.learnt;
  const yes = el("button", { type: "button", id: "learnt-take" }, "take it over"), no = el("button", { type: "button", id: "learnt-leave" }, "leave it");
  put(ui.offer, !s.learnt ? null : [el("p", { class: "back" }, s.learnt.words), el("p", { class: "soft" }, "The broken line. Cloud low down looks the same as trees."), el("div", { class: "row" }, yes, no)]);
  if (s.learnt) { document.getElementById("learnt-take").onclick = (e) => ui.answer(true, s.learnt.photograph, e.target); document.getElementById("learnt-leave").onclick = (e) => ui.answer(false, s.learnt.photograph, e.target); }
  ui.text.value = s.blocks;
  if (!drawing) {
    heights.fill(0);
    for (const [az, alt] of s.drawn) { const i = Math.min(columns - 1, Math.floor(az / 5)); heights[i] = Math.max(heights[i], alt); }
  }
  ui.form.f.field.input.placeholder = s.field_seen ? s.field_seen + ", as seen" : s.cameras.length ? "the camera's" : "2.1x1.4";
  if (s.place) fetchSky(plan && plan.time);
  else told(ui.skyWords, new Error("say first, by day, where the mount stands"));
  drawStrip();
}

export default {
  title: "Where to point",
  show(root, now) {
    ui = { form: form(), canvas: el("canvas", { id: "sky", role: "img", "aria-label": "the sky now: stars, Moon, pole, what blocks it, and where to point; the words beside say the same" }), skyWords: el("div", { role: "status", id: "sky-words" }), plan: el("div", { id: "plan", "aria-live": "polite" }) };
    key = null;
    const part = blocks(now);
    root.append(el("h1", {}, "Where to point"), el("div", { class: "two" }, el("div", {}, ui.canvas, ui.skyWords), el("div", {}, section("Suggestions", ui.form.e, ui.plan), part)));
    if (plan) showPlan();
  },
  update,
  draw,
};
