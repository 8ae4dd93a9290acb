package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/cmd/night"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
	"pintle/solve/render"
)

// condition is something that spoils a frame.
type condition struct {
	name    string
	ra, dec float64 // degrees, of the field; 0, 0 for an ordinary one
	spec    func(s *night.Spec)
	scene   func(sc *render.Scene)
	after   func(im *frame.Image) *frame.Image
	// refusal is part of the reason for which the frame must be refused; empty
	// when it must be solved.
	refusal string
	long    bool // only with -long
}

// ordinary is a field away from the Milky Way, in Lynx.
const ordinaryRA, ordinaryDec = 130, 40

var conditions = []condition{
	{name: "plain"},
	{name: "hot and dead pixels and columns", spec: func(s *night.Spec) {
		s.Camera.Defects = render.Defects{Hot: 3000, Dead: 1000, HotColumns: 10, DeadColumns: 10, HotElectrons: 4000}
	}},
	{name: "amplifier glow", scene: func(sc *render.Scene) { sc.Sky.Glow, sc.Sky.GlowSize = 20000, 250 }, long: true},
	{name: "strong vignetting", spec: func(s *night.Spec) { s.Camera.Vignette = 0.85 }, long: true},
	{name: "light pollution", spec: func(s *night.Spec) { s.Sky.Brightness, s.Sky.DX, s.Sky.DY = 17, 1, 0.6 }, long: true},
	{name: "twilight", spec: func(s *night.Spec) { s.Sky.Brightness = 15 }, long: true},
	{name: "bright twilight", scene: func(sc *render.Scene) { sc.Sky.Level = 0.75 * sc.Sensor.FullWell }, long: true},
	{name: "dawn", scene: func(sc *render.Scene) { sc.Sky.Level = 0.985 * sc.Sensor.FullWell }, long: true},
	{name: "daylight", scene: func(sc *render.Scene) { sc.Sky.Level = 2 * sc.Sensor.FullWell }, refusal: "overexposed", long: true},
	{name: "moonlight", spec: func(s *night.Spec) { s.Sky.Brightness, s.Sky.DY = 16.5, -1.5 }, long: true},
	{name: "thin cloud over part", spec: func(s *night.Spec) { s.Sky.Cloud = 0.5 }, long: true},
	{name: "cloud over nearly all", spec: func(s *night.Spec) { s.Sky.Cloud = 0.98 }, long: true},
	{name: "overcast", scene: func(sc *render.Scene) {
		own := float32(3 * sc.Sky.Level)
		sc.Block = func(int, int) (float32, float32) { return 0.001, own }
	}, refusal: "point at clear sky", long: true},
	{name: "trees over half", scene: func(sc *render.Scene) { sc.Block = render.Trees(sc.W, sc.H, 0.7, 0.1*sc.Sky.Level, 7) }, long: true},
	{name: "trees over all", scene: func(sc *render.Scene) { sc.Block = render.Trees(sc.W, sc.H, 2.2, 0.1*sc.Sky.Level, 7) }, long: true},
	{name: "roof over half", scene: func(sc *render.Scene) {
		sc.Block = render.Roof(0.4*float64(sc.W), 0, 0.6*float64(sc.W), float64(sc.H), 0.1*sc.Sky.Level)
	}},
	{name: "lit roof over half", scene: func(sc *render.Scene) {
		sc.Block = render.Roof(0.4*float64(sc.W), 0, 0.6*float64(sc.W), float64(sc.H), 20*sc.Sky.Level)
	}, long: true},
	{name: "satellites and an aircraft", scene: func(sc *render.Scene) {
		sc.Streaks = []render.Streak{
			{X1: 10, X2: 1500, Y2: 1200, Flux: 800}, {X1: 1600, Y1: 100, X2: -50, Y2: 500, Flux: 6000},
			{X1: 300, Y1: 1300, X2: 900, Y2: -100, Width: 6, Flux: 20000}, {X1: 320, Y1: 1300, X2: 920, Y2: -100, Width: 6, Flux: 20000},
		}
	}},
	{name: "full and bloomed stars", spec: func(s *night.Spec) { s.Camera.Exposure = 30 * time.Second }, scene: func(sc *render.Scene) {
		sc.Sensor.FullWell, sc.Sensor.Bloom = 2*sc.Sky.Level+3000, true
	}, long: true},
	{name: "densest Milky Way", ra: 270.9, dec: -28, spec: func(s *night.Spec) { s.Camera.Exposure = 30 * time.Second }, long: true},
	{name: "nebula", ra: 83.8, dec: -5.4, scene: func(sc *render.Scene) { sc.Lights = glow(sc, 0.5, 0.45, 40, 20) }, long: true},
	{name: "galaxy core", ra: 10.7, dec: 41.3, scene: func(sc *render.Scene) { sc.Lights = glow(sc, 0.55, 0.5, 25, 8) }, long: true},
	{name: "disc of 15 px", spec: func(s *night.Spec) { s.Camera.PSF.Defocus, s.Camera.Exposure = 15, 8*time.Second }, long: true},
	{name: "ring of 15 px", spec: func(s *night.Spec) {
		s.Camera.PSF.Defocus, s.Camera.PSF.Hole, s.Camera.Exposure = 15, 0.5, 8*time.Second
	}, long: true},
	{name: "disc of 40 px", spec: func(s *night.Spec) { s.Camera.PSF.Defocus = 40 }, long: true},
	{name: "trailed 15 px", spec: func(s *night.Spec) { s.Setup.Tracking, s.Camera.Exposure = false, 7500*time.Millisecond }, long: true},
	{name: "trailed 150 px", spec: func(s *night.Spec) { s.Setup.Tracking, s.Camera.Exposure = false, 75*time.Second }, refusal: "trail", long: true},
	{name: "elongated corners", spec: func(s *night.Spec) { s.Camera.PSF.Corner, s.Camera.PSF.Coma = 1.5, 6 }, long: true},
	{name: "undersampled, FWHM 1.2 px", spec: func(s *night.Spec) { s.Camera.PSF.FWHM = 1.2 }, long: true},
	{name: "undersampled with hot pixels", spec: func(s *night.Spec) {
		s.Camera.PSF.FWHM, s.Camera.Defects = 1.2, render.Defects{Hot: 3000, HotElectrons: 4000}
	}, long: true},
	{name: "colour mosaic", spec: func(s *night.Spec) { s.Camera.Sensor.Mosaic = "GRBG" }, long: true},
	{name: "JPEG", spec: eightBits, after: func(im *frame.Image) *frame.Image { return render.Compress(im, 75) }},
	{name: "JPEG, hard", spec: func(s *night.Spec) {
		eightBits(s)
		s.Camera.Sensor.Gain = 10
	}, after: func(im *frame.Image) *frame.Image { return render.Compress(im, 40) }, long: true},
	{name: "binned", after: render.Bin, long: true},
	{name: "shrunk", after: rescale(0.45), long: true},
	{name: "enlarged", after: rescale(1.7), long: true},
	{name: "border and caption", spec: eightBits, after: func(im *frame.Image) *frame.Image {
		render.Caption(im, 20, 3, "old quarry - 2026-12-09 23:10", "135 mm - 2 s")
		return im
	}},
	{name: "planets", scene: func(sc *render.Scene) {
		full := 3 * sc.Sensor.FullWell
		sc.Lights = []render.Light{{X: 400, Y: 300, Radius: 4, Peak: full, Sharp: true}, {X: 1100, Y: 800, Radius: 2, Peak: full, Sharp: true}}
	}, long: true},
	{name: "the Moon", scene: func(sc *render.Scene) { // a quarter of a degree
		sc.Lights = []render.Light{{X: 500, Y: 500, Radius: 163, Peak: 5 * sc.Sensor.FullWell, Sharp: true}}
	}},
	{name: "lens cap", scene: func(sc *render.Scene) { sc.Block = func(int, int) (float32, float32) { return 0, 0 } }, refusal: "star", long: true},
}

