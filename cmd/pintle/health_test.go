package main

import (
	"strings"
	"testing"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/index/sphere"
)

// frames of a made-up measurement, by the times and turns given.
func framesAt(t *testing.T, lon sphere.Angle, turns []sphere.Angle, times ...time.Time) *measurement {
	t.Helper()
	m := &measurement{result: &axis.Result{}}
	for i, at := range times {
		p, err := place.At(at, place.Site{Lat: 45 * sphere.Degree, Lon: lon}, place.StandardAir(0))
		if err != nil {
			t.Fatal(err)
		}
		name := string(rune('a' + i))
		m.fitFrames = append(m.fitFrames, axis.Sighting{Name: name, Time: at, Place: p})
		m.result.Frames = append(m.result.Frames, axis.FrameFit{Name: name, Time: at, Used: true, Turn: turns[i]})
	}
	return m
}

// Times that cannot be are named; those of a good night are not.
func TestHealthOfTimes(t *testing.T) {
	const deg = sphere.Degree
	midnight := time.Date(2026, 11, 27, 0, 0, 0, 0, time.UTC)
	turns := []sphere.Angle{0, 30 * deg, 60 * deg}
	later := func(d time.Duration) time.Time { return midnight.Add(d) }
	good := framesAt(t, 0, turns, midnight, later(time.Minute), later(2*time.Minute))
	if h := good.health(); len(h) > 0 {
		t.Errorf("a good night: %q", h)
	}
	cases := []struct {
		name string
		m    *measurement
		want string
	}{
		// The Sun of late November stands 24 degrees high at noon in latitude 45:
		// 90 - 45 - 21.
		{"other side of the Earth", framesAt(t, 180*deg, turns, midnight, later(time.Minute), later(2*time.Minute)), "Sun 24 deg high"},
		{"clock stands", framesAt(t, 0, turns, midnight, midnight, later(time.Minute)), "frames a and b have the same time, yet the mount turned by 30.0 deg"},
		{"clock steps", framesAt(t, 0, turns, midnight, later(time.Minute), later(4*time.Hour)), "frames b and c lie 4.0 hours apart"},
	}
	for _, c := range cases {
		if h := c.m.health(); len(h) != 1 || !strings.Contains(h[0], c.want) {
			t.Errorf("%s: %q, want one note with %q", c.name, h, c.want)
		}
	}
	one := framesAt(t, 0, turns, midnight, midnight, midnight)
	one.oneTime = true
	if h := one.health(); len(h) > 0 {
		t.Errorf("one time given for all: %q", h)
	}
}
