"use strict";
// The colours of a page: red on black by night, as page.css has them, or dark on light by
// day. The browser keeps the choice; what is on a canvas is drawn anew at the event
// "palette" of the window.

const byDay = () => document.documentElement.dataset.palette === "day";

function palette(name) {
  document.documentElement.dataset.palette = name;
  document.querySelector("meta[name=theme-color]").content = byDay() ? "#f6f1e4" : "#000000";
  document.getElementById("palette").textContent = byDay() ? "night colours" : "day colours";
  try { localStorage.setItem("palette", name); } catch { /* not allowed here */ }
  window.dispatchEvent(new Event("palette"));
}

document.getElementById("palette").onclick = () => palette(byDay() ? "night" : "day");
try { if (localStorage.getItem("palette") === "day") palette("day"); } catch { /* not allowed here */ }
