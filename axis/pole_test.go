package axis

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// resultAt is a result with a known axis, for what follows from it.
func resultAt(t *testing.T, lat float64, air place.Air, az, alt float64) *Result {
	t.Helper()
	p, err := place.At(time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC), place.Site{Lat: sphere.Angle(lat) * sphere.Degree}, air)
	if err != nil {
		t.Fatal(err)
	}
	s := arcsecond.Radians()
	return &Result{Axis: azAltDeg(az, alt), Cov: [2][2]float64{{4 * s * s, 0}, {0, s * s}}, place: p}
}

// Separations of six misalignments, computed by an independent program with
// exact formulas, no refraction (the project's check values, section 6.4);
// tolerance 0.0005 arcsec.
func TestOffset(t *testing.T) {
	for _, c := range []struct {
		name                 string
		lat, alt, az         float64 // of the axis
		eAlt, eAz, separated float64 // arcmin, arcmin, arcsec
	}{
		{"M1", 52, 5, 0, 52.083333333, 0, 300},
		{"M2", 52, 0, 8, 52, 0.133333333, 295.5175},
		{"M3", 35, 2, -3, 35.033333333, -0.05, 190.0838},
		{"M4", 20, -10, 6, 19.833333333, 0.1, 688.8835},
		{"M5", 65, 1, 2, 65.016666667, 0.033333333, 78.5514},
		{"M6", -33.9, 3, 4, 33.95, 180.066666667, 268.4372},
	} {
		c.alt, c.az, c.eAlt, c.eAz = c.eAlt, c.eAz, c.alt, c.az
		r := resultAt(t, c.lat, place.Air{}, c.az, c.alt)
		for _, k := range []PoleKind{True, Refracted} {
			o := r.Offset(k)
			if d := math.Abs(o.Total.Arcseconds() - c.separated); d > 5e-4 {
				t.Errorf("%s: total %.4f arcsec, want %.4f", c.name, o.Total.Arcseconds(), c.separated)
			}
			if math.Abs(o.Alt.Arcminutes()-c.eAlt) > 1e-6 || math.Abs(o.AzKnob.Arcminutes()-c.eAz) > 1e-6 {
				t.Errorf("%s: altitude %.6f, azimuth %.6f arcmin; want %g, %g", c.name, o.Alt.Arcminutes(), o.AzKnob.Arcminutes(), c.eAlt, c.eAz)
			}
			if want := c.eAz * math.Cos(c.lat*math.Pi/180); math.Abs(o.AzSky.Arcminutes()-want) > 1e-6 {
				t.Errorf("%s: azimuth on the sky %.6f arcmin, want %.6f", c.name, o.AzSky.Arcminutes(), want)
			}
		}
	}
}

// What a person would do, worked out by hand for both hemispheres.
func TestMoves(t *testing.T) {
	for _, c := range []struct {
		name    string
		lat     float64
		az, alt float64 // of the axis
		want    [2]Direction
	}{
		{"north, too high and too far east", 50, 1, 51, [2]Direction{Lower, CounterClockwise}},
		{"north, too low and too far west", 50, 359, 49, [2]Direction{Raise, Clockwise}},
		// In the south the axis points south; east of it azimuth is smaller.
		{"south, too high and too far east", -50, 179, 51, [2]Direction{Lower, Clockwise}},
		{"south, too low and too far west", -50, 181, 49, [2]Direction{Raise, CounterClockwise}},
	} {
		m := resultAt(t, c.lat, place.Air{}, c.az, c.alt).Offset(True).Moves()
		if m[0].Adjuster != Altitude || m[1].Adjuster != Azimuth || m[0].Direction != c.want[0] || m[1].Direction != c.want[1] {
			t.Errorf("%s: %v and %v, want %v and %v", c.name, m[0].Direction, m[1].Direction, c.want[0], c.want[1])
		}
		for _, x := range m {
			if math.Abs(x.Amount.Degrees()-1) > 1e-9 {
				t.Errorf("%s: %v by %v, want 1 degree", c.name, x.Adjuster, x.Amount)
			}
		}
	}
}

// The moves, made, bring the axis to the pole.
func TestMovesArrive(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 7000))
	for range 200 {
		lat := 160*rng.Float64() - 80
		r := resultAt(t, lat, place.StandardAir(0), 0, 45)
		paz, palt := r.Pole(Refracted).AzAlt()
		az, alt := paz+sphere.Angle(0.1*rng.NormFloat64()), palt+sphere.Angle(0.05*rng.NormFloat64())
		r.Axis = sphere.LocalAt(az, alt)
		for _, m := range r.Offset(Refracted).Moves() {
			switch m.Direction {
			case Raise:
				alt += m.Amount
			case Lower:
				alt -= m.Amount
			case Clockwise:
				az += m.Amount
			case CounterClockwise:
				az -= m.Amount
			}
		}
		if d := sphere.LocalAt(az, alt).Sep(r.Pole(Refracted)); d.Arcseconds() > 1e-6 {
			t.Fatalf("seed %d, latitude %.1f: the moves end %.3g arcsec from the pole", seed, lat, d.Arcseconds())
		}
	}
}

