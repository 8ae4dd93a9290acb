package axis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

func find(r *Result, k Kind) *Warning {
	if i := slices.IndexFunc(r.Warnings, func(w Warning) bool { return w.Kind == k }); i >= 0 {
		return &r.Warnings[i]
	}
	return nil
}

// A frame that does not belong is named, left out, and does no harm, whether
// it is a little off or belongs to another sky.
func TestOddFrameIsFoundAndLeftOut(t *testing.T) {
	statistical(t)
	for i, odd := range []sphere.Angle{2 * sphere.Arcminute, sphere.Degree, 70 * sphere.Degree} {
		for _, frames := range []int{4, 6} {
			rng := rand.New(rand.NewPCG(seed, 3000+uint64(i)))
			n := random(rng, frames)
			n.stars, n.odd, n.oddAt = 100, odd, 2
			r, err := Fit(n.sightings(t, rng))
			if err != nil {
				t.Fatal(err)
			}
			w := find(r, OddFrame)
			if w == nil {
				// Four frames leave two checks: a small slip cannot always be told from
				// ordinary scatter, but then the answer must say that it is poor.
				if q := chi2(r, n, r.Cov); frames > 4 || !has(r, Disagree) || q > 20 {
					t.Errorf("%v off, %d frames: warnings %v, chi-square %.1f; want the odd frame found", odd, frames, r.Warnings, q)
				}
				continue
			}
			if !slices.Equal(w.Frames, []int{2}) || r.Frames[2].Used {
				t.Errorf("%v off, %d frames: warned of %v, third frame used %v; want it left out", odd, frames, w.Frames, r.Frames[2].Used)
			}
			// The part along the rotation is taken as a turn.
			if w.Angle > odd*1.05 || w.Angle < odd*0.3 {
				t.Errorf("%v off, %d frames: said to be %v off", odd, frames, w.Angle)
			}
			if q := chi2(r, n, r.Cov); q > 20 {
				t.Errorf("%v off, %d frames: axis %.1f arcsec off, chi-square %.1f", odd, frames, r.Axis.Sep(n.axis).Arcseconds(), q)
			}
		}
	}
}

// A slip of the declination axis is named with its size and allowed for.
func TestDeclinationSlip(t *testing.T) {
	for _, slip := range []sphere.Angle{90 * sphere.Arcsecond, 20 * sphere.Arcminute} {
		rng := rand.New(rand.NewPCG(seed, 3100))
		n := random(rng, 6)
		n.stars, n.slip, n.slipAt = 100, slip, 3
		r, err := Fit(n.sightings(t, rng))
		if err != nil {
			t.Fatal(err)
		}
		w := find(r, DecSlip)
		if w == nil || !slices.Equal(w.Frames, []int{2, 3}) || math.Abs(float64(w.Angle/slip)-1) > 0.1 {
			t.Errorf("slip %v: warnings %v, want it found between the third and fourth frame", slip, r.Warnings)
			continue
		}
		if q := chi2(r, n, r.Cov); q > 20 {
			t.Errorf("slip %v: axis %.1f arcsec off, chi-square %.1f", slip, r.Axis.Sep(n.axis).Arcseconds(), q)
		}
	}
}

// A mount that was kicked has two axes; the answer says so and is the later
// one.
func TestKickedMount(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 3200))
	n := random(rng, 6)
	n.stars, n.kick, n.kickAt = 100, 5*sphere.Arcminute, 3
	r, err := Fit(n.sightings(t, rng))
	if err != nil {
		t.Fatal(err)
	}
	w := find(r, MountMoved)
	if w == nil || !slices.Equal(w.Frames, []int{2, 3}) || math.Abs(w.Angle.Arcminutes()-5) > 0.5 {
		t.Errorf("warnings %v, want a move of 5 arcmin between the third and fourth frame", r.Warnings)
	}
	az, alt := n.axis.AzAlt()
	n.axis = sphere.LocalAt(az, alt+n.kick)
	if q := chi2(r, n, r.Cov); q > 20 {
		t.Errorf("axis %.1f arcsec off, chi-square %.1f", r.Axis.Sep(n.axis).Arcseconds(), q)
	}
}

// With three frames nothing tells one mistake from another, but it is seen
// that something is wrong.
func TestThreeFramesThatDisagree(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 3300))
	n := random(rng, 3)
	n.stars, n.odd, n.oddAt = 100, 10*sphere.Arcminute, 1
	r, err := Fit(n.sightings(t, rng))
	if err != nil {
		t.Fatal(err)
	}
	if !has(r, Disagree) || r.Tilt < sphere.Arcminute {
		t.Errorf("warnings %v, scatter %.1f arcsec; want disagreement of arcminutes", r.Warnings, r.Tilt.Arcseconds())
	}
	for _, f := range r.Frames {
		if !f.Used {
			t.Error("a frame was left out of three")
		}
	}
}

