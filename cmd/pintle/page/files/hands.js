"use strict";
// The camera and the mount that the program commands: what they are at, the
// question before a turn, and Stop, which is always in reach.

const hands = {
  now: null,
  end: null, // ends what the hands are at, where a page can
  show(h, link) {
    const at = (id) => document.getElementById(id), say = (id, s) => { if (at(id).textContent !== s) at(id).textContent = s; };
    hands.now = h;
    at("hands").hidden = at("stop").hidden = !h;
    document.body.dataset.hands = h ? h.doing : "none";
    if (!h) return;
    const halted = h.doing === "halted", turned = h.doing === "hand-turn";
    say("hands-says", h.says);
    say("hands-trouble", h.trouble);
    say("hands-last", h.last);
    at("hands-ask").hidden = !h.ask;
    at("hands-go").hidden = !halted && !turned && !h.trouble;
    say("hands-go", turned ? "RA is turned" : "go on");
    at("hands-end").hidden = !hands.end || !halted && !turned;
    at("hands-turn").hidden = h.doing !== "turning";
    at("hands-turn").max = h.asked_deg || 1;
    at("hands-turn").value = Math.max(0, h.turned_deg);
    say("stop", link ? (h.doing === "turning" ? "STOP THE MOUNT" : "STOP") : "NO LINK: stop at the computer or the mount");
  },
  // start wires buttons and keys; ask has the computer do something.
  start(ask) {
    const on = (id, f) => { document.getElementById(id).onclick = f; };
    on("stop", () => ask("stop"));
    on("hands-yes", () => hands.now && hands.now.ask && ask("agree", hands.now.ask));
    on("hands-no", () => hands.now && hands.now.ask && ask("decline", hands.now.ask));
    on("hands-go", () => ask("go-on"));
    on("hands-end", () => hands.end && hands.end());
    // While the mount turns both keys stop it whatever has the focus; before and after,
    // a blank may be typed.
    document.addEventListener("keydown", (e) => {
      if (!hands.now || e.code !== "Space" && e.key !== "Escape") return;
      const types = ["INPUT", "TEXTAREA", "SELECT"].includes(e.target.tagName);
      if (types && e.code === "Space" && hands.now.doing !== "turning") return;
      e.preventDefault();
      ask("stop");
    }, true);
  },
};
