package session

import (
	"testing"

	"pintle/axis/place"
	"pintle/cmd/pintle/gear"
	"pintle/index/sphere"
)

func at(lat, lon float64) place.Site {
	return place.Site{Lat: sphere.Angle(lat) * sphere.Degree, Lon: sphere.Angle(lon) * sphere.Degree}
}

// A place that was typed without its S or its W, known to the gear file with it, is a
// doubt on both roads; elsewhere, and at the place itself, there is none.
func TestMirroredSite(t *testing.T) {
	known := gear.Gear{Sites: map[string]gear.Site{"yard": {Lat: -31.4, Lon: -70.9}, "quay": {Lat: 0.3, Lon: 20}}}
	for _, c := range []struct {
		site     place.Site
		lat, lon bool
	}{
		{at(31.4, -70.9), true, false}, {at(31.43, -70.95), true, false}, {at(-31.4, 70.9), false, true}, {at(31.4, 70.9), true, true},
		{at(-31.4, -70.9), false, false}, {at(-31.45, -70.95), false, false}, {at(31.6, -70.9), false, false}, {at(31.4, -60), false, false},
		{at(31.4, 109.1), false, false}, {at(-0.3, 20), false, false}, {at(0.3, 20), false, false},
	} {
		s := Setting{Site: c.site, SiteName: nameOf(known, c.site), Settled: true}
		got := s.mirrored(known)
		if (len(got) == 1) != (c.lat || c.lon) || len(got) == 1 && (got[0].Lat != c.lat || got[0].Lon != c.lon || got[0].Other != "yard" || !got[0].Doubtful() || got[0].mendable()) {
			t.Errorf("%.2f, %.2f: %+v", c.site.Lat.Degrees(), c.site.Lon.Degrees(), got)
		}
	}
	home := newPosed(t).Night.Spec().Site
	other := gear.Site{Lat: -home.Lat.Degrees(), Lon: home.Lon.Degrees()}
	for i, st := range onBoth(t, func(*Frame) {}, func(c *Config) { c.Gear.Sites = map[string]gear.Site{"yard": other} }) {
		if st.Answer == nil || len(of(SiteMirrored, st.Doubts)) != 1 {
			t.Errorf("road %d: answer %v, doubts %+v", i, st.Answer != nil, st.Doubts)
		}
	}
}

// The name that the gear file has for a place is of what lies within a kilometre in both
// latitude and longitude (0.01 degrees of latitude are 1.1 km), across the date line too.
func TestNameOf(t *testing.T) {
	g := gear.Gear{Sites: map[string]gear.Site{"yard": {Lat: -31.4, Lon: 121.9}, "isle": {Lat: -17, Lon: 179.998}}}
	for want, sites := range map[string][]place.Site{
		"yard": {at(-31.4, 121.9), at(-31.407, 121.893)},
		"isle": {at(-17, -179.998)},
		"":     {at(31.4, 121.9), at(-31.42, 121.9), at(-31.4, 121.92), at(-31.4, -121.9), at(-17, 179.97), at(-45, 179.998)},
	} {
		for _, s := range sites {
			if got := nameOf(g, s); got != want {
				t.Errorf("%.3f, %.3f: %q, want %q", s.Lat.Degrees(), s.Lon.Degrees(), got, want)
			}
		}
	}
}
