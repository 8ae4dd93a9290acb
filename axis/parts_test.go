package axis

import (
	"math"
	"math/rand/v2"
	"testing"

	"pintle/axis/place"
	"pintle/axis/unrest"
	"pintle/index/sphere"
)

// parted is a night of the north at 48 degrees, its axis 70 arcmin off, of which the
// sources of errors can be taken away one by one.
func parted(rng *rand.Rand, frames int) *night {
	n := random(rng, frames)
	n.site.Lat, n.site.Elev = 48*sphere.Degree, 0
	n.axis, n.air = sphere.LocalAt(0.02, 48*sphere.Degree+0.01), place.StandardAir(0)
	n.stars, n.err, n.catErr = 60, 0.1, 0
	mid := n.zenithTurn()
	for i := range n.turns {
		n.turns[i] = mid + sphere.Angle(0.6*float64(i)-0.5)
	}
	return n
}

// knowing fits frames of a mount of which scatter and sag are known; two frames leave room
// for nothing else.
func knowing(t *testing.T, ss []Sighting, scatter, sag sphere.Angle) Offset {
	t.Helper()
	f := newFit(ss)
	if err := f.attitudes(); err != nil {
		t.Fatal(err)
	}
	f.own.beliefs = []unrest.Belief{{Scatter: float64(scatter), Sags: []unrest.Sag{{Size: float64(sag)}}}}
	if err := f.mount(); err != nil {
		t.Fatal(err)
	}
	r, err := f.result()
	if err != nil {
		t.Fatal(err)
	}
	return r.Offset(Refracted)
}

// The parts of a stated error make it up, each goes away with its source and with no
// other, and grows with it: errors of stars ten times as large make the part of the stars
// ten times as large, and so for scatter and for what is not known of the air.
func TestPartsOfTheError(t *testing.T) {
	const as, none = sphere.Arcsecond, 1e-6 * sphere.Arcsecond
	night := func(px, air float64) []Sighting {
		rng := rand.New(rand.NewPCG(seed, 7400))
		n := parted(rng, 2)
		n.err, n.air.Err = px, air
		return n.sightings(t, rng)
	}
	all := knowing(t, night(0.1, 0.03), as, none)
	for name, o := range map[string]Offset{
		"all":            all,
		"no star errors": knowing(t, night(1e-6, 0.03), as, none),
		"a firm mount":   knowing(t, night(0.1, 0.03), none, none),
		"measured air":   knowing(t, night(0.1, 0), as, none),
	} {
		by := []*Parts{&o.By.Stars, &o.By.Mount, &o.By.Refraction}
		for what, of := range map[string]func(*Parts) sphere.Angle{
			"altitude":           func(p *Parts) sphere.Angle { return p.Alt },
			"adjuster":           func(p *Parts) sphere.Angle { return p.AzKnob },
			"azimuth on the sky": func(p *Parts) sphere.Angle { return p.AzSky },
			"total":              func(p *Parts) sphere.Angle { return p.Total }, // the offset is far larger than its error
		} {
			sum := 0.0
			for _, p := range by {
				sum += math.Pow(of(p).Arcseconds(), 2)
			}
			if whole := of(&o.Err).Arcseconds(); math.Abs(math.Sqrt(sum)/whole-1) > 1e-3 {
				t.Errorf("%s, %s: the parts make %.4f arcsec of %.4f", name, what, math.Sqrt(sum), whole)
			}
		}
		for i, gone := range []bool{name == "no star errors", name == "a firm mount", name == "measured air"} {
			part, was := by[i].Alt, []*Parts{&all.By.Stars, &all.By.Mount, &all.By.Refraction}[i].Alt
			// What a pole at 48 degrees is uncertain by in measured air is below this.
			if gone && part > was/50+0.01*as || !gone && (part < 0.8*was || part > 1.25*was) {
				t.Errorf("%s: part %d (stars, mount, refraction) of the altitude's error is %.4f arcsec, with all sources %.4f", name, i+1, part.Arcseconds(), was.Arcseconds())
			}
		}
	}
	for name, grown := range map[string][2]sphere.Angle{
		"stars":      {knowing(t, night(0.01, 0), none, none).By.Stars.Alt, knowing(t, night(0.1, 0), none, none).By.Stars.Alt},
		"mount":      {knowing(t, night(1e-6, 0), as, none).By.Mount.Alt, knowing(t, night(1e-6, 0), 10*as, none).By.Mount.Alt},
		"refraction": {knowing(t, night(0.1, 0.003), as, none).By.Refraction.Alt, knowing(t, night(0.1, 0.03), as, none).By.Refraction.Alt},
	} {
		if r := float64(grown[1] / grown[0]); math.Abs(r/10-1) > 0.1 {
			t.Errorf("%s: ten times the source makes %.2f times the part", name, r)
		}
	}
}

// The error of a frame's turn is that of this frame: one whose stars are poor is known
// to less than the others, and each is as far from the truth as is stated of it. The first
// is what the others are counted from. The camera looks far from the axis, where a turn
// shows best.
func TestErrorsOfTurns(t *testing.T) {
	statistical(t)
	px := []float64{0.05, 8, 0.05, 2} // of a typical star of each frame
	const nights = 24
	sums, stated := make([]float64, len(px)), make([][]float64, len(px))
	for k := range nights {
		rng := rand.New(rand.NewPCG(seed, 7500+uint64(k)))
		n := parted(rng, len(px))
		n.lens.F, n.lens.K1, n.lens.K2 = 40000, 0, 0
		n.cam = sphere.Turn(unitX, 60*sphere.Degree)
		var ss []Sighting
		for i := range px {
			n.err = px[i]
			ss = append(ss, n.photograph(t, rng, i, n.localFromCam(i, rng)))
		}
		r, err := Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		for i := 1; i < len(px); i++ {
			f := &r.Frames[i]
			off := (f.Turn - (n.turns[i] - n.turns[0])).Wrap()
			sums[i] += math.Pow(float64(off/f.TurnErr), 2) / nights
			stated[i] = append(stated[i], f.TurnErr.Arcseconds())
		}
	}
	for i := 1; i < len(px); i++ {
		z := math.Sqrt(sums[i])
		t.Logf("seed %d, frame %d of stars good to %g px: turn over its error rms %.2f, error %.2f arcsec", seed, i+1, px[i], z, median(stated[i]))
		if z > 1.5 { // less is for what such still frames leave open of the mount
			t.Errorf("seed %d, frame %d: turn over its error rms %.2f", seed, i+1, z)
		}
	}
	if a, b, c := median(stated[2]), median(stated[3]), median(stated[1]); !(a < b/1.5 && b < c/1.5) {
		t.Errorf("seed %d: errors of turns %.2f, %.2f, %.2f arcsec of frames good, fair and poor", seed, a, b, c)
	}
}
