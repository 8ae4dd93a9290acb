package axis

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

var doubtNights = flag.Int("doubt-nights", 0, "simulated nights for the rates of doubt, 0 for the few of every day")

// honest draws a night as it may be: in the dark, the camera up, a field of a
// given width, and one or several of the things that make frames worse than the
// model: see flaws.
func honest(rng *rand.Rand, frames int, width sphere.Angle) *night {
	for {
		n := random(rng, frames)
		n.lens = optics.NewLens(n.w, n.h, sphere.Angle(math.Atan(2*math.Tan(float64(width)/2)/float64(n.w))))
		n.lens.K1 = 0.03 * rng.NormFloat64() * math.Min(1, width.Degrees()/10)
		n.stars = []int{12, 30, 80, 200, 500}[rng.IntN(5)]
		n.err = 0.03 + 0.2*rng.Float64()
		n.step = time.Duration(20+rng.IntN(200)) * time.Second
		if n.dark() && n.up(rng) {
			return n
		}
	}
}

// dark moves the start to an hour of the day when the Sun is down far enough.
func (n *night) dark() bool {
	for range 24 {
		p, _ := place.At(n.start, n.site, n.air)
		if _, alt := p.Sun().Seen.AzAlt(); alt < -9*sphere.Degree {
			return true
		}
		n.start = n.start.Add(7 * time.Hour) // through all hours of a day, in another order
	}
	return false
}

// up reports whether the frames look up: their middles above 5 degrees, and most
// of their corners.
func (n *night) up(rng *rand.Rand) bool {
	low := 0
	for i := range n.turns {
		r := n.localFromCam(i, rng)
		for _, c := range [][2]float64{{0.5, 0.5}, {0, 0}, {1, 0}, {0, 1}, {1, 1}} {
			z := r.Apply(n.lens.Cam(c[0]*float64(n.w), c[1]*float64(n.h)).Vec()).Z
			if z < math.Sin(5*math.Pi/180) {
				low++
				if c[0] == 0.5 {
					return false
				}
			}
		}
	}
	return low <= len(n.turns)
}

// flaw is something that makes honest frames worse than the model knows.
type flaw int

const (
	flawless flaw = iota
	scatter       // frames scatter by up to 20 arcsec
	rough         // stars by up to half a pixel more than stated
	confused      // 5 % wrong matches
	weather       // pressure, temperature, and an elevation nobody told
	careless      // the site off by 11 km, the clock by 3 min rms
	bentLens      // beyond what the model knows of lenses, pixels at the corner
	sagging       // the lens sags and its focus moves from frame to frame
	flexure       // up to 60 arcsec over the turn
	warped        // every frame bent by itself, up to 0.3 px at the corner
	haze          // the air near the horizon lifts otherwise than its model
	squeezed      // the picture is scaled by one part in 1000 in one direction
	everything
)

// spoil gives the night flaws that act before the frames are taken and returns
// one that lays the others on the frames.
func (n *night) spoil(k flaw, rng *rand.Rand) (after func(ss []Sighting)) {
	part := func(f flaw) float64 { // how much of a flaw the night has, 0 to 1
		if k == f || k == everything {
			return rng.Float64()
		}
		return 0
	}
	n.tilt = sphere.Angle(20*part(scatter)) * arcsecond
	n.floor = 0.5 * part(rough)
	n.wrong = 0.05 * part(confused)
	air, site := n.air, n.site
	if w := part(weather); w > 0 {
		air = place.StandardAir(0)
		n.air.Pressure *= 1 + 0.02*w*rng.NormFloat64()
		n.air.Temp += 12 * w * rng.NormFloat64()
	}
	var late time.Duration
	if part(careless) > 0 {
		site.Lat += sphere.Angle(0.1*rng.NormFloat64()) * sphere.Degree
		site.Lon += sphere.Angle(0.1*rng.NormFloat64()) * sphere.Degree
		late = time.Duration(3 * rng.NormFloat64() * float64(time.Minute))
	}
	lens := bendOf(rng, 2*part(bentLens))
	sag, flex, warp := part(sagging), sphere.Angle(60*part(flexure))*arcsecond, 0.3*part(warped)
	hazy := 2 * part(haze)
	squeeze := 1 + 1e-3*part(squeezed)
	axis := r3.Unit(anyVec(rng))
	return func(ss []Sighting) {
		for i := range ss {
			s := &ss[i]
			s.lowered(hazy * rng.NormFloat64())
			s.Place, _ = place.At(s.Time.Add(late), site, air)
			own := bendOf(rng, warp)
			l := n.lens
			l.CX, l.CY, l.F = l.CX+sag*rng.NormFloat64(), l.CY+sag*rng.NormFloat64(), l.F*(1+4e-5*sag*rng.NormFloat64())
			turn := sphere.TurnVec(r3.Scale(float64(flex)*n.turns[i].Sin(), axis))
			for j := range s.Matches {
				m := &s.Matches[j]
				x, y, _ := l.Pixel(sphere.CamVec(turn.Apply(n.lens.Cam(m.X, m.Y).Vec())))
				u, v := (x-float64(s.W)/2)/l.Half, (y-float64(s.H)/2)/l.Half
				m.X = (x + lens.at(0, u, v) + own.at(0, u, v)) * squeeze
				m.Y = y + lens.at(1, u, v) + own.at(1, u, v)
			}
		}
	}
}