func eightBits(s *night.Spec) {
	s.Camera.Sensor.Bits, s.Camera.Sensor.Gain, s.Camera.Sensor.Bias = 8, 60, 4
}

func rescale(by float64) func(im *frame.Image) *frame.Image {
	return func(im *frame.Image) *frame.Image { return render.Rescale(im, by) }
}

// glow is a nebula in three steps, its core so many times as bright as the sky.
func glow(sc *render.Scene, x, y, core, size float64) (out []render.Light) {
	for _, k := range []float64{1, 3, 9} {
		out = append(out, render.Light{X: x * float64(sc.W), Y: y * float64(sc.H), Radius: size * k, Peak: core * sc.Sky.Level / (k * k)})
	}
	return out
}

// conditionSpec is a frame of 3.2 degrees, taken where the field culminates.
func conditionSpec(t *testing.T, c *condition) night.Spec {
	t.Helper()
	if c.ra == 0 && c.dec == 0 {
		c.ra, c.dec = ordinaryRA, ordinaryDec
	}
	s := night.Spec{
		Name: "old quarry", Seed: 20261125, Start: time.Date(2026, 12, 9, 23, 10, 0, 0, time.UTC),
		Site: place.Site{Lat: 20 * sphere.Degree, Lon: 15 * sphere.Degree, Elev: 200},
		Sky:  night.Sky{Brightness: 20.5, Extinction: 0.2, Scatter: 1, Faint: true},
		Camera: night.Camera{
			W: 1600, H: 1200, Pixel: 3.75, Focal: 135, Aperture: 48, Exposure: 2 * time.Second, K1: -0.01, Vignette: 0.2,
			PSF: render.PSF{FWHM: 2.6}, Sensor: render.Sensor{Gain: 1, Bias: 300, Read: 3, FullWell: 50000},
			Defects: render.Defects{Hot: 50, Dead: 10, HotElectrons: 1500},
		},
		Setup:  night.Setup{Dec: sphere.Angle(c.dec) * sphere.Degree, Roll: 35 * sphere.Degree, Tracking: true},
		Frames: []night.Frame{{}},
	}
	s.Air = place.StandardAir(s.Site.Elev)
	if c.spec != nil {
		c.spec(&s)
	}
	n, err := night.New(s)
	if err != nil {
		t.Fatal(err)
	}
	ra, _ := n.Truth(0).Centre.RADec()
	wait := (sphere.Angle(c.ra)*sphere.Degree - ra).Wrap().Degrees() / 360 * 86164
	s.Start = s.Start.Add(time.Duration(wait * float64(time.Second)))
	return s
}

