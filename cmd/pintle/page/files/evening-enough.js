// Enough? What the lens, the exposure and the target allow, and what the remaining
// error does to a star in the corner of the picture.
import { el, put, get, post, doing, field, section } from "./evening-kit.js";

let ui, said, key;

const asks = [["target", "Target: M42, NGC 253, IC 434, a common name, or a bright star", "M42"], ["focal", "Focal length, mm", "400"], ["pixel", "Pixel size, µm", "3.76"], ["exposure", "One exposure, seconds", "180"],
  ["width", "Width of the frame, pixels", "6248"], ["height", "Height of the frame, pixels", "4176"], ["trail", "Longest trail you accept, pixels", "1"], ["min_alt", "Target not below, degrees up", "30"]];

async function ask() {
  const q = {};
  for (const [k] of asks) if (ui.f[k].input.value.trim()) q[k] = ui.f[k].input.value.trim();
  if (ui.guided.input.value) q.guided = ui.guided.input.value;
  said = await get("enough", q);
  show();
  return "";
}

function show() {
  const s = said, e = s.effect;
  put(ui.says, el("p", { class: "soft" }, s.exposure), el("p", {}, "Any target, anywhere: the axis may be off by"), el("p", { class: "big", id: "allowed" }, s.allowed),
    s.target ? [el("p", { class: "back" }, s.target.words[0]), s.target.words.slice(1).map((t) => el("p", {}, t))] : null,
    el("button", { type: "button", id: "use-tolerance" }, "go by what the exposures allow from now on"),
    e ? [el("p", { class: "back", id: "effect" }, (e.within ? "✓ Enough: " : "✗ Not enough: ") + "the axis is off by " + e.off_by + "."), e.words.map((t) => el("p", {}, t))] : el("p", { class: "soft", id: "effect" }, "Nothing is measured yet. Once it is, what the error does stands here."));
  const use = ui.says.querySelector("#use-tolerance");
  if (use) use.onclick = () => doing(use, ui.told, async () => { await post("tolerance", { text: (s.target ? s.target.allowed_arcmin : s.allowed_worst_arcmin).toFixed(2) }); return "the tolerance is kept in the gear file"; });
  ui.figure.hidden = !e;
  draw();
}

// draw draws a star in the corner, many pixels large: as it would be, and as the
// error trails it.
function draw() {
  if (!ui || !said || !said.effect || !ui.canvas.isConnected || ui.figure.hidden) return;
  const e = said.effect, b = board(ui.canvas, 0.5), { c, w, h } = b;
  // The trail as the worst exposure has it: along both circles and about the middle.
  let dx = e.ra_px + e.rotation_px * 0.7, dy = e.dec_px - e.rotation_px * 0.7;
  const long = Math.hypot(dx, dy) || 1;
  dx *= e.trail_px / long;
  dy *= e.trail_px / long;
  const cells = Math.max(9, Math.ceil(e.trail_px) + 7), size = Math.min(w / 2 - 12, h - 26) / cells;
  const star = (x0, label, tx, ty) => {
    const steps = Math.max(1, Math.ceil(e.trail_px * 3)), val = [];
    let top = 0;
    for (let y = 0; y < cells; y++) for (let x = 0; x < cells; x++) {
      let v = 0;
      for (let i = 0; i <= steps; i++) {
        const t = i / steps - 0.5, ax = x - (cells - 1) / 2 - tx * t, ay = y - (cells - 1) / 2 - ty * t;
        v += Math.exp(-(ax * ax + ay * ay) / (2 * 1.1 * 1.1));
      }
      val.push(v);
      top = Math.max(top, v);
    }
    val.forEach((v, i) => { c.globalAlpha = v / top; c.fillStyle = b.ink; c.fillRect(x0 + (i % cells) * size, Math.floor(i / cells) * size, size - 0.5, size - 0.5); });
    c.globalAlpha = 1;
    c.strokeStyle = b.faint;
    c.strokeRect(x0, 0, cells * size, cells * size);
    c.fillStyle = b.soft;
    c.font = "13px sans-serif";
    c.textAlign = "center";
    c.fillText(label, x0 + cells * size / 2, cells * size + 17);
  };
  star((w / 2 - cells * size) / 2, "axis on the pole", 0, 0);
  star(w / 2 + (w / 2 - cells * size) / 2, "as it is: " + e.trail_px.toFixed(2) + " px", dx, dy);
}

function update(now) {
  const o = now.state && now.state.offset_arcmin, k = JSON.stringify([o && o.total, now.summary.camera, now.summary.cameras, now.summary.place]);
  if (k === key) return;
  key = k;
  if (now.summary.cameras.length || said) doing(null, ui.told, ask);
}

// offer lists the targets that what is typed may become, spelt as it is typed.
function offer(input, names) {
  const typed = input.value.trim();
  if (typed.length < 2) return;
  get("targets", { search: typed }).then((found) => {
    if (input.value.trim() !== typed) return;
    const spelt = (name) => (typed.includes(" ") ? name : name.replace(/^(M|NGC|IC) /, "$1"));
    put(names, found.map((n) => el("option", { value: spelt(n.split(",")[0]) }, n)));
  }).catch(() => {});
}

export default {
  title: "Enough?",
  show(root, now) {
    ui = { f: {}, says: el("div", { id: "says", "aria-live": "polite" }), told: el("div", { role: "status", id: "enough-told" }), canvas: el("canvas", { id: "star", role: "img", "aria-label": "a star in the picture's corner, as it would be and as the error trails it" }) };
    key = null;
    ui.figure = el("figure", { hidden: true }, ui.canvas, el("figcaption", {}, "A star in the corner of the picture, pixel by pixel."));
    for (const [k, label, like] of asks) ui.f[k] = field(label, { maxlength: 40, placeholder: like, name: k, list: k === "target" ? "targets" : null });
    ui.guided = field("Guided in both axes?", { options: [["", "as in gear"], ["no", "no"], ["yes", "yes"]] });
    const names = el("datalist", { id: "targets" }), go = el("button", { type: "submit", class: "main", id: "ask-enough" }, "is it enough?");
    ui.f.target.input.oninput = () => offer(ui.f.target.input, names);
    root.append(el("h1", {}, "Enough?"), el("div", { class: "two" },
      el("form", { onsubmit: (e) => { e.preventDefault(); doing(go, ui.told, ask); } }, el("p", { class: "soft" }, "What is left empty comes from the camera in the gear file."), ui.f.target.row, names, el("div", { class: "pair" }, asks.slice(1).map(([k]) => ui.f[k].row), ui.guided.row), go, ui.told),
      el("div", {}, ui.says, ui.figure)));
    if (said) show();
  },
  update,
  draw,
};
