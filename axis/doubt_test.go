package axis

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// A stance turns the sky as the places of the other site and time do, which go
// all the way through the astronomical library. What differs is the Earth's own
// aberration (0.3 arcsec) and, over hours, that of its orbit; the Sun moves
// among the stars by a degree a day and is to follow.
func TestStanceIsAPlace(t *testing.T) {
	at := time.Date(2026, 3, 9, 21, 0, 0, 0, time.UTC)
	rng := rand.New(rand.NewPCG(seed, 31000))
	for range 200 {
		told := place.Site{Lat: sphere.Angle(math.Asin(2*rng.Float64() - 1)), Lon: sphere.Angle(360*rng.Float64()-180) * sphere.Degree}
		as := alternatives(told)
		a := as[rng.IntN(len(as))]
		p, err := place.At(at, told, place.Air{})
		if err != nil {
			t.Fatal(err)
		}
		other, err := place.At(at.Add(a.Shift), a.Site, place.Air{})
		if err != nil {
			t.Fatal(err)
		}
		star := sphere.SkyVec(anyVec(rng))
		got := sphere.LocalVec(a.stance(told).fromTold(told.Lat).Apply(p.Unrefracted(star).Vec()))
		if d := got.Sep(other.Unrefracted(star)).Arcseconds(); d > 2 {
			t.Errorf("seed %d: %+v told as %+v: star %.1f arcsec off, want below 2", seed, a, told, d)
		}
		sun := sphere.LocalVec(a.underSun(told).fromTold(told.Lat).Apply(p.Sun().Seen.Vec()))
		if d := sun.Sep(other.Sun().Seen).Degrees(); d > 0.3 { // its declination moves by 0.4 deg a day, its orbit's ellipse does the rest
			t.Errorf("seed %d: %+v told as %+v: Sun %.2f deg off, want below 0.3", seed, a, told, d)
		}
	}
}

// What may be wrong: signs only where they change something, half hours, and the
// zone of the longitude among them, with summer time.
func TestAlternatives(t *testing.T) {
	count := func(lat, lon float64) (n [ClockOff + 1]int, zones []float64) {
		for _, a := range alternatives(degrees(lat, lon)) {
			n[a.Mistake]++
			if a.Mistake == ClockZone {
				zones = append(zones, a.Shift.Hours())
			}
			if a.Shift != 0 && a.Site != degrees(lat, lon) || a.Shift == 0 && a.Site == degrees(lat, lon) {
				t.Errorf("%g, %g: %+v changes nothing, or two things", lat, lon, a)
			}
		}
		return n, zones
	}
	for _, c := range []struct {
		lat, lon float64
		signs    [3]int // latitude, longitude, both
		zones    []float64
	}{
		{-31.4, 121.9, [3]int{1, 1, 1}, []float64{-9, -8, 8, 9}},
		{44, -70, [3]int{1, 1, 1}, []float64{-5, -4, 4, 5}},
		{0.3, 30, [3]int{0, 1, 0}, []float64{-3, -2, 2, 3}},
		{51, 0.2, [3]int{1, 0, 0}, []float64{-1, 1}},
		{-20, 179.8, [3]int{1, 0, 0}, []float64{-13, -12, 12, 13}},
	} {
		n, zones := count(c.lat, c.lon)
		if [3]int(n[LatitudeSign:ClockZone]) != c.signs {
			t.Errorf("%g, %g: %v signs, want %v", c.lat, c.lon, n, c.signs)
		}
		if n[ClockZone]+n[ClockOff] != 56 { // 28 half hours either way
			t.Errorf("%g, %g: %d clocks, want 56", c.lat, c.lon, n[ClockZone]+n[ClockOff])
		}
		want := map[float64]bool{}
		for _, z := range c.zones {
			want[z] = true
		}
		for _, z := range zones {
			if !want[z] && len(zones) > len(c.zones) {
				t.Errorf("%g, %g: zone %g h, want among %v", c.lat, c.lon, z, c.zones)
			}
		}
	}
}

