package axis

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/index/lsq"
	"pintle/index/sphere"
)

// misaligned is a misaligned axis and a star: latitude, degrees; axis minus pole
// in altitude and in azimuth as an adjuster turns, arcmin; hour angle and
// declination of the star, degrees. What they do to the star is checked against
// an independent program by the tests of package drive.
type misaligned struct {
	name                  string
	lat, alt, az, ha, dec float64
}

var misalignedCases = []misaligned{
	{"M1", 52, 5, 0, -75, 10}, {"M2", 52, 0, 8, 0, 0}, {"M3", 35, 2, -3, 40, 60},
	{"M4", 20, -10, 6, -30, -25}, {"M5", 65, 1, 2, 100, 80}, {"M6", -33.9, 3, 4, -60, -45},
}

func (c misaligned) poleAndAxis() (pole, axis sphere.Local) {
	due := 0.0
	if c.lat < 0 {
		due = 180
	}
	a := math.Abs(c.lat)
	return sphere.LocalAt(sphere.Angle(due)*sphere.Degree, sphere.Angle(a)*sphere.Degree),
		sphere.LocalAt(sphere.Angle(due+c.az/60)*sphere.Degree, sphere.Angle(a+c.alt/60)*sphere.Degree)
}

func (c misaligned) star() (ha, dec sphere.Angle) {
	return sphere.Angle(c.ha) * sphere.Degree, sphere.Angle(c.dec) * sphere.Degree
}

// exactWatch returns attitudes without error of a camera that looks at the
// star of a misaligned case while the mount turns about its own axis at the
// sidereal rate, in count frames about the middle.
func exactWatch(c misaligned, count int, gap time.Duration) (a attitudes, times []time.Time, d drive.Drive) {
	pole, axis := c.poleAndAxis()
	d = drive.New(pole, axis, c.lat < 0)
	ha, dec := c.star()
	mid := sphere.TurnVec(r3.Vec{X: 0.1, Y: -0.2, Z: 0.4}) // any camera whose axis we then aim
	b := d.Star(ha, dec).Vec()
	aim := sphere.Turn(r3.Cross(mid.Apply(unitZ), b), sphere.LocalVec(mid.Apply(unitZ)).Sep(sphere.LocalVec(b))).Mul(mid)
	start := time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)
	a.cov = mat.NewSymDense(3*count, nil)
	for i := range count {
		t := time.Duration(i) * gap
		turned := drive.SkyTurn(t - time.Duration(count-1)*gap/2)
		a.camFromLocal = append(a.camFromLocal, sphere.Turn(drive.NewFrame(axis, c.lat < 0).North(), -turned).Mul(aim).Inv())
		times = append(times, start.Add(t))
		for k := range 3 {
			a.cov.SetSym(3*i+k, 3*i+k, 1e-18)
		}
	}
	return a, times, d
}

// The six misaligned mounts: the watch gives their axis back, and its rates
// are those of the exact formulas.
func TestWatchMisaligned(t *testing.T) {
	for _, c := range misalignedCases {
		a, times, d := exactWatch(c, 5, 40*time.Second)
		pole, axis := c.poleAndAxis()
		w := &Watch{Frames: make([]string, 5)}
		if err := w.fit(a, times, pole, c.lat < 0); err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if s := w.Axis.Sep(axis).Arcseconds(); s > 0.02 {
			t.Errorf("%s: axis off by %v arcsec", c.name, s)
		}
		ha, dec := c.star()
		decRate, haExcess := d.Rates(ha, dec)
		whole := 160 * time.Second
		_, rot := d.Unguided(ha-drive.SkyTurn(whole)/2, dec, whole)
		for _, v := range []struct {
			what      string
			got, want sphere.Angle
		}{
			{"declination", w.Dec.PerHour, sphere.Angle(decRate * 3600)},
			{"west", w.RA.PerHour, sphere.Angle(haExcess * 3600 * dec.Cos())},
			{"field", w.Field.PerHour, rot * sphere.Angle(time.Hour/time.Second) / sphere.Angle(whole.Seconds())},
		} {
			if diff := (v.got - v.want).Arcseconds(); math.Abs(diff) > 0.2+2e-3*math.Abs(v.want.Arcseconds()) {
				t.Errorf("%s: %s %.3f arcsec/h, want %.3f", c.name, v.what, v.got.Arcseconds(), v.want.Arcseconds())
			}
		}
	}
}

// watched draws a night on which the mount is left tracking: count frames,
// gap apart, the drive a little off its rate and with a worm's error.
func watched(rng *rand.Rand, count int, gap time.Duration) *night {
	n := random(rng, count)
	n.step = gap
	sky := -1.0
	if n.site.Lat < 0 {
		sky = 1
	}
	rate := 1 + 1e-3*rng.NormFloat64() // solar instead of sidereal rate is 2.7e-3
	start := n.turns[count/2]
	for i := range n.turns {
		worm := 8 * arcsecond * sphere.Angle(rng.NormFloat64())
		n.turns[i] = start + sphere.Angle(sky*rate)*drive.SkyTurn(time.Duration(i)*gap) + worm
	}
	return n
}

