// By day: where the mount stands, how to set it up, the Sun's shadow, and gear.
import { el, put, get, post, send, doing, field, section, list, told } from "./evening-kit.js";

let ui, key, day, pick = 0;

function where(now) {
  const out = el("div", { role: "status", id: "place-told" }), back = el("div", { id: "place-back" }), known = el("div", { class: "picks row" });
  const place = field("Latitude and longitude of the mount, in any spelling", { id: "place-text", maxlength: 100, placeholder: "31°24'S 121°54'E" });
  const elev = field("Elevation above the sea (may be left out)", { id: "place-elev", maxlength: 20, placeholder: "430m or 1400ft" });
  const say = el("button", { type: "submit", id: "place-say" }, "this is the place");
  const form = el("form", { onsubmit: (e) => { e.preventDefault(); doing(say, out, async () => { await post("place", { text: place.input.value, elev: elev.input.value }); return "taken; read the sentence above"; }); } },
    place.row, elev.row, say);
  const photo = el("input", { type: "file", id: "place-photo", accept: "image/*", onchange: () => photo.files[0] && doing(null, out, async () => {
    await send("place-photo", { name: photo.files[0].name }, photo.files[0]);
    return "the photograph says where it was taken";
  }) });
  const here = el("button", { type: "button", hidden: !(navigator.geolocation && isSecureContext), onclick: () => doing(here, out, async () => {
    const p = await new Promise((ok, no) => navigator.geolocation.getCurrentPosition(ok, (e) => no(new Error(e.message)), { timeout: 20000, enableHighAccuracy: true }));
    await post("place", { lat_deg: p.coords.latitude, lon_deg: p.coords.longitude, elev_m: p.coords.altitude || 0 });
    return "this device knows where it is";
  }) }, "where this device is");
  return { back, known, out, part: section("Where does the mount stand?", back, form, el("div", { class: "row" }, here, el("div", {}, photo, el("label", { class: "file", for: "place-photo" }, "from a phone's photograph"))), known, out) };
}

function update(now) {
  const s = now.summary, p = s.place;
  put(ui.where.back, p ? s.place_back.map((t, i) => el("p", { class: i ? "" : "back" }, t)) : el("p", {}, "Nobody has said it yet. Photographs that say where they were taken will do, too."),
    p ? el("p", { class: "soft" }, p.lat_deg.toFixed(4) + "°, " + p.lon_deg.toFixed(4) + "°, " + p.elev_m.toFixed(0) + " m; " + p.source) : null);
  put(ui.where.known, s.sites.map((n) => el("button", { type: "button", "data-site": n }, n)));
  for (const b of ui.where.known.children) b.onclick = () => doing(b, ui.where.out, async () => { await post("place", { site: b.dataset.site }); return "taken"; });
  const k = JSON.stringify([p, s.mount, s.mounts]);
  if (k !== key) { key = k; below(now); }
}

// below fetches what stands below the place, from the top down, so that nothing that
// can be pressed is pushed away.
async function below(now) {
  const mine = ui;
  await fetchDay(now);
  if (mine === ui) await fetchGear(now);
  if (mine === ui && !ui.phone.firstChild) phone(ui.phone);
}

