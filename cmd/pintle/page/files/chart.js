"use strict";
// Pictures: the way of the axis, and the last frame.

// tickStep is a round distance of ticks, about five to the span.
function tickStep(span) {
  const raw = span / 5, p = Math.pow(10, Math.floor(Math.log10(raw))), m = raw / p;
  return (m > 5 ? 10 : m > 2 ? 5 : m > 1 ? 2 : 1) * p;
}

// drawWalk draws where the axis was and is. The rulers along two edges are
// arcminutes on the sky from the pole; the window is set so that the present place and
// the tolerance fill it, and so closes in with the axis.
function drawWalk(canvas, s) {
  const col = board(canvas, 0.78), { c, w, h } = col;
  const left = 44, foot = 26, pw = w - left - 6, ph = h - foot - 6;
  if (!s || !s.offset_arcmin) return "no axis yet";
  const o = s.offset_arcmin, tol = s.tolerance_arcmin, here = { alt: o.alt, az: o.az_sky };
  // The window holds the present place and the pole, not the pole in the middle.
  const need = Math.max(Math.abs(o.alt), Math.abs(o.az_sky));
  const room = Math.max(1.5 * tol, 0.3 * need, 3 * (s.ellipse ? s.ellipse.major : 0));
  const xs = [Math.min(0, here.az) - room, Math.max(0, here.az) + room];
  const ys = [Math.min(0, here.alt) - room, Math.max(0, here.alt) + room];
  const scale = Math.min(pw / (xs[1] - xs[0]), ph / (ys[1] - ys[0]));
  const mx = (xs[0] + xs[1]) / 2, my = (ys[0] + ys[1]) / 2;
  const X = (az) => left + pw / 2 + (az - mx) * scale, Y = (alt) => 6 + ph / 2 - (alt - my) * scale;
  c.font = "12px sans-serif";
  c.lineWidth = 1;
  c.strokeStyle = col.faint;
  c.fillStyle = col.soft;
  c.strokeRect(left, 6, pw, ph);
  const step = tickStep(Math.max(pw, ph) / scale), digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  // ticks calls f for each tick within half a ruler of its middle, with its label.
  const ticks = (middle, half, f) => {
    for (let v = Math.ceil((middle - half) / step) * step; v <= middle + half; v += step) f(v, (v + 1e-12).toFixed(digits).replace(/^-0(\.0+)?$/, "0"));
  };
  c.textAlign = "center";
  ticks(mx, pw / 2 / scale, (v, label) => { c.fillRect(X(v), 6 + ph, 1, 5); c.fillText(label, X(v), h - 6); });
  c.textAlign = "right";
  ticks(my, ph / 2 / scale, (v, label) => { c.fillRect(left - 5, Y(v), 5, 1); c.fillText(label, left - 8, Y(v) + 4); });
  c.save();
  c.beginPath();
  c.rect(left, 6, pw, ph);
  c.clip();
  // The tolerance: a field of slanting lines around the pole.
  c.save();
  c.beginPath();
  c.arc(X(0), Y(0), Math.max(tol * scale, 2), 0, 2 * Math.PI);
  c.strokeStyle = col.soft;
  c.setLineDash([2, 4]);
  c.stroke();
  c.clip();
  c.setLineDash([]);
  c.strokeStyle = col.faint;
  const r = tol * scale;
  c.beginPath();
  for (let d = -2 * r; d < 2 * r; d += 7) {
    c.moveTo(X(0) - r + d, Y(0) + r);
    c.lineTo(X(0) + r + d, Y(0) - r);
  }
  c.stroke();
  c.restore();
  // The way so far.
  c.strokeStyle = col.soft;
  c.fillStyle = col.soft;
  c.lineWidth = 2;
  c.beginPath();
  s.trail.forEach((p, i) => i ? c.lineTo(X(p.az), Y(p.alt)) : c.moveTo(X(p.az), Y(p.alt)));
  c.stroke();
  s.trail.forEach((p) => c.fillRect(X(p.az) - 2, Y(p.alt) - 2, 4, 4));
  // What is left, as the adjusters will go: up or down first, then across.
  c.setLineDash([7, 5]);
  c.strokeStyle = col.ink;
  c.beginPath();
  c.moveTo(X(here.az), Y(here.alt));
  c.lineTo(X(here.az), Y(0));
  c.lineTo(X(0), Y(0));
  c.stroke();
  c.setLineDash([]);
  // The pole, a pin; the axis, a lozenge in its uncertainty.
  c.fillStyle = col.ink;
  c.beginPath();
  c.moveTo(X(0), Y(0));
  c.lineTo(X(0) - 6, Y(0) - 13);
  c.lineTo(X(0) + 6, Y(0) - 13);
  c.fill();
  c.textAlign = "left";
  c.font = "bold 13px sans-serif";
  c.fillText("pole", X(0) + 9, Y(0) - 5);
  if (s.ellipse) {
    c.beginPath();
    c.ellipse(X(here.az), Y(here.alt), Math.max(s.ellipse.major * scale, 1), Math.max(s.ellipse.minor * scale, 1), -s.ellipse.angle_deg * Math.PI / 180, 0, 2 * Math.PI);
    c.stroke();
  }
  c.beginPath();
  c.moveTo(X(here.az), Y(here.alt) - 8);
  c.lineTo(X(here.az) + 8, Y(here.alt));
  c.lineTo(X(here.az), Y(here.alt) + 8);
  c.lineTo(X(here.az) - 8, Y(here.alt));
  c.closePath();
  s.old ? c.stroke() : c.fill();
  const name = s.old ? "axis was here" : "axis";
  c.fillText(name, Math.min(X(here.az) + 11, w - 6 - c.measureText(name).width), Y(here.alt) + 20);
  c.restore();
  return "arcminutes on the sky: across azimuth, up altitude; shaded: allowed; outline: uncertainty";
}

// drawFrame draws the last frame, img where its picture is here.
function drawFrame(canvas, s, img) {
  const wide = s.wide || 3, b = board(canvas, (s.high || 2) / wide);
  drawPhotograph(b, img, s.marks || [], b.w / wide);
}

// wedge is the sign of a direction: one to three stacked wedges, more for more to
// do; two bars when there is nothing left to do.
function wedge(direction, arcmin, done) {
  if (done) return "M10 34h80v12h-80zM10 56h80v12h-80z";
  const n = arcmin >= 10 ? 3 : arcmin >= 2 ? 2 : 1;
  const flip = direction === "raise" || direction === "counter-clockwise" ? -1 : 1;
  let d = "";
  for (let i = 0; i < n; i++) {
    const tip = 50 + flip * (44 - i * 26), base = tip - flip * 36, notch = tip - flip * 16;
    const pts = [[6, base], [50, tip], [94, base], [50, notch]];
    d += pts.map(([a, b], j) => (j ? "L" : "M") + (direction === "raise" || direction === "lower" ? a + " " + b : b + " " + a)).join("") + "z";
  }
  return d;
}
