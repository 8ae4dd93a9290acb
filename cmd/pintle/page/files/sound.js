"use strict";
// Sound: no look at the screen is needed.
//
// Altitude is one long note that glides: up for raise, down for lower. Azimuth is
// a pair of short knocks: low then high for clockwise, high then low for the other
// way. The closer, the faster. Within the tolerance: a soft steady chord. When
// the figure is not of the last frame, or the link is lost: one dull thud now and
// then, and nothing else.
const sound = {
  on: false, ctx: null, timer: 0, plan: null,

  toggle() {
    this.on = !this.on;
    if (this.on) {
      this.ctx = this.ctx || new (window.AudioContext || window.webkitAudioContext)();
      this.ctx.resume();
      this.tick();
    } else {
      clearTimeout(this.timer);
    }
    return this.on;
  },

  // planOf says what is to be heard of a state: pure, for tests too.
  planOf(s, lost) {
    if (!s || s.muted) return { kind: "none", every: 1000 };
    if (lost || s.old || s.refusal || s.doubts.length) return { kind: "thud", every: 2500 };
    if (!s.offset_arcmin) return { kind: "none", every: 1000 };
    if (s.within_tolerance) return { kind: "chord", every: 1600 };
    let m = s.moves.find((m) => m.here && !m.done);
    if (!m) m = Math.abs(s.offset_arcmin.az_sky) > Math.abs(s.offset_arcmin.alt) ? s.moves[1] : s.moves[0];
    const share = m.adjuster === "azimuth" ? Math.abs(s.offset_arcmin.az_sky) : m.arcmin;
    // From 1.6 s far off to 0.14 s at the tolerance, by the logarithm.
    const x = Math.log(Math.max(share / s.tolerance_arcmin, 1)) / Math.log(100);
    return { kind: m.adjuster, way: m.direction, every: Math.round(140 + 1460 * Math.min(x, 1)) };
  },

  set(s, lost) { this.plan = this.planOf(s, lost); },

  tick() {
    if (!this.on) return;
    const p = this.plan || { kind: "none", every: 1000 };
    const t = this.ctx.currentTime + 0.01;
    if (p.kind === "altitude") {
      const up = p.way === "raise";
      this.note("sine", up ? 330 : 660, up ? 660 : 330, t, Math.min(0.3, p.every / 1300), 0.4, 0.7);
    } else if (p.kind === "azimuth") {
      const [a, b] = p.way === "clockwise" ? [190, 285] : [285, 190], gap = Math.min(0.13, p.every / 2600);
      this.note("triangle", a, a, t, 0.05, 0.7);
      this.note("triangle", b, b, t + gap, 0.05, 0.7);
    } else if (p.kind === "chord") {
      for (const f of [220, 277, 330]) this.note("sine", f, f, t, 1.4, 0.12);
    } else if (p.kind === "thud") {
      this.note("sine", 90, 55, t, 0.25, 0.8);
    }
    this.timer = setTimeout(() => this.tick(), p.every);
  },

  // note sounds for long seconds; held is the share of them at full loudness, without which
  // a glide fades before its end is heard.
  note(type, from, to, at, long, loud, held) {
    const o = this.ctx.createOscillator(), g = this.ctx.createGain();
    o.type = type;
    o.frequency.setValueAtTime(from, at);
    o.frequency.exponentialRampToValueAtTime(to, at + long);
    g.gain.setValueAtTime(0.0001, at);
    g.gain.exponentialRampToValueAtTime(loud, at + 0.012);
    if (held) g.gain.setValueAtTime(loud, at + held * long);
    g.gain.exponentialRampToValueAtTime(0.0001, at + long);
    o.connect(g).connect(this.ctx.destination);
    o.start(at);
    o.stop(at + long + 0.02);
  },
};

const speech = {
  on: false,
  can: "speechSynthesis" in window,
  last: "",
  toggle() {
    this.on = !this.on;
    if (!this.on) window.speechSynthesis.cancel();
    return this.on;
  },
  say(words) {
    if (!this.on || !words || words === this.last) return;
    this.last = words;
    window.speechSynthesis.cancel();
    window.speechSynthesis.speak(new SpeechSynthesisUtterance(words));
  },
};