async function fetchDay(now) {
  ui.setup.classList.toggle("room", Boolean(now.summary.place));
  if (!now.summary.place) { day = null; put(ui.setup, el("p", {}, "Say first where the mount stands.")); put(ui.shade); return; }
  try { day = await get("day"); } catch (e) { told(ui.setup, e); return; }
  put(ui.setup,
    el("div", { class: "pair" },
      el("div", {}, el("p", { class: "soft" }, "altitude scale"), el("p", { class: "big", id: "day-altitude" }, day.altitude_deg.toFixed(1) + "°")),
      el("div", {}, el("p", { class: "soft" }, "compass"), el("p", { class: "big", id: "day-bearing" }, day.bearing.startsWith("none") ? "none" : day.magnetic_deg.toFixed(0) + "°"))),
    list(day.steps, "ol"), day.compass.map((t) => el("p", { class: "soft" }, t)));
  const canvas = el("canvas", { id: "shadow", role: "img", "aria-label": "the tripod from above with the plumb line's shadow; the table below says the same" });
  const hour = new Date().getHours();
  pick = Math.max(0, day.shadows.findIndex((x) => +x.clock.slice(0, 2) >= hour));
  const rows = day.shadows.map((x, i) => el("tr", {}, el("td", {}, el("button", { type: "button", onclick: () => { pick = i; drawShadow(); } }, x.clock)),
    el("td", {}, x.sun_alt_deg.toFixed(0) + "°"), el("td", {}, x.shadow_az_deg.toFixed(0) + "°"), el("td", {}, Math.abs(x.turn_deg).toFixed(0) + "° " + hand(x))));
  put(ui.shade, day.shadows.length ? [
    el("p", {}, "Hang a plumb line and look along its shadow, away from the Sun. Turned by the angle, seen from above, you face the pole."), canvas, el("p", { id: "shadow-words", role: "status" }),
    el("div", { class: "table" }, el("table", {}, el("thead", {}, el("tr", {}, ["time", "Sun up", "shadow", "turn to the pole"].map((t) => el("th", { scope: "col" }, t)))), el("tbody", {}, rows)))]
    : el("p", {}, "The Sun does not help on this day: it stays low, or overhead."), day.cautions.map((t) => el("p", { class: "bad" }, t)));
  drawShadow();
}

// hand is the side to which to turn from the shadow's direction.
const hand = (x) => x.turn_deg < 0 ? "left" : "right";

// drawShadow draws the tripod from above, north on top, east on the right.
function drawShadow() {
  const canvas = document.getElementById("shadow");
  if (!canvas || !day || !day.shadows.length) return;
  const x = day.shadows[pick], b = board(canvas, 0.86), { c, w, h } = b, mx = w / 2, my = h / 2, r = Math.min(w, h) / 2 - 26;
  const at = (az, k) => [mx + Math.sin(az * Math.PI / 180) * r * k, my - Math.cos(az * Math.PI / 180) * r * k];
  c.strokeStyle = b.faint; c.fillStyle = b.soft; c.font = "bold 14px sans-serif"; c.textAlign = "center"; c.textBaseline = "middle";
  c.lineWidth = 1; c.beginPath(); c.arc(mx, my, r, 0, 7); c.stroke();
  for (const [t, az] of [["N", 0], ["E", 90], ["S", 180], ["W", 270]]) c.fillText(t, ...at(az, 1 + 13 / r));
  // Three legs, one toward the pole.
  c.lineWidth = 5; c.strokeStyle = b.soft; c.beginPath();
  for (const k of [0, 120, 240]) { c.moveTo(mx, my); c.lineTo(...at(day.facing_deg + k, 0.42)); }
  c.stroke();
  // The shadow, dark and broad in dashes; the way to the pole, a line with a tip.
  c.lineWidth = 4; c.strokeStyle = b.ink; c.setLineDash([9, 6]); c.beginPath(); c.moveTo(mx, my); c.lineTo(...at(x.shadow_az_deg, 0.92)); c.stroke(); c.setLineDash([]);
  c.lineWidth = 4; c.beginPath(); c.moveTo(mx, my); c.lineTo(...at(day.facing_deg, 0.9)); c.stroke();
  const [tx, ty] = at(day.facing_deg, 0.98), a = day.facing_deg;
  c.fillStyle = b.ink; c.beginPath(); c.moveTo(tx, ty); c.lineTo(...at(a + 6, 0.84)); c.lineTo(...at(a - 6, 0.84)); c.fill();
  // The turn from one to the other.
  c.lineWidth = 3; c.beginPath(); c.arc(mx, my, r * 0.6, (x.shadow_az_deg - 90) * Math.PI / 180, (x.shadow_az_deg + x.turn_deg - 90) * Math.PI / 180, x.turn_deg < 0); c.stroke();
  c.font = "13px sans-serif";
  const label = (t, az, k) => { const [px, py] = at(az, k); c.fillText(t, Math.min(Math.max(px, 34), w - 34), py); };
  label("shadow", x.shadow_az_deg + (x.turn_deg > 0 ? -16 : 16), 0.78);
  label("pole", day.facing_deg + (x.turn_deg > 0 ? 16 : -16), 0.8);
  c.font = "bold 15px sans-serif";
  label(Math.abs(x.turn_deg).toFixed(0) + "°", x.shadow_az_deg + x.turn_deg / 2, 0.47);
  put(document.getElementById("shadow-words"), "At " + x.clock + ": look along the shadow, then turn " + hand(x) + ": " + x.turn + ", seen from above.");
}

