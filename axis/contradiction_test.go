package axis

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// looking returns a sighting of a camera that looks at a local direction.
func looking(t *testing.T, when string, site place.Site, az, alt float64) Sighting {
	t.Helper()
	at, err := time.Parse(time.RFC3339, when)
	if err != nil {
		t.Fatal(err)
	}
	p, err := place.At(at, site, place.StandardAir(0))
	if err != nil {
		t.Fatal(err)
	}
	look := p.Catalogue(sphere.LocalAt(sphere.Angle(az)*sphere.Degree, sphere.Angle(alt)*sphere.Degree)).Vec()
	x := r3.Unit(r3.Cross(r3.Vec{X: 0.1, Y: 0.2, Z: 0.9}, look))
	return Sighting{Name: when, Time: at, Place: p, W: 1000, H: 800, Lens: optics.NewLens(1000, 800, sphere.Arcminute),
		SkyFromCam: sphere.RotFromRows(x, r3.Cross(look, x), look).Inv()}
}

func degrees(lat, lon float64) place.Site {
	return place.Site{Lat: sphere.Angle(lat) * sphere.Degree, Lon: sphere.Angle(lon) * sphere.Degree}
}

// A camera that looks below the horizon; the Sun of the longest and the shortest
// day, whose altitude follows from latitude, declination (23.4 degrees at a
// solstice) and the clock to a degree.
func TestUnseeable(t *testing.T) {
	greenwich, south := degrees(50, 0), degrees(-50, 0)
	for _, c := range []struct {
		name    string
		s       Sighting
		kinds   []ContradictionKind
		angle   float64 // degrees, of the first
		refuses bool
	}{
		{"a winter's night", looking(t, "2026-12-21T23:00:00Z", greenwich, 90, 40), nil, 0, false},
		{"just above the horizon", looking(t, "2026-12-21T23:00:00Z", greenwich, 90, 0), nil, 0, false},
		{"a clock some minutes off", looking(t, "2026-12-21T23:00:00Z", greenwich, 90, -0.4), nil, 0, false},
		{"below the horizon", looking(t, "2026-12-21T23:00:00Z", greenwich, 90, -0.6), []ContradictionKind{BelowHorizon}, -0.6, true},
		{"36 degrees below", looking(t, "2026-12-21T23:00:00Z", greenwich, 200, -36), []ContradictionKind{BelowHorizon}, -36, true},
		{"noon in winter", looking(t, "2026-12-21T12:00:00Z", greenwich, 90, 40), []ContradictionKind{InDaylight}, 90 - 50 - 23.4, true},
		{"noon in summer", looking(t, "2026-06-21T12:00:00Z", greenwich, 90, 40), []ContradictionKind{InDaylight}, 90 - 50 + 23.4, true},
		{"the same instant in the south", looking(t, "2026-06-21T12:00:00Z", south, 90, 40), []ContradictionKind{InDaylight}, 90 - 50 - 23.4, true},
		{"noon, below the horizon", looking(t, "2026-06-21T12:00:00Z", greenwich, 90, -20), []ContradictionKind{BelowHorizon, InDaylight}, -20, true},
		// 15 min before the equinox' sunrise the Sun stands 15/4*cos 50 = 2.4 degrees lower.
		{"before sunrise", looking(t, "2026-03-20T05:52:00Z", greenwich, 90, 40), []ContradictionKind{InDaylight}, -1.5, false},
	} {
		got := Unseeable([]Sighting{c.s})
		var kinds []ContradictionKind
		for _, g := range got {
			kinds = append(kinds, g.Kind)
		}
		if !reflect.DeepEqual(kinds, c.kinds) {
			t.Errorf("%s: %+v, want kinds %v", c.name, got, c.kinds)
			continue
		}
		if len(got) == 0 {
			continue
		}
		if g := got[0]; math.Abs(g.Angle.Degrees()-c.angle) > 1 || g.Refuses() != c.refuses || g.Names[0] != c.s.Name || g.Frames[0] != 0 {
			t.Errorf("%s: %+v (%.2f deg, refuses %v), want about %g deg of that frame, refuses %v", c.name, g, g.Angle.Degrees(), g.Refuses(), c.angle, c.refuses)
		}
	}
	var none Sighting
	both := Unseeable([]Sighting{none, looking(t, "2026-12-21T23:00:00Z", greenwich, 90, -5)})
	if len(both) != 1 || both[0].Frames[0] != 1 {
		t.Errorf("second of two frames below the horizon: %+v", both)
	}
}

// No honest night is called impossible: the camera looks up, in the dark.
func TestHonestNightsAreSeeable(t *testing.T) {
	dark := 120 // frames
	for k := range 60 {
		rng := rand.New(rand.NewPCG(seed, 30000+uint64(k)))
		n := random(rng, 2)
		n.stars = 3
		for _, c := range Unseeable(n.sightings(t, rng)) {
			if c.Kind != InDaylight {
				t.Errorf("seed %d, night %d: %+v", seed, k, c)
			}
			dark--
		}
	}
	if dark < 30 {
		t.Errorf("only %d of 120 frames in the dark, though the nights are drawn at any hour", dark)
	}
}