// The axis from the drift is right within its stated error, in both
// hemispheres, through the air, whatever the drive does; and so is the
// declination drift by the formulas.
func TestWatchDriftHonest(t *testing.T) {
	statistical(t)
	rng := rand.New(rand.NewPCG(seed, 41))
	var sum, drift float64
	trials, answers := 120, 0
	for k := range trials {
		n := watched(rng, 6, 3*time.Minute)
		w, err := WatchDrift(n.sightings(t, rng))
		if err != nil {
			if strings.Contains(err.Error(), "watch longer") {
				continue
			}
			t.Fatalf("seed %d, night %d: %v", seed, k, err)
		}
		answers++
		_, _, s := w.Agreement(n.axis, [2][2]float64{})
		sum += s * s
		p, err := place.At(n.start.Add(15*time.Minute/2), n.site, n.air)
		if err != nil {
			t.Fatal(err)
		}
		d := drive.New(p.RefractedPole(), n.axis, n.site.Lat < 0)
		want := d.Drift(w.HA-drive.SkyTurn(3*n.step), w.Dec0, 5*n.step) * 4 // the span is a quarter of an hour
		z := float64((w.Dec.PerHour - want) / (w.Dec.Err + 0.01*want.Abs()))
		drift += z * z
	}
	if answers < trials*9/10 {
		t.Errorf("seed %d: %d answers of %d", seed, answers, trials)
	}
	if z := math.Sqrt(sum / float64(answers)); z < 0.8 || z > 1.25 {
		t.Errorf("seed %d: error over stated error %.2f", seed, z)
	}
	if z := math.Sqrt(drift / float64(answers)); z > 1.3 {
		t.Errorf("seed %d: drift against formula %.2f standard errors", seed, z)
	}
}

// A second measurement that is off by much more than both errors is seen to
// disagree.
func TestWatchDisagrees(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 42))
	c := misalignedCases[0]
	a, times, _ := exactWatch(c, 5, time.Minute)
	for i := range 15 {
		a.cov.SetSym(i, i, math.Pow(float64(arcsecond)*0.2, 2))
	}
	for i := range a.camFromLocal {
		v := r3.Scale(0.2*float64(arcsecond), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		a.camFromLocal[i] = sphere.TurnVec(v).Mul(a.camFromLocal[i])
	}
	pole, axis := c.poleAndAxis()
	w := &Watch{Frames: make([]string, 5)}
	if err := w.fit(a, times, pole, false); err != nil {
		t.Fatal(err)
	}
	if _, _, s := w.Agreement(axis, [2][2]float64{}); s > 3 {
		t.Errorf("seed %d: true axis %.1f sigma off", seed, s)
	}
	if alt, az, s := w.Agreement(sphere.LocalAt(sphere.Angle(0.3)*sphere.Degree, 51*sphere.Degree), [2][2]float64{}); s < 5 || alt < 0 || az > 0 {
		t.Errorf("wrong axis: %v %v %.1f sigma", alt, az, s)
	}
}

func TestSigmas(t *testing.T) {
	// Chi-square of two degrees of freedom at the 68.27, 95.45 and 99.73 % points:
	// 2.2957, 6.1801, 11.8292 (tables of the confidence ellipse, from memory).
	for chi2, want := range map[float64]float64{0: 0, 2.2957: 1, 6.1801: 2, 11.8292: 3} {
		if got := sigmas(chi2); math.Abs(got-want) > 2e-4 {
			t.Errorf("chi2 %v: %v sigma, want %v", chi2, got, want)
		}
	}
	if a, b := sigmas(68.9), sigmas(69.2); b < a || b-a > 0.1 { // the two branches meet
		t.Errorf("sigmas jump from %v to %v", a, b)
	}
	if s := sigmas(1e6); math.Abs(s/1000-1) > 0.01 {
		t.Errorf("far tail: %v", s)
	}
}

// What is no watch is refused, and named.
func TestWatchRefused(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 43))
	for name, c := range map[string]struct {
		spoil func(*night)
		want  NoWatch
	}{
		"too short":    {func(n *night) { n.step = 10 * time.Second }, TooShort},
		"not tracking": {func(n *night) { n.turns = make([]sphere.Angle, len(n.turns)) }, NotTracking},
		"mount turned": {func(n *night) { n.turns[3] += 20 * sphere.Degree }, OtherPatch},
	} {
		n := watched(rng, 4, 4*time.Minute)
		turns := n.turns[1]
		c.spoil(n)
		if name == "not tracking" {
			for i := range n.turns {
				n.turns[i] = turns
			}
		}
		var no *NoWatchError
		if w, err := WatchDrift(n.sightings(t, rng)); !errors.As(err, &no) || no.Kind != c.want {
			t.Errorf("seed %d: %s: %+v, %v; want %v", seed, name, w, err, c.want)
		}
	}
	var weak *WeakError
	if _, err := WatchDrift(watched(rng, 1, time.Minute).sightings(t, rng)); !errors.As(err, &weak) {
		t.Errorf("one frame: %v", err)
	}
}

// The motion between two frames is the one they were drawn with, within its
// error, in whichever order they are given.
func TestBetween(t *testing.T) {
	statistical(t)
	rng := rand.New(rand.NewPCG(seed, 44))
	var sum float64
	const trials = 60
	for i := range trials {
		n := random(rng, 2)
		ss := n.sightings(t, rng)
		a, b := 0, 1
		if i%2 == 1 {
			a, b = 1, 0
		}
		turn, cov, err := Between(ss[a], ss[b])
		if err != nil {
			t.Fatal(err)
		}
		want := n.localFromCam(b, rng).Mul(n.localFromCam(a, rng).Inv())
		d := turn.Mul(want.Inv()).Vec()
		var chol lsq.Normal
		if !chol.Factorize(cov) {
			t.Fatalf("seed %d: covariance %v", seed, mat.Formatted(cov))
		}
		x := []float64{d.X, d.Y, d.Z}
		for k, v := range chol.Solve(x) {
			sum += v * x[k]
		}
	}
	if z := math.Sqrt(sum / (3 * trials)); z < 0.8 || z > 1.25 {
		t.Errorf("seed %d: error over stated error %.2f", seed, z)
	}
}
