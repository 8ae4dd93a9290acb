// What all steps share: making elements, and asking the computer. What the page of the
// adjustment needs, too, is in scripts of its own that both pages load: board and
// drawPhotograph (board.js), byDay (palette.js), listen (link.js), hands (hands.js).

// el makes an element: el("p", { class: "x", onclick: f }, "text", child, ...).
export function el(tag, props, ...kids) {
  const svg = ["svg", "path", "circle", "line", "text", "polygon", "g", "title"].includes(tag);
  const e = svg ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
  for (const [k, v] of Object.entries(props || {})) {
    if (v === undefined || v === null || v === false) continue;
    if (k.startsWith("on")) e.addEventListener(k.slice(2), v);
    else if (k === "value" || k === "checked") e[k] = v;
    else e.setAttribute(k, v === true ? "" : v);
  }
  for (const k of kids.flat(Infinity)) if (k !== null && k !== undefined && k !== false) e.append(k);
  return e;
}

// put gives an element other children, but only when they are others: what is the
// same keeps its focus and is not read out again.
export function put(e, ...kids) {
  const box = document.createElement("div");
  box.append(...kids.flat(Infinity).filter((k) => k !== null && k !== undefined && k !== false));
  if (box.innerHTML === e.innerHTML && !box.querySelector("canvas")) return;
  e.replaceChildren(...box.childNodes);
}

// Wrong is what went wrong, with what to try.
export class Wrong extends Error {
  constructor(error, hint, status) { super(error); this.hint = hint; this.status = status; }
}

async function reply(r) {
  let v = null;
  try { v = await r.json(); } catch { /* nothing said */ }
  if (!r.ok) throw new Wrong((v && v.error) || "not done", (v && v.hint) || "load the page anew", r.status);
  return v;
}

const noLink = () => { throw new Wrong("no link to the computer", "is the program still running, and the phone in its network?", 0); };

// get asks; post has something done.
export const get = (path, q) => fetch("api/v1/" + path + (q ? "?" + new URLSearchParams(q) : "")).catch(noLink).then(reply);
export const post = (path, body) => fetch("api/v1/" + path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body || {}) }).catch(noLink).then(reply);

// send uploads a file and tells how far it is, 0 to 1.
export function send(path, q, file, far) {
  return new Promise((done, fail) => {
    const x = new XMLHttpRequest();
    x.open("POST", "api/v1/" + path + "?" + new URLSearchParams(q));
    x.upload.onprogress = (e) => e.lengthComputable && far && far(e.loaded / e.total);
    x.onload = () => {
      let v = null;
      try { v = JSON.parse(x.responseText); } catch { /* nothing said */ }
      if (x.status < 300) done(v);
      else fail(new Wrong((v && v.error) || "refused", (v && v.hint) || "", x.status));
    };
    x.onerror = () => fail(new Wrong("the link broke while " + file.name + " was sent", "choose it again", 0));
    x.send(file);
  });
}

// fault is what went wrong, with what to try, as lines to show.
export const fault = (error, hint) => [el("p", { class: "bad" }, "✗ " + error), hint ? el("p", { class: "hint" }, "Try: " + hint) : null];

// told shows what went wrong, or that something was done, in an element.
export function told(e, what) {
  put(e, !what ? null : what instanceof Error ? fault(what.message, what.hint) : el("p", { class: "good" }, "✓ " + what));
}

// doing has a button's work done, and its fault shown.
export async function doing(button, out, work) {
  if (button) button.disabled = true;
  try { told(out, (await work()) || ""); } catch (e) { told(out, e instanceof Wrong ? e : new Wrong(String(e), "load the page anew")); }
  if (button) button.disabled = false;
}

let ids = 0;

// field is an input with its label.
export function field(label, props) {
  const id = props.id || "f" + ++ids;
  const input = props.options
    ? el("select", { ...props, id, options: null }, props.options.map(([v, t]) => el("option", { value: v, selected: v === props.value }, t)))
    : el("input", { autocomplete: "off", spellcheck: "false", type: "text", ...props, id });
  return { input, row: el("div", { class: "field" }, el("label", { for: id }, label), input) };
}

export const section = (title, ...kids) => el("section", { class: "part" }, el("h2", {}, title), ...kids);
export const list = (sentences, tag) => el(tag || "ul", {}, sentences.map((s) => el("li", {}, s)));

// askFirst has a button that makes the screen bright pressed twice.
export function askFirst(button) {
  let until = 0;
  button.addEventListener("click", (e) => {
    if (byDay() || performance.now() < until) { until = 0; return; }
    e.stopImmediatePropagation();
    until = performance.now() + 4000;
    const was = button.textContent;
    button.textContent = "BRIGHT! press again";
    setTimeout(() => { if (until) { until = 0; button.textContent = was; } }, 4000);
  }, true);
}

// who shows who is at the controls, when it is another one.
export function who(e, controls) {
  put(e, controls !== "other" ? null : [el("p", {}, "Another screen is at the controls; you look on."),
    el("button", { type: "button", onclick: () => post("controls").catch(() => {}) }, "take the controls")]);
}

// undone asks what is to become of what the camera was at when the program ended.
export function undone(e, c) {
  const say = (text, order) => el("button", { type: "button", onclick: () => post("shoot", order).catch((x) => told(e, x)) }, text);
  put(e, !c || !c.undone ? null : [el("p", {}, c.undone), el("div", { class: "row" },
    c.resume ? say("go on photographing", { on: true, exposure_s: c.exposure_s, many: true }) : null, say(c.resume ? "leave it" : "I have read it", { on: false }))]);
}

// shots lets the camera photograph on and on from the page of the adjustment, each
// photograph measured at once.
export function shots(e, s) {
  const c = s.shooting, say = (text, work) => el("button", { type: "button", onclick: () => work().catch((x) => told(e, x)) }, text);
  put(e, !c || c.turns || c.undone || !s.measured && !c.on ? null : c.on
    ? [el("p", {}, c.camera + " photographs, " + Number(c.exposure_s.toPrecision(3)) + " s each."), say("stop photographing", () => post("shoot", { on: false }))]
    : say("photograph on and on while the bolts are turned", async () => { await post("follow", { on: true }); await post("shoot", { on: true, exposure_s: c.exposure_s || 2, many: true }); }),
    c && c.trouble ? fault(c.trouble.error, c.trouble.hint) : null);
}

// order has something done at once, past all that waits; what was refused is told.
export const order = (out) => (what, v) => fetch("do/" + what + (v === undefined ? "" : "?v=" + v), { method: "POST" }).catch(noLink)
  .then(async (r) => { if (!r.ok) throw new Wrong(await r.text(), "", r.status); told(out, null); }).catch((e) => told(out, e));

// endHands ends what the hands are at.
export const endHands = () => post("shoot", { on: false }).catch(() => {});

// watching asks who is at the controls from time to time.
export function watching(e, left, camera) {
  const ask = () => get("evening").then((s) => { who(e, s.controls); undone(left, s.shooting); shots(camera, s); }).catch(() => {});
  ask();
  setInterval(ask, 5000);
}