// Good nights, and nights with ordinary jitter, raise no alarm about the
// mount.
func TestNoFalseAlarms(t *testing.T) {
	statistical(t)
	for k := range often(150, 2) {
		rng := rand.New(rand.NewPCG(seed, 4000+uint64(k)))
		n := random(rng, 3+k%4)
		if k%2 == 0 {
			n.tilt = 0.5 * sphere.Arcsecond
		}
		n.wrong = 0.03
		r, err := Fit(n.sightings(t, rng))
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range r.Warnings {
			switch w.Kind {
			case LowPole, LowFrame: // latitude and geometry are drawn at random
			default:
				t.Errorf("seed %d, night %d: %v", seed, k, w)
			}
		}
	}
}

// A camera that shifted between two frames, and one that bends away as the
// mount turns, are named with their size.
func TestLooseAndBendingCameras(t *testing.T) {
	statistical(t)
	for k := range 6 {
		rng := rand.New(rand.NewPCG(seed, 7100+uint64(k)))
		n := random(rng, 6)
		n.stars = 150
		size := sphere.Angle(10+10*rng.Float64()) * sphere.Arcminute
		// Off the declination axis: a turn about that alone is a slip of it.
		d := n.cam.Apply(unitZ)
		dec := r3.Unit(r3.Cross(unitZ, d))
		inMount := r3.Scale(float64(size), r3.Unit(r3.Add(r3.Scale(0.5, dec), r3.Cross(unitZ, dec))))
		inCam := n.cam.Inv().Apply(inMount)
		for _, kind := range []Kind{CameraShifted, Bends} {
			var ss []Sighting
			for i := range n.turns {
				share := float64((n.turns[i] - n.turns[0]) / (n.turns[5] - n.turns[0]))
				if kind == CameraShifted {
					share = float64(min(i/2, 1)) // not where they pass the meridian
				}
				ss = append(ss, n.photograph(t, rng, i, n.localFromCam(i, rng).Mul(sphere.TurnVec(r3.Scale(share, inCam)))))
			}
			r, err := Fit(ss)
			if err != nil {
				t.Fatal(err)
			}
			w := find(r, kind)
			if w == nil {
				t.Errorf("night %d: %v by %v: warnings %v", k, kind, size.Arcminutes(), r.Warnings)
				continue
			}
			if kind == CameraShifted && !slices.Equal(w.Frames, []int{1, 2}) {
				t.Errorf("night %d: shift between %v", k, w.Frames)
			}
			if math.Abs(float64(w.Angle/size)-1) > 0.1 {
				t.Errorf("night %d: kind %d of %.2f arcmin, want %.2f", k, kind, w.Angle.Arcminutes(), size.Arcminutes())
			}
		}
	}
}

// A mirror that tips over whenever the camera passes the meridian, back and forth, is
// named with its size across the turn and allowed for, along the turn too.
func TestFlops(t *testing.T) {
	statistical(t)
	for k := range 6 {
		rng := rand.New(rand.NewPCG(seed, 7150+uint64(k)))
		n := random(rng, 6)
		n.stars, n.tilt = 150, 0.5*sphere.Arcsecond
		mid := n.zenithTurn()
		for i, off := range []float64{-35, 30, -15, 45, 12, -50} {
			n.turns[i] = mid + sphere.Angle(off)*sphere.Degree
		}
		size := sphere.Angle(1+2*rng.Float64()) * sphere.Arcminute
		along := r3.Scale(float64(size), [2]r3.Vec{unitX, r3.Unit(r3.Vec{X: 1, Y: 1})}[k%2])
		var ss []Sighting
		for i := range n.turns {
			at := n.localFromCam(i, rng)
			if at.Apply(unitZ).X > 0 {
				at = at.Mul(sphere.TurnVec(along))
			}
			ss = append(ss, n.photograph(t, rng, i, at))
		}
		r, err := Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		w := find(r, Flops)
		if w == nil || !w.Certain() || w.Angle > 1.1*size || w.Angle < size/4 {
			t.Errorf("seed %d, night %d: warnings %v, want a flop of %.1f arcmin or what of it is not along the turn", seed, k, r.Warnings, size.Arcminutes())
		}
		if q := chi2(r, n, r.Cov); q > 20 {
			t.Errorf("seed %d, night %d: axis %.1f arcsec off, chi-square %.1f", seed, k, r.Axis.Sep(n.axis).Arcseconds(), q)
		}
	}
}

