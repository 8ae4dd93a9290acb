package main

import (
	"math"
	"math/rand/v2"

	"pintle/cmd/night"
	"pintle/solve/frame"
	"pintle/solve/render"
)

// spoiler is one thing that happens to real frames, at moderate strength.
// Each function may be nil.
type spoiler struct {
	name string
	// spec changes sky and camera before the exposure is chosen.
	spec func(rng *rand.Rand, s *night.Spec)
	// scene puts more before the camera.
	scene func(rng *rand.Rand, sc *render.Scene, s *night.Spec)
	// picture works on the finished picture, which it makes by times as large.
	picture func(rng *rand.Rand, im *frame.Image, s *night.Spec) (out *frame.Image, by float64)
}

// narrowest is the FWHM, in pixels, below which stars cannot be told from bad
// pixels; nobody shrinks a picture as far on purpose.
const narrowest = 1.2

func between(rng *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }

// plain makes the camera one without a mosaic and with so many bits.
func plain(bits int) func(*rand.Rand, *night.Spec) {
	return func(_ *rand.Rand, s *night.Spec) {
		s.Camera.Sensor.Mosaic = ""
		if bits > 0 {
			s.Camera.Sensor.Bits = bits
		}
	}
}

var spoilers = []spoiler{
	{name: "bad pixels and columns", spec: func(rng *rand.Rand, s *night.Spec) {
		n := s.Camera.W * s.Camera.H
		s.Camera.Defects = render.Defects{Hot: rng.IntN(n / 1000), Dead: rng.IntN(n / 3000), HotColumns: rng.IntN(6), DeadColumns: rng.IntN(6), HotElectrons: between(rng, 500, 5000)}
	}},
	{name: "amplifier glow", scene: func(rng *rand.Rand, sc *render.Scene, _ *night.Spec) {
		sc.Sky.Glow = between(rng, 0.05, 0.5) * sc.Sensor.FullWell
	}},
	{name: "vignetting", spec: func(rng *rand.Rand, s *night.Spec) { s.Camera.Vignette = between(rng, 0.5, 0.8) }},
	{name: "gradient", spec: func(rng *rand.Rand, s *night.Spec) {
		s.Sky.DX, s.Sky.DY = between(rng, -0.8, 0.8), between(rng, -0.8, 0.8)
	}},
	{name: "moonlight or twilight", scene: func(rng *rand.Rand, sc *render.Scene, _ *night.Spec) {
		sc.Sky.Level = min(sc.Sky.Level*between(rng, 2, 6), 0.5*sc.Sensor.FullWell)
	}},
	{name: "cloud", spec: func(rng *rand.Rand, s *night.Spec) { s.Sky.Cloud = between(rng, 0.1, 0.5) }},
	{name: "trees", scene: func(rng *rand.Rand, sc *render.Scene, _ *night.Spec) {
		hide(sc, render.Trees(sc.W, sc.H, between(rng, 0.2, 0.5), 0.1*sc.Sky.Level, rng.Uint64()))
	}},
	{name: "roof", scene: func(rng *rand.Rand, sc *render.Scene, _ *night.Spec) {
		w, h, u := float64(sc.W), float64(sc.H), between(rng, 0.1, 0.5)
		own := between(rng, 0, 3) * sc.Sky.Level
		hide(sc, render.Roof(u*w, 0, between(rng, 0.1, 0.5)*w, h, own))
	}},
	{name: "satellites and aircraft", scene: func(rng *rand.Rand, sc *render.Scene, _ *night.Spec) {
		for range 1 + rng.IntN(3) {
			k := render.Streak{Flux: between(rng, 3, 100) * math.Sqrt(sc.Sky.Level+50)}
			k.X1, k.Y1 = between(rng, -0.2, 1.2)*float64(sc.W), between(rng, -0.2, 1.2)*float64(sc.H)
			k.X2, k.Y2 = between(rng, -0.2, 1.2)*float64(sc.W), between(rng, -0.2, 1.2)*float64(sc.H)
			sc.Streaks = append(sc.Streaks, k)
		}
	}},
	{name: "bloomed stars", scene: func(rng *rand.Rand, sc *render.Scene, _ *night.Spec) {
		sc.Sensor.Bloom = true
		sc.Sensor.FullWell = max(2*sc.Sky.Level, between(rng, 0.2, 1)*sc.Sensor.FullWell)
	}},
	{name: "nebula", scene: func(rng *rand.Rand, sc *render.Scene, _ *night.Spec) {
		sc.Lights = append(sc.Lights, light(rng, sc, between(rng, 0.01, 0.1)*float64(sc.W), between(rng, 0.5, 5)*sc.Sky.Level+50))
	}},
	{name: "Moon", scene: func(rng *rand.Rand, sc *render.Scene, s *night.Spec) {
		l := light(rng, sc, min(0.26*pixelsPerDegree(s), 0.2*float64(sc.W)), between(rng, 1, 4)*sc.Sensor.FullWell)
		l.Sharp = true
		sc.Lights = append(sc.Lights, l)
	}},
	{name: "planet", scene: func(rng *rand.Rand, sc *render.Scene, s *night.Spec) {
		l := light(rng, sc, max(20./3600*pixelsPerDegree(s), 0.6*sc.PSF.FWHM), between(rng, 1, 3)*sc.Sensor.FullWell)
		l.Sharp = true
		sc.Lights = append(sc.Lights, l)
	}},
	{name: "out of focus", spec: func(rng *rand.Rand, s *night.Spec) {
		s.Camera.PSF.Defocus = between(rng, 3, 12)
		if rng.IntN(2) == 0 {
			s.Camera.PSF.Hole = between(rng, 0.2, 0.5)
		}
	}},
	{name: "trailed", scene: func(rng *rand.Rand, sc *render.Scene, _ *night.Spec) {
		sc.PSF.Trail, sc.PSF.Angle = between(rng, 3, 12), between(rng, 0, math.Pi)
	}},
	{name: "long corners", spec: func(rng *rand.Rand, s *night.Spec) {
		if rng.IntN(2) == 0 {
			s.Camera.PSF.Corner = between(rng, 0.3, 1.5)
		} else {
			s.Camera.PSF.Coma = between(rng, 1, 6)
		}
	}},
	{name: "JPEG", spec: plain(8), picture: func(rng *rand.Rand, im *frame.Image, _ *night.Spec) (*frame.Image, float64) {
		return render.Compress(im, 60+rng.IntN(36)), 1
	}},
	{name: "binned", spec: func(rng *rand.Rand, s *night.Spec) {
		s.Camera.Sensor.Mosaic = ""
		s.Camera.PSF.FWHM = max(s.Camera.PSF.FWHM, 2*narrowest)
	}, picture: func(_ *rand.Rand, im *frame.Image, _ *night.Spec) (*frame.Image, float64) {
		return render.Bin(im), 0.5
	}},
	{name: "rescaled", spec: plain(0), picture: func(rng *rand.Rand, im *frame.Image, s *night.Spec) (*frame.Image, float64) {
		by := between(rng, 0.4, 2)
		if im.W*im.H > 3e6 {
			by = between(rng, 0.3, 1)
		}
		by = max(by, narrowest/s.Camera.PSF.FWHM)
		return render.Rescale(im, by), by
	}},
	{name: "caption", spec: plain(8), picture: func(rng *rand.Rand, im *frame.Image, _ *night.Spec) (*frame.Image, float64) {
		render.Caption(im, rng.IntN(20), 1+im.W/1000, "field 12 - 120 s", "2026-11-25 21:14:07")
		return im, 1
	}},
}

// hide puts one more thing before the sky.
func hide(sc *render.Scene, block func(x, y int) (pass, own float32)) {
	before := sc.Block
	if before == nil {
		sc.Block = block
		return
	}
	sc.Block = func(x, y int) (float32, float32) {
		p1, o1 := before(x, y)
		p2, o2 := block(x, y)
		return p1 * p2, o1*p2 + o2
	}
}

func light(rng *rand.Rand, sc *render.Scene, radius, peak float64) render.Light {
	return render.Light{X: rng.Float64() * float64(sc.W), Y: rng.Float64() * float64(sc.H), Radius: radius, Peak: peak}
}

func pixelsPerDegree(s *night.Spec) float64 {
	return s.Camera.Focal * 1000 / s.Camera.Pixel * math.Pi / 180
}