func TestOffsetErrors(t *testing.T) {
	r := resultAt(t, 60, place.Air{Pressure: 1000, Temp: 10}, 1, 61)
	o := r.Offset(Refracted)
	check := func(what string, got sphere.Angle, want float64) {
		t.Helper()
		if math.Abs(got.Arcseconds()/want-1) > 2e-3 {
			t.Errorf("%s: %.4f arcsec, want %.4f", what, got.Arcseconds(), want)
		}
	}
	cos61 := math.Cos(61 * math.Pi / 180)
	check("altitude", o.Err.Alt, 2)
	check("adjuster", o.Err.AzKnob, 1/cos61)
	// The offset is about 59.3 arcmin up and 30 arcmin to the side.
	x, y := o.Alt.Radians(), o.AzSky.Radians()
	check("total", o.Err.Total, math.Sqrt((x*x*4+y*y)/(x*x+y*y)))
	// An axis on the pole has no direction to be off: the larger error counts.
	r.Axis = r.Pole(Refracted)
	check("total at the pole", r.Offset(Refracted).Err.Total, 2)
}

// Air that was not measured adds to the error only as far as it moves the axis
// and the pole apart. Here it moves the pole alone, by 3 % of 33 arcsec.
func TestUnmeasuredAirWidensTheError(t *testing.T) {
	air := place.StandardAir(0)
	r := resultAt(t, 60, air, 1, 61)
	pole := float64(r.place.Refraction(r.Pole(Refracted)))
	want := math.Hypot(2, air.Err*sphere.Angle(pole).Arcseconds())
	if got := r.Offset(Refracted).Err.Alt.Arcseconds(); math.Abs(got-want) > 1e-3 {
		t.Errorf("refracted pole: altitude error %.4f arcsec, want %.4f", got, want)
	}
	if got := r.Offset(True).Err.Alt.Arcseconds(); math.Abs(got-2) > 1e-3 {
		t.Errorf("true pole: altitude error %.4f arcsec, want 2", got)
	}
	// An axis that moves along with the pole keeps its distance.
	r.perRefraction[0] = pole
	if got := r.Offset(Refracted).Err.Alt.Arcseconds(); math.Abs(got-2) > 1e-3 {
		t.Errorf("axis and pole move together: altitude error %.4f arcsec, want 2", got)
	}
}

// perRefraction is what happens when the fit is given other air, to the tenth by
// which the average over scatter and sag weighs the frames otherwise.
func TestPerRefraction(t *testing.T) {
	compared := 0
	for k := range 12 {
		rng := rand.New(rand.NewPCG(seed, 7100+uint64(k)))
		n := random(rng, 3)
		n.err, n.catErr = 0.1, 0
		n.site.Lat = sphere.Angle(math.Copysign(48, float64(n.site.Lat))) * sphere.Degree
		n.air = place.Air{Pressure: 1000, Temp: 10, Humidity: 0.5}
		pole := n.site.Lat.Abs()
		n.axis = sphere.LocalAt(sphere.Angle(0.02), pole)
		if n.site.Lat < 0 {
			n.axis = sphere.LocalAt(sphere.Angle(math.Pi+0.02), pole)
		}
		mid := n.zenithTurn()
		n.turns = []sphere.Angle{mid - 0.7, mid - 0.1, mid + 0.5}
		ss := n.sightings(t, rng)
		r, err := Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		thick := n.air
		thick.Pressure *= 1.02 // refraction grows by 2 %, to 1 in 1000 of that
		for i := range ss {
			if ss[i].Place, err = place.At(ss[i].Time, n.site, thick); err != nil {
				t.Fatal(err)
			}
		}
		s, err := Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		compared++
		a0, h0 := r.Axis.AzAlt()
		a1, h1 := s.Axis.AzAlt()
		alt, az := (h1 - h0).Arcseconds(), ((a1 - a0).Wrap() * sphere.Angle(h0.Cos())).Arcseconds()
		wantAlt, wantAz := 0.02*sphere.Angle(r.perRefraction[0]).Arcseconds(), 0.02*sphere.Angle(r.perRefraction[1]).Arcseconds()
		if d := math.Hypot(alt-wantAlt, az-wantAz); d > 0.01+0.1*math.Hypot(alt, az) {
			t.Errorf("seed %d, night %d: 2 %% more refraction moves the axis by %.3f, %.3f arcsec, predicted %.3f, %.3f", seed, k, alt, az, wantAlt, wantAz)
		}
	}
	if compared < 4 {
		t.Errorf("only %d nights compared", compared)
	}
}

// Beyond 80 degrees latitude azimuth loses its meaning, and that is said.
func TestNearZenith(t *testing.T) {
	for lat, want := range map[float64]bool{79: false, 81: true, -85: true, 90: true, 0: false} {
		r := resultAt(t, lat, place.Air{}, 3, 80)
		o := r.Offset(True)
		if o.NearZenith != want {
			t.Errorf("latitude %g: near zenith %v, want %v", lat, o.NearZenith, want)
		}
		if !finite(float64(o.AzKnob), float64(o.AzSky), float64(o.Err.AzKnob), float64(o.Err.AzSky), float64(o.Err.Total)) {
			t.Errorf("latitude %g: %+v", lat, o)
		}
	}
}
