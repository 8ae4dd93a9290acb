// The row of steps on the page of the adjustment, and who is at the controls.
import { askFirst, endHands, watching } from "./evening-kit.js";

for (const a of document.querySelectorAll("#steps a")) if (a.dataset.step === "adjust") a.setAttribute("aria-current", "page");
askFirst(document.getElementById("palette"));
const bar = document.createElement("div");
bar.id = "watching";
bar.setAttribute("role", "status");
const left = document.createElement("div");
left.id = "undone";
left.setAttribute("role", "status");
const camera = document.createElement("div");
camera.id = "shots-here";
document.querySelector("main").prepend(bar, left);
document.getElementById("reach").after(camera);
watching(bar, left, camera);
hands.end = endHands;
