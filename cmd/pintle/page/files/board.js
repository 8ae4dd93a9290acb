"use strict";
// What both pages draw with: a canvas in the colours of the palette, and a photograph
// on it.

// board clears a canvas, ratio times as high as wide, for the pixels of the screen. It
// returns its context c, its size w and h in CSS pixels, and the palette's colours.
function board(canvas, ratio) {
  const k = window.devicePixelRatio || 1, w = canvas.clientWidth || 360, h = Math.round(w * ratio);
  if (canvas.width !== Math.round(w * k) || canvas.height !== Math.round(h * k)) {
    canvas.width = Math.round(w * k);
    canvas.height = Math.round(h * k);
  }
  canvas.style.height = h + "px";
  const c = canvas.getContext("2d");
  c.setTransform(k, 0, 0, k, 0, 0);
  c.clearRect(0, 0, w, h);
  const s = getComputedStyle(document.documentElement), colour = (name) => s.getPropertyValue("--" + name).trim();
  return { c, w, h, ground: colour("ground"), ink: colour("ink"), soft: colour("soft"), faint: colour("faint") };
}

// drawPhotograph draws a grey picture dipped in the ink's colour, and a tick on either
// side of each star that was recognised: marks are its column and row, k the board's
// pixels for one of the photograph.
function drawPhotograph(b, img, marks, k) {
  const { c, w, h } = b, day = byDay();
  c.fillStyle = day ? "#fff" : "#000";
  c.fillRect(0, 0, w, h);
  if (img) {
    if (day) c.filter = "invert(1)";
    c.drawImage(img, 0, 0, w, h);
    c.filter = "none";
    if (!day) {
      c.globalCompositeOperation = "multiply";
      c.fillStyle = b.ink;
      c.fillRect(0, 0, w, h);
      c.globalCompositeOperation = "source-over";
    }
  }
  c.strokeStyle = c.fillStyle = b.ink;
  c.lineWidth = 1.5;
  c.beginPath();
  for (const [x, y] of marks) {
    const px = (x + 0.5) * k, py = (y + 0.5) * k;
    c.moveTo(px - 10, py);
    c.lineTo(px - 4, py);
    c.moveTo(px + 4, py);
    c.lineTo(px + 10, py);
  }
  c.stroke();
}