// A slip of 20 arcsec after two of four frames is tried and named when the mount
// stands still otherwise, and the axis is right to what the error says.
func TestSmallSlip(t *testing.T) {
	statistical(t)
	named := 0
	const nights = 12
	for k := range nights {
		rng := rand.New(rand.NewPCG(seed, 7200+uint64(k)))
		n := random(rng, 4)
		n.stars, n.slip, n.slipAt = 150, 20*sphere.Arcsecond, 2
		r, err := Fit(n.sightings(t, rng))
		if err != nil {
			t.Fatal(err)
		}
		if w := find(r, DecSlip); w != nil && slices.Equal(w.Frames, []int{1, 2}) {
			named++
		}
		if q := chi2(r, n, r.Cov); q > 20 {
			t.Errorf("seed %d, night %d: axis %.1f arcsec off, chi-square %.1f", seed, k, r.Axis.Sep(n.axis).Arcseconds(), q)
		}
	}
	t.Logf("seed %d: named in %d of %d nights", seed, named, nights)
	if named < nights*2/3 {
		t.Errorf("seed %d: named in %d of %d nights", seed, named, nights)
	}
}

// What spoils single stars or one frame of four hardly moves the axis: the error is
// compared with that of the same night without it.
func TestRobust(t *testing.T) {
	statistical(t)
	const nights = 8
	for _, c := range []struct {
		name  string
		spoil func(n *night, ss []Sighting)
		gust  sphere.Angle
		most  float64 // by how many of its errors the axis may move
	}{
		{name: "satellite through a star", spoil: func(_ *night, ss []Sighting) { ss[1].Matches[0].X += 2.5 }, most: 0.3},
		{name: "wrong match", spoil: func(_ *night, ss []Sighting) { ss[1].Matches[2].Sky = ss[1].Matches[3].Sky }, most: 0.3},
		{name: "double star resolved in one frame", spoil: func(n *night, ss []Sighting) {
			for i := range ss { // its middle, but in one frame the brighter one alone
				if m := &ss[i].Matches[1]; i != 1 {
					m.Y -= 0.8
				}
			}
		}, most: 0.3},
		{name: "gust of 10 arcsec in one of four", gust: 10 * sphere.Arcsecond, most: 1},
	} {
		var before, after, worst float64
		for k := range nights {
			rng := rand.New(rand.NewPCG(seed, 7300+uint64(k)))
			n := random(rng, 4)
			n.stars, n.tilt = 100, 0.5*sphere.Arcsecond
			fit := func(gust sphere.Angle) ([]Sighting, *Result) {
				again := rand.New(rand.NewPCG(seed, 7350+uint64(k)))
				n.odd, n.oddAt = gust, 1
				ss := n.sightings(t, again)
				r, err := Fit(ss)
				if err != nil {
					t.Fatal(err)
				}
				return ss, r
			}
			ss, without := fit(0)
			with := without
			if c.gust > 0 {
				_, with = fit(c.gust)
			} else {
				c.spoil(n, ss)
				var err error
				if with, err = Fit(ss); err != nil {
					t.Fatal(err)
				}
			}
			before += without.Axis.Sep(n.axis).Arcseconds() / nights
			after += with.Axis.Sep(n.axis).Arcseconds() / nights
			sigma := math.Sqrt(with.Cov[0][0] + with.Cov[1][1])
			worst = math.Max(worst, float64(with.Axis.Sep(without.Axis))/sigma)
		}
		t.Logf("seed %d, %s: error %.2f arcsec on average, %.2f without; moves the axis by %.2f of its error at most", seed, c.name, after, before, worst)
		if worst > c.most {
			t.Errorf("seed %d, %s: the axis moved by %.2f of its error", seed, c.name, worst)
		}
	}
}

// A satellite through a star, a double star taken for one in one frame only and a
// wrong match pull the axis by less than its error.
func TestSpoiledStars(t *testing.T) {
	for k := range 8 {
		rng := rand.New(rand.NewPCG(seed, 7300+uint64(k)))
		n := random(rng, 3+k%2)
		ss := n.sightings(t, rng)
		before, err := Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		m := ss[1].Matches
		m[0].X += 2.5 // a trail through the star's side
		m[1].Y -= 0.8 // the companion's light
		m[2].Sky = m[3].Sky
		after, err := Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		sigma := math.Sqrt(before.Cov[0][0] + before.Cov[1][1])
		if d := float64(after.Axis.Sep(before.Axis)); d > sigma {
			t.Errorf("seed %d, night %d: the axis moved by %.2f of its error", seed, k, d/sigma)
		}
		for _, w := range after.Warnings {
			if w.Kind == OddFrame || w.Kind == DecSlip || w.Kind == Disagree {
				t.Errorf("seed %d, night %d: %v", seed, k, w)
			}
		}
	}
}