func TestClockSteps(t *testing.T) {
	at := time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)
	frame := func(name string, after time.Duration, turn float64, used bool) FrameFit {
		return FrameFit{Name: name, Time: at.Add(after), Turn: sphere.Angle(turn) * sphere.Degree, Used: used}
	}
	night := []FrameFit{
		frame("late", 4*time.Hour, 30, true),
		frame("first", 0, 0, true),
		frame("left out", 100*time.Hour, 50, false),
		frame("still", 100*time.Millisecond, 359.5, true), // half a degree, across the full turn
		frame("turned", 150*time.Millisecond, 20, true),
	}
	want := []Contradiction{
		{Kind: ClockStood, Frames: []int{3, 4}, Names: []string{"still", "turned"}, Angle: 20.5 * sphere.Degree, Gap: 50 * time.Millisecond},
		{Kind: ClockJumped, Frames: []int{4, 0}, Names: []string{"turned", "late"}, Gap: 4*time.Hour - 150*time.Millisecond},
	}
	got := ClockSteps(night, false)
	for i := range got { // rounding
		got[i].Angle = sphere.Angle(math.Round(got[i].Angle.Degrees()*1e6)/1e6) * sphere.Degree
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	told := append(slices.Clone(night[3:]), frame("turned again", 150*time.Millisecond, 40, true))
	if got := ClockSteps(told, true); len(got) != 1 || got[0].Kind != OneTimeTold || got[0].Names[0] != "still" || got[0].Refuses() {
		t.Errorf("with one time told for all: %+v, want that once", got)
	}
	if got := ClockSteps(told[:1], true); got != nil {
		t.Errorf("with one time told for one: %+v", got)
	}
	if got[0].Refuses() || got[1].Refuses() {
		t.Error("a clock step refuses")
	}
	if got := ClockSteps([]FrameFit{night[1], frame("next", 2*time.Hour, 20, true)}, false); got != nil {
		t.Errorf("two hours apart: %+v", got)
	}
}

// Distances of sites: a degree of latitude, a degree of longitude at 60 degrees
// is half as long, and longitudes that differ by a full turn are the same.
func TestSitesAgainst(t *testing.T) {
	home := degrees(60, 10)
	for _, c := range []struct {
		name   string
		taken  *place.Site
		stated []StatedSite
		kinds  []ContradictionKind
		angle  float64
		names  []string
	}{
		{"none", &home, nil, nil, 0, nil},
		{"one, nothing taken", nil, []StatedSite{{"a", home}}, nil, 0, nil},
		{"the same from 0 to 360", &home, []StatedSite{{"a", degrees(60, 370)}, {"b", home}}, nil, 0, nil},
		{"a receiver's error", &home, []StatedSite{{"a", degrees(60.004, 10)}, {"b", degrees(60, 10.01)}}, nil, 0, nil},
		{"half a degree", nil, []StatedSite{{"a", home}, {"b", degrees(60, 11)}, {"c", degrees(60.001, 10)}}, []ContradictionKind{SitesDiffer}, 0.5, []string{"a", "b"}},
		{"taken from elsewhere", &home, []StatedSite{{"a", degrees(60, 10.1)}, {"b", degrees(60.005, 10.1)}, {"c", degrees(-60, 10)}},
			[]ContradictionKind{SitesDiffer, SiteDiffers}, 120.005, []string{"b", "c"}},
		{"taken 0.09 away", &home, []StatedSite{{"a", degrees(60.09, 10)}}, nil, 0, nil},
		{"taken 0.11 away", &home, []StatedSite{{"a", degrees(60.11, 10)}}, []ContradictionKind{SiteDiffers}, 0.11, []string{"a"}},
	} {
		got := SitesAgainst(c.taken, c.stated)
		var kinds []ContradictionKind
		for _, g := range got {
			kinds = append(kinds, g.Kind)
		}
		if !reflect.DeepEqual(kinds, c.kinds) {
			t.Errorf("%s: %+v, want kinds %v", c.name, got, c.kinds)
			continue
		}
		if len(got) > 0 && (math.Abs(got[0].Angle.Degrees()-c.angle) > 2e-3 || !reflect.DeepEqual(got[0].Names, c.names)) {
			t.Errorf("%s: %+v (%.4f deg), want %g of %v", c.name, got[0], got[0].Angle.Degrees(), c.angle, c.names)
		}
	}
}

// Zones in use (from memory): Urumqi keeps Beijing's time, Line Islands are a day
// ahead of their longitude, and a summer hour is no contradiction.
func TestZoneAgainst(t *testing.T) {
	for _, c := range []struct {
		offset, lon float64
		gap         float64 // hours, 0 for none
	}{
		{0, 0, 0}, {1, -5, 0}, {2, -9, 0}, {8, 87.6, 0}, {14, -157.4, 0}, {-10, -157.4, 0}, {13, 175, 0}, {-12, 179, 0},
		{2, -75, 7}, {0, 150, -10}, {10, -150, -4}, {-8, 10, -8.6667},
	} {
		got, odd := ZoneAgainst("a", time.Duration(c.offset*float64(time.Hour)), sphere.Angle(c.lon)*sphere.Degree)
		if odd != (c.gap != 0) || math.Abs(got.Gap.Hours()-c.gap) > 0.01 || odd && (got.Names[0] != "a" || got.Kind != ZoneFar || got.Refuses()) {
			t.Errorf("offset %g h at longitude %g: %+v, %v, want a gap of %g h", c.offset, c.lon, got, odd, c.gap)
		}
	}
}
