package axis

import (
	"math"

	"pintle/index/sphere"
)

// suspect looks, in frames that disagree, for a camera that shifted once or
// that bends away in step with the turn, and names the one that explains it
// when nothing else does. The answer stays as it is: what an axis and what a
// bend make the stars do is too much alike to take one off the other.
func (f *fit) suspect(a attitudes, null glsFit, jitter float64) {
	n := len(f.used)
	if n < 4 || n > mostFrames {
		return
	}
	ts := f.theories(a, null, true, jitter)
	try := func(e event, kind Kind) {
		m := *null.m
		m.event = e
		if g, ok := a.fit(&m, jitter); ok && g.free > 0 {
			ts = append(ts, theory{kind, e.frame, g, g.q + 8})
		}
	}
	for k := 2; k < n-1; k++ {
		try(event{kind: shifted, frame: k}, CameraShifted)
	}
	try(event{kind: bending}, Bends)
	best := ts[0]
	for _, t := range ts {
		if t.score < best.score {
			best = t
		}
	}
	if best.kind != CameraShifted && best.kind != Bends ||
		best.g.chance() < plausible || null.better(best.g)*float64(len(ts)) > plausible {
		return
	}
	for _, t := range ts {
		if (t.kind != best.kind || t.frame != best.frame) && t.score < best.score+12*best.g.left() {
			return
		}
	}
	v := best.g.m.event.v
	w := Warning{Kind: best.kind, Angle: sphere.Angle(math.Hypot(v[0], v[1]))}
	if best.kind == CameraShifted {
		w.Frames = f.sightingsOf(f.used[best.frame-1 : best.frame+1])
	} else {
		turns := best.g.m.turn
		w.Angle *= sphere.Angle(wrap(turns[n-1] - turns[0])).Abs()
	}
	f.warn(w)
}
