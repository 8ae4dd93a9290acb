package plan

import (
	"strings"
	"testing"

	"pintle/index/sphere"
)

func TestSkyline(t *testing.T) {
	s, err := ParseSkyline(strings.NewReader(`# the garden
0 90 10      # hedge
80, 140, 42.5
300 20: 35   # house, through north
-150 -140 20
`))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ az, want float64 }{
		{0, 35}, {10, 35}, {20, 35}, {20.01, 10}, {45, 10}, {85, 42.5}, {140, 42.5}, {141, 0}, {215, 20}, {299, 0}, {300, 35}, {359.9, 35}, {-5, 35}, {365, 35},
	} {
		if got := s.Lowest(sphere.Angle(c.az) * sphere.Degree).Degrees(); got < c.want-1e-9 || got > c.want+1e-9 {
			t.Errorf("azimuth %v: %v, want %v", c.az, got, c.want)
		}
	}
	if s.Clear(sphere.LocalAt(100*sphere.Degree, 40*sphere.Degree)) || !s.Clear(sphere.LocalAt(100*sphere.Degree, 43*sphere.Degree)) {
		t.Error("clear where blocked, or the other way round")
	}
	for _, all := range []string{"0 360 15", "-180 180 15"} {
		s, err := ParseSkyline(strings.NewReader(all))
		if err != nil {
			t.Fatal(err)
		}
		for az := 0.0; az <= 360; az += 7.5 {
			if got := s.Lowest(sphere.Angle(az) * sphere.Degree).Degrees(); got < 14.99 {
				t.Errorf("%q: azimuth %v: %v", all, az, got)
			}
		}
	}
}

func TestSkylineRefused(t *testing.T) {
	for text, want := range map[string]string{
		"0 90":                                 "line 1: 2 numbers",
		"# x\n\n0 90 10 5":                     "line 3: 4 numbers",
		"0 north 10":                           `"north" is not a number`,
		"0 400 10":                             "azimuth 400",
		"0 90 91":                              "altitude 91",
		"0 90 -1":                              "altitude -1",
		"0 nan 1":                              "nan",
		strings.Repeat("0 1 1\n", maxBlocks+1): "more than",
		strings.Repeat("x", 1<<17):             "too long",
	} {
		if s, err := ParseSkyline(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.20q: %v, %v; want %q", text, s, err, want)
		}
	}
	if s, err := ParseSkyline(strings.NewReader("")); err != nil || len(s) != 0 || s.Lowest(1) != 0 {
		t.Errorf("empty: %v %v", s, err)
	}
}

func FuzzSkyline(f *testing.F) {
	f.Add("0 90 10\n300 20 35 # x")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseSkyline(strings.NewReader(text))
		if err != nil {
			return
		}
		for az := sphere.Angle(-7); az < 7; az += 0.37 {
			if a := s.Lowest(az); !(a >= 0 && a <= 1.5708) {
				t.Fatalf("lowest %v", a)
			}
		}
	})
}