// TestConditions photographs a known field under everything that spoils frames:
// each must be solved, blind and rightly, or refused for what is wrong with it.
func TestConditions(t *testing.T) {
	if testing.Short() {
		t.Skip("renders many frames")
	}
	t.Parallel()
	solver := solver(t)
	for _, c := range conditions {
		t.Run(c.name, func(t *testing.T) {
			if c.long && !*long {
				t.Skip("takes long: -long")
			}
			n, err := night.New(conditionSpec(t, &c))
			if err != nil {
				t.Fatal(err)
			}
			im := n.RenderWith(0, func(sc *render.Scene) {
				if c.scene != nil {
					c.scene(sc)
				}
			})
			if c.after != nil {
				im = c.after(im)
			}
			f, err := detect.Find(im, detect.Options{})
			if err != nil {
				t.Fatal(err)
			}
			sol, err := solver.Solve(context.Background(), f, solve.Options{Epoch: 2026.94, Build: true})
			var un *solve.Unsolved
			if err != nil && !errors.As(err, &un) {
				t.Fatal(err)
			}
			judgeCondition(t, &c, n, f, sol, un)
		})
	}
}

// judgeCondition compares what came out with what is true and what is due.
func judgeCondition(t *testing.T, c *condition, n *night.Night, f *detect.Field, sol *solve.Solution, un *solve.Unsolved) {
	t.Helper()
	seen := func() string { return fmt.Sprint(f.Troubles()) }
	if un != nil {
		t.Logf("refused: %v; %d stars, FWHM %.1f px, rejected %v", un.Reason, len(f.Stars), f.FWHM, f.Rejected)
		if why := words.NotSolved(&un.Reason); c.refusal == "" || !strings.Contains(why, c.refusal) {
			t.Errorf("refused with %q, want %q", why, c.refusal)
		}
		return
	}
	truth, spec := n.Truth(0), n.Spec()
	by := float64(f.W) / float64(spec.Camera.W)
	apart := func(u, v float64) float64 { // pixels
		x, y := u*float64(f.W-1), v*float64(f.H-1)
		d := truth.Sky((x+0.5)/by-0.5, (y+0.5)/by-0.5).Sep(sol.Sky(x, y))
		return float64(d) * sol.Lens.F
	}
	middle, corner := apart(0.5, 0.5), max(apart(0, 0), apart(1, 0), apart(0, 1), apart(1, 1))
	t.Logf("solved, %d of %d stars, %d tried, %.2f px apart in the middle, %.2f in the worst corner; %s", len(sol.Matches), len(f.Stars), sol.Tried, middle, corner, seen())
	if c.refusal != "" {
		t.Errorf("solved, although due to be refused with %q", c.refusal)
	}
	// Refraction and the list's errors are part of the truth and below a pixel.
	if wide := math.Hypot(float64(f.W), float64(f.H)); middle > 1 || corner > 0.002*wide {
		t.Errorf("%.2f px from the truth in the middle and %.2f in a corner; limits 1 and %.1f", middle, corner, 0.002*wide)
	}
}