// lowered drops stars that nobody sees so low, and lets the air lift the others
// more than it should, by a share of the standard error of its model.
func (s *Sighting) lowered(share float64) {
	s.Matches = slices.DeleteFunc(s.Matches, func(m Match) bool {
		_, alt := s.Place.Observed(m.Sky).AzAlt()
		return alt < 1*sphere.Degree
	})
	for i := range s.Matches {
		m := &s.Matches[i]
		l := s.Place.Observed(m.Sky)
		az, alt := l.AzAlt()
		err := min(s.Place.ModelErr(l), 30*arcsecond)
		m.Sky = s.Place.Catalogue(sphere.LocalAt(az, alt-sphere.Angle(share)*err))
	}
}

// bend2 is a random displacement over the frame, of degree 2 to 4.
type bend2 [2][10]float64

func bendOf(rng *rand.Rand, size float64) (b bend2) {
	for i := range b {
		for j := range b[i] {
			b[i][j] = size / 3 * rng.NormFloat64()
		}
	}
	return b
}

func (b *bend2) at(i int, u, v float64) (d float64) {
	for p, t := range [10]float64{u * u, u * v, v * v, u * u * u, u * u * v, u * v * v, v * v * v, u * u * u * u, v * v * v * v, u * u * v * v} {
		d += b[i][p] * t
	}
	return d
}

// mistold gives the sightings another site and clock than they were taken with,
// so that a puts them right.
func mistold(t testing.TB, ss []Sighting, m Mistake, shift time.Duration) {
	for i := range ss {
		p := ss[i].Place
		s := p.Site()
		if m == LatitudeSign || m == BothSigns {
			s.Lat = -s.Lat
		}
		if m == LongitudeSign || m == BothSigns {
			s.Lon = -s.Lon
		}
		told, err := place.At(p.Time().Add(-shift), s, p.Air())
		if err != nil {
			t.Fatal(err)
		}
		ss[i].Place = told
	}
}

// doubtWidths returns the fields to try, degrees, and nights of each: few every
// day, and all of them with -doubt-nights.
func doubtWidths(everyDay int) (widths []float64, nights int) {
	if *doubtNights > 0 {
		return []float64{0.8, 2, 5, 10, 20, 40, 60}, *doubtNights
	}
	if testing.Short() {
		return []float64{10}, everyDay / 2
	}
	return []float64{1, 10, 40}, everyDay
}

// doubtNight draws night k of a field's width, as it is told honestly.
func doubtNight(t testing.TB, width float64, k int) ([]Sighting, *rand.Rand) {
	rng := rand.New(rand.NewPCG(seed, 40000+uint64(1e6*width)+uint64(k)))
	n := honest(rng, 2+rng.IntN(5), sphere.Angle(width)*sphere.Degree)
	after := n.spoil(flaw(k%int(everything+1)), rng)
	ss := n.sightings(t, rng)
	after(ss)
	return ss, rng
}

