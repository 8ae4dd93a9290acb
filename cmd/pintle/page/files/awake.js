"use strict";
// The screen stays awake. Browsers grant a page's wish for that to secure pages only
// (Screen Wake Lock, W3C), and over the local network this one is plain http. There a
// film is played instead, which keeps a screen awake: two black pixels and silence,
// made here. It may begin at a touch only.
const awakeWords = {
  touch: "Touch the page once, and it keeps the screen awake.",
  film: "A silent film keeps the screen awake. Should it go dark all the same, set its time-out to long.",
  never: "This browser does not let a page keep the screen awake here: set the phone's screen time-out to long.",
};

// film makes the film: a stream of a canvas and of a sound without loudness.
// Browsers leave a film without sound, or a muted one so small, to go dark.
function film() {
  const board = document.createElement("canvas"), e = document.createElement("video");
  board.width = board.height = 2;
  const c = board.getContext("2d"), stream = board.captureStream(1);
  setInterval(() => c.fillRect(0, 0, 2, 2), 1000); // a new picture each second
  const sound = new (window.AudioContext || window.webkitAudioContext)();
  const tone = sound.createOscillator(), quiet = sound.createGain(), out = sound.createMediaStreamDestination();
  quiet.gain.value = 0;
  tone.connect(quiet).connect(out);
  tone.start();
  sound.resume();
  stream.addTrack(out.stream.getAudioTracks()[0]);
  e.srcObject = stream;
  e.className = "awake";
  e.setAttribute("playsinline", "");
  e.setAttribute("aria-hidden", "true");
  e.tabIndex = -1;
  document.body.append(e);
  return e;
}

// keepAwake keeps the screen awake while the page is seen; say is told what the
// person must know.
function keepAwake(say) {
  let e = null;
  const able = "captureStream" in HTMLCanvasElement.prototype && (window.AudioContext || window.webkitAudioContext);
  async function wish() {
    if (document.visibilityState !== "visible") return;
    try {
      if ("wakeLock" in navigator) await navigator.wakeLock.request("screen");
      else if (e) await e.play();
    } catch { /* low battery, say */ }
  }
  async function touched() {
    try {
      e = e || film();
      await e.play();
      document.removeEventListener("click", touched);
      say(awakeWords.film);
    } catch { say(awakeWords.never); }
  }
  document.addEventListener("visibilitychange", wish);
  wish();
  if ("wakeLock" in navigator) return;
  say(able ? awakeWords.touch : awakeWords.never);
  if (able) document.addEventListener("click", touched);
}
