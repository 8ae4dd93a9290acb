package main

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// What is heard, as the browser renders it: each sign has a pitch of its own that says
// which bolt and which way, is loud enough and never clipped.
func TestSoundsAsRendered(t *testing.T) {
	if !*long {
		t.Skip("starts a browser: -long")
	}
	t.Parallel()
	browser := needBrowser(t)
	p := launchApart(t, t.TempDir(), "evening", "--port", "0", "--no-browser")
	b := openBrowser(t, browser)
	b.do(chromedp.Navigate(p.link(t) + "adjust"))
	b.until("document.body.dataset.link === 'good'", 10*time.Second)
	for plan, ok := range map[string]func(s []tone) bool{
		// A note that glides between 330 and 660 Hz, up for raise and down for lower.
		`{kind: "altitude", way: "raise", every: 1600}`: func(s []tone) bool { return s[0].Hz > 320 && s[0].Hz < 460 && s[2].Hz > 520 && s[2].Hz < 670 },
		`{kind: "altitude", way: "lower", every: 1600}`: func(s []tone) bool { return s[2].Hz > 320 && s[2].Hz < 460 && s[0].Hz > 520 && s[0].Hz < 670 },
		// Two knocks of 190 and 285 Hz, low first for clockwise.
		`{kind: "azimuth", way: "clockwise", every: 1600}`:         func(s []tone) bool { return s[0].Hz < 240 && s[2].Hz > 240 && s[0].Hz > 150 && s[2].Hz < 320 },
		`{kind: "azimuth", way: "counter-clockwise", every: 1600}`: func(s []tone) bool { return s[2].Hz < 240 && s[0].Hz > 240 && s[2].Hz > 150 && s[0].Hz < 320 },
		// The dull thud of figures that are old.
		`{kind: "thud", every: 2500}`:  func(s []tone) bool { return s[0].Hz < 110 && s[2].Hz < 90 },
		`{kind: "chord", every: 1600}`: func(s []tone) bool { return s[1].Hz > 200 && s[1].Hz < 340 },
	} {
		js[bool](b, fmt.Sprintf(rendered, plan))
		b.until("document.body.dataset.heard", 10*time.Second)
		var h struct {
			Peak  float64
			Parts []tone
		}
		if err := json.Unmarshal([]byte(js[string](b, "document.body.dataset.heard")), &h); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: peak %.2f, %v", plan, h.Peak, h.Parts)
		if len(h.Parts) != 3 || !ok(h.Parts) {
			t.Errorf("%s: %+v", plan, h.Parts)
		}
		// Full scale is 1; a tenth of it is -20 dB.
		if h.Peak > 0.95 || h.Peak < 0.1 {
			t.Errorf("%s: peak %.2f of full scale", plan, h.Peak)
		}
	}
}

// tone is the pitch of a part of a sound, by its zero crossings.
type tone struct{ Hz float64 }

// rendered renders a plan into samples and measures them: the peak, and the pitch of the
// first, middle and last part of what is louder than a fiftieth of it.
const rendered = `(() => {
	delete document.body.dataset.heard;
	const rate = 44100, real = sound.ctx, on = sound.on, said = sound.plan;
	sound.ctx = new OfflineAudioContext(1, 2 * rate, rate);
	sound.on = true;
	sound.plan = %s;
	sound.tick();
	clearTimeout(sound.timer);
	const ctx = sound.ctx;
	Object.assign(sound, { ctx: real, on, plan: said });
	ctx.startRendering().then((r) => {
		const x = r.getChannelData(0), peak = x.reduce((m, v) => Math.max(m, Math.abs(v)), 0);
		let from = x.findIndex((v) => Math.abs(v) > peak / 50), to = x.length - 1;
		while (to > from && Math.abs(x[to]) < peak / 50) to--;
		const pitch = (a, b) => {
			const at = [];
			for (let i = Math.round(a) + 1; i < b; i++) if (x[i - 1] <= 0 && x[i] > 0 && x.slice(Math.max(0, i - 60), i + 60).some((v) => Math.abs(v) > peak / 60)) at.push(i);
			const gaps = at.slice(1).map((v, i) => v - at[i]).sort((p, q) => p - q);
			return { Hz: gaps.length ? rate / gaps[gaps.length >> 1] : 0 };
		};
		const part = (to - from) / 3;
		document.body.dataset.heard = JSON.stringify({ Peak: peak, Parts: [0, 1, 2].map((k) => pitch(from + k * part, from + (k + 1) * part)) });
	});
	return true;
})()`