// Honest nights are not doubted: the goal is one in 1000 at most.
func TestDoubtHonestNights(t *testing.T) {
	widths, nights := doubtWidths(int(everything + 1))
	for _, w := range widths {
		var odds []float64
		doubted := 0
		for k := range nights {
			ss, _ := doubtNight(t, w, k)
			d, ok := DoubtSite(ss)
			odds = append(odds, d.LogOdds)
			if ok {
				doubted++
				t.Logf("seed %d, width %g, night %d, flaw %d: log odds %.1f, unseen %v", seed, w, k, k%int(everything+1), d.LogOdds, d.Unseen)
			}
		}
		t.Logf("width %g deg: %d of %d honest nights doubted; log odds 99 %% %.2f, largest %.2f", w, doubted, nights, quantile(odds, 0.99), quantile(odds, 1))
		if doubted*1000 > nights {
			t.Errorf("seed %d, width %g: %d of %d honest nights doubted, want at most one in 1000", seed, w, doubted, nights)
		}
	}
}

// Wrong tellings are found, the more surely the wider the field; and what is
// said to fit holds what was wrong.
func TestDoubtFindsMistakes(t *testing.T) {
	statistical(t)
	widths, nights := doubtWidths(6)
	mistakes := []struct {
		name  string
		m     Mistake
		shift time.Duration
		least int // percent to be doubted at any width
	}{
		{"latitude's sign", LatitudeSign, 0, 70},
		{"longitude's sign", LongitudeSign, 0, 50},
		{"both signs", BothSigns, 0, 80},
		{"clock off 1 h", ClockOff, time.Hour, 0},
		{"clock off 3 h", ClockOff, -3 * time.Hour, 0},
		{"clock off 8 h", ClockOff, 8 * time.Hour, 70},
	}
	for _, w := range widths {
		for _, m := range mistakes {
			var c found
			for k := range nights {
				ss, _ := doubtNight(t, w, k)
				right := Alternative{Site: ss[0].Place.Site(), Shift: m.shift}
				mistold(t, ss, m.m, m.shift)
				d, ok := DoubtSite(ss)
				c.count(d, ok, right)
			}
			t.Logf("width %g deg, %s: %v", w, m.name, c)
			if w == 10 && m.least > 0 && (2*c.refracted < nights || 3*c.refused < nights) {
				t.Errorf("seed %d, width %g, %s: %v; want refraction to tell in half, and a third refused", seed, w, m.name, c)
			}
			if 100*c.doubted < m.least*c.nights || 10*c.fits < 9*c.doubted {
				t.Errorf("seed %d, width %g, %s: %v; want %d %% doubted, and the truth to fit in 90 %%", seed, w, m.name, c, m.least)
			}
		}
	}
}

// found counts nights: doubted, of these refused, by horizon or daylight, by
// refraction; the truth among what fits, and first there.
type found struct{ nights, doubted, refused, unseen, refracted, fits, first int }

func (c *found) count(d SiteDoubt, ok bool, truth Alternative) {
	right := func(a Alternative) bool {
		return a.Least-time.Minute <= truth.Shift && truth.Shift <= a.Most+time.Minute && between(a.Site, truth.Site) < 2*sphere.Degree
	}
	one := func(n *int, yes bool) {
		if yes {
			*n++
		}
	}
	one(&c.nights, true)
	one(&c.doubted, ok)
	one(&c.refused, ok && d.Refused)
	one(&c.unseen, len(d.Unseen) > 0)
	one(&c.refracted, d.LogOdds > doubtOdds)
	one(&c.fits, ok && slices.ContainsFunc(d.Fits, right))
	one(&c.first, ok && len(d.Fits) > 0 && right(d.Fits[0]))
}

func (c found) String() string {
	share := func(n, of int) int { return int(math.Round(100 * float64(n) / float64(max(of, 1)))) }
	return fmt.Sprintf("of %d nights %d %% doubted (unseen %d %%, refraction %d %%), %d %% refused; of those doubted the truth fits %d %%, first %d %%",
		c.nights, share(c.doubted, c.nights), share(c.unseen, c.nights), share(c.refracted, c.nights), share(c.refused, c.nights),
		share(c.fits, c.doubted), share(c.first, c.doubted))
}

func quantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	y := slices.Clone(x)
	slices.Sort(y)
	return y[int(p*float64(len(y)-1))]
}
