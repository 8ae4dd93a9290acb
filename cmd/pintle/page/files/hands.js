"use strict";
// The camera and the mount that the program commands: what they are at, the
// question before a turn, and Stop, which is always in reach.

const hands = {
  show(s, link) {
    const h = s.hands;
    $("hands").hidden = $("stop").hidden = !h;
    document.body.dataset.hands = h ? h.doing : "none";
    if (!h) return;
    text("hands-says", h.says);
    text("hands-trouble", h.trouble);
    text("hands-last", h.last);
    $("hands-ask").hidden = !h.ask;
    $("hands-go").hidden = h.doing !== "halted" && !h.trouble;
    $("hands-turn").hidden = h.doing !== "turning";
    $("hands-turn").max = h.asked_deg || 1;
    $("hands-turn").value = Math.max(0, h.turned_deg);
    text("stop", link ? (h.doing === "turning" ? "STOP THE MOUNT" : "STOP") : "NO LINK: stop at the computer or the mount");
  },
  // start wires the keys, once page.js has what they need.
  start() {
    $("stop").onclick = () => ask("stop");
    $("hands-yes").onclick = () => state && state.hands && state.hands.ask && ask("agree", state.hands.ask);
    $("hands-no").onclick = () => state && state.hands && state.hands.ask && ask("decline", state.hands.ask);
    $("hands-go").onclick = () => ask("go-on");
    document.addEventListener("keydown", (e) => {
      if (e.code !== "Space" || !state || !state.hands || e.target.tagName === "INPUT") return;
      e.preventDefault(); // whatever has the focus
      ask("stop");
    });
  },
};