// The slow twin: sightings told the other site and clock, and everything fitted
// again, leave the same sum of squares as the stance does from what was told.
// The stars' stated errors are large, so that both fits weigh them alike.
func TestEvidenceIsThatOfAFitAnew(t *testing.T) {
	statistical(t)
	compared := 0
	for k := range 60 {
		rng := rand.New(rand.NewPCG(seed, 32000+uint64(k)))
		n := honest(rng, 3, sphere.Angle([]float64{2, 10, 30}[k%3])*sphere.Degree)
		n.stars, n.err = 200, 0.003
		ss := n.sightings(t, rng)
		for i := range ss {
			for j := range ss[i].Matches {
				ss[i].Matches[j].Err = 1
			}
		}
		as := alternatives(n.site)
		a := as[rng.IntN(len(as))]
		if !a.seeable(n.site, outlooksOf(ss)) {
			continue
		}
		there := append([]Sighting(nil), ss...)
		lowest := 90 * sphere.Degree
		for i := range there {
			p, err := place.At(ss[i].Time.Add(a.Shift), a.Site, n.air)
			if err != nil {
				t.Fatal(err)
			}
			there[i].Place = p
			for _, m := range ss[i].Matches {
				_, alt := p.Observed(m.Sky).AzAlt()
				lowest = min(lowest, alt)
			}
		}
		e, _ := newEvidence(ss)
		anew, _ := newEvidence(there)
		if lowest < 8*sphere.Degree { // where the air's own error weighs the stars otherwise
			continue
		}
		anew.weighLike(e)
		got, want := e.left(a.stance(n.site)), anew.left(stance{lat: a.Site.Lat})
		// The stance is linear where the fit is not.
		if d := math.Abs(got - want); d > 0.06*want+0.01 {
			t.Errorf("seed %d, night %d: %+v: stance leaves %.3f, a fit anew %.3f, want 6 %%", seed, k, a, got, want)
		}
		compared++
	}
	if compared < 10 {
		t.Errorf("%d nights compared, want 10 or more", compared)
	}
}

// weighLike gives the cells the standard errors of other evidence of the same
// stars.
func (e *evidence) weighLike(o *evidence) {
	for r := range e.resid {
		f := e.sigma[r] / o.sigma[r]
		e.resid[r] *= f
		for i := range e.params {
			e.rows[r*e.params+i] *= f
		}
	}
	e.sigma = o.sigma
	e.factorize()
}

// Nothing to doubt, and no panic, without frames enough or with nonsense.
func TestDoubtOfNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 33000))
	n := honest(rng, 3, 10*sphere.Degree)
	for name, spoil := range map[string]func(ss []Sighting) []Sighting{
		"no frame":        func(ss []Sighting) []Sighting { return nil },
		"one frame":       func(ss []Sighting) []Sighting { return ss[:1] },
		"no stars":        func(ss []Sighting) []Sighting { ss[0].Matches, ss[1].Matches, ss[2].Matches = nil, nil, nil; return ss },
		"two stars":       func(ss []Sighting) []Sighting { ss[0].Matches = ss[0].Matches[:2]; return ss },
		"no place":        func(ss []Sighting) []Sighting { ss[1].Place = nil; return ss },
		"no air":          func(ss []Sighting) []Sighting { return n.airless(t, ss) },
		"pixel NaN":       func(ss []Sighting) []Sighting { ss[2].Matches[0].X = math.NaN(); return ss },
		"no attitude":     func(ss []Sighting) []Sighting { ss[0].SkyFromCam = sphere.Rot{}; return ss },
		"the same thrice": func(ss []Sighting) []Sighting { ss[1], ss[2] = ss[0], ss[0]; return ss },
	} {
		ss := spoil(n.sightings(t, rng))
		if d, ok := DoubtSite(ss); ok || d.Refused || d.LogOdds > doubtOdds {
			t.Errorf("%s: %+v", name, d)
		}
	}
	ss := n.sightings(t, rng)[:1]
	mistold(t, ss, AsTold, 12*time.Hour)
	if d, ok := DoubtSite(ss); !ok || len(d.Unseen) == 0 || len(d.Fits) == 0 {
		t.Errorf("one frame by day: %+v, %v; want daylight and what would fit", d, ok)
	}
}

// airless tells the sightings that there is no air.
func (n *night) airless(t *testing.T, ss []Sighting) []Sighting {
	for i := range ss {
		p, err := place.At(ss[i].Time, n.site, place.Air{})
		if err != nil {
			t.Fatal(err)
		}
		ss[i].Place = p
	}
	return ss
}
