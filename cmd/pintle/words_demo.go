package main

import (
	"fmt"
	"math"

	"pintle/cmd/night"
)

const textDemoLong = `Invents a night: a place, a portable mount whose axis is off, and a small
camera. Renders what the camera sees into files, with photon noise and hot
pixels, measures those files exactly as "pintle axis" does, and prints the
answer beside the truth. Nothing in it is real.

With --live it is a rehearsal of "pintle live": a pretended camera takes a frame
every few seconds while you turn the pretended mount from the page or by keys.`

const textDemoExample = `  pintle demo
  pintle demo --south --seed 7
  pintle demo --keep /tmp/night
  pintle demo --live --phone`

// tellDemo says what was invented.
func (a *app) tellDemo(s *night.Spec, f *demoFlags) {
	c := s.Camera
	fmt.Fprintf(a.out, "An invented night (seed %d): %s, latitude %.1f°, longitude %.1f°, %s.\n",
		f.seed, s.Name, s.Site.Lat.Degrees(), s.Site.Lon.Degrees(), s.Start.UTC().Format("2 January 2006 15:04 UTC"))
	field := func(px int) float64 {
		return 2 * math.Atan(float64(px)*c.Pixel/2000/c.Focal) * 180 / math.Pi
	}
	fmt.Fprintf(a.out, "Camera %d x %d pixels behind %.0f mm: %.1f° x %.1f° of sky; %d photographs, RA turned between them.\n",
		c.W, c.H, c.Focal, field(c.W), field(c.H), len(s.Frames))
}

func (a *app) tellKept(paths []string) {
	fmt.Fprintln(a.out, "Photographs:")
	for _, p := range paths {
		fmt.Fprintln(a.out, "  "+p)
	}
}

// compareDemo prints the measured offset beside the true one.
func (a *app) compareDemo(m *measurement, t *night.Truth) {
	fmt.Fprintf(a.out, "\n   axis minus pole   altitude   azimuth at the adjuster     total\n")
	row := func(name string, alt, az, total float64) {
		fmt.Fprintf(a.out, "   %-15s %+9.3f'            %+9.3f'  %9.3f'\n", name, alt, az, total)
	}
	if m.result != nil {
		row("measured", m.offset.Alt.Arcminutes(), m.offset.AzKnob.Arcminutes(), m.offset.Total.Arcminutes())
	}
	row("true", t.Offset.Alt.Arcminutes(), t.Offset.AzKnob.Arcminutes(), t.Offset.Total.Arcminutes())
	if m.result != nil {
		fmt.Fprintf(a.out, "   The axis was measured %.2f arcsec from where it is.\n", m.result.Axis.Sep(t.Axis).Arcseconds())
	}
}