async function fetchGear(now) {
  let g;
  try { g = await get("gear"); } catch (e) { told(ui.gear, e); return; }
  const s = now.summary, out = el("div", { role: "status" });
  const choose = (label, known, chosen, use) => known.length < 2 ? null : (() => {
    const f = field(label, { options: [["", "the gear file's default"], ...known.map((n) => [n, n])], value: chosen });
    f.input.onchange = () => doing(null, out, async () => { await post("use", use(f.input.value)); return "taken"; });
    return f.row;
  })();
  const forms = Object.keys(g.forms).map((kind) => {
    const name = field("name", { maxlength: 60, list: "names-" + kind });
    const fields = g.forms[kind].map((f) => f.key === "guided"
      ? { key: f.key, ...field(f.label, { options: [["", "no"], ["yes", "yes"]] }) } : { key: f.key, ...field(f.label, { maxlength: 60, placeholder: f.like }) });
    name.input.oninput = () => { const t = g.things[kind][name.input.value]; if (t) for (const f of fields) f.input.value = t[f.key] || ""; };
    const said = el("div", { role: "status" });
    const keep = el("button", { type: "submit" }, "keep this " + kind);
    return el("details", {}, el("summary", {}, kind + (Object.keys(g.things[kind]).length ? ": " + Object.keys(g.things[kind]).join(", ") : ": none yet")),
      el("form", { "data-kind": kind, onsubmit: (e) => {
        e.preventDefault();
        doing(keep, said, async () => {
          const n = name.input.value.trim();
          await post("gear", { kind, name: n, values: Object.fromEntries(fields.map((f) => [f.key, f.input.value])), replace: n in g.things[kind] });
          key = null;
          now.refresh();
          return "kept in the gear file";
        });
      } }, el("datalist", { id: "names-" + kind }, Object.keys(g.things[kind]).map((n) => el("option", { value: n }))), name.row, el("div", { class: "pair" }, fields.map((f) => f.row)), keep, said));
  });
  ui.gear.replaceChildren(...[choose("camera", s.cameras, s.camera, (v) => ({ camera: v, mount: s.mount })), choose("mount", s.mounts, s.mount, (v) => ({ camera: s.camera, mount: v })), ...forms, out].filter(Boolean));
}

// phone shows the code that another screen opens the evening with, once asked: it
// is bright.
async function phone(root) {
  let codes = [];
  try { codes = await get("phone"); } catch { return; }
  if (!codes.length) { put(root, el("p", { class: "soft" }, "Only this computer is served. Started with --phone, a phone in the same network may look on, or take the controls.")); return; }
  const canvas = el("canvas", { role: "img", "aria-label": "QR code of the address below", hidden: true });
  canvas.style.maxWidth = "18rem";
  const show = el("button", { type: "button", onclick: () => {
    canvas.hidden = false;
    show.hidden = true;
    const b = board(canvas, 1), rows = codes[0].rows, k = b.w / (rows.length + 4);
    b.c.fillStyle = byDay() ? "#fff" : b.ink;
    b.c.fillRect(0, 0, b.w, b.h);
    b.c.fillStyle = "#000";
    rows.forEach((r, y) => [...r].forEach((x, i) => x === "1" && b.c.fillRect((i + 2) * k, (y + 2) * k, k + 0.5, k + 0.5)));
  } }, "show the code (bright)");
  put(root, el("p", {}, "Whoever has this address has the page. A phone in the same network opens:"), codes.map((c) => el("p", {}, c.link)), show, canvas);
}

export default {
  title: "By day",
  show(root, now) {
    ui = { where: where(now), setup: el("div", { id: "setup" }), shade: el("div", {}), gear: el("div", { id: "gear" }), phone: el("div", {}) };
    key = null;
    root.append(el("h1", {}, "By day"), el("div", { class: "two" }, el("div", {}, ui.where.part, section("Set the mount up", ui.setup)), el("div", {}, section("By the Sun's shadow", ui.shade), section("Gear, told once", ui.gear), section("On the phone", ui.phone))));
  },
  update,
  draw: drawShadow,
};
