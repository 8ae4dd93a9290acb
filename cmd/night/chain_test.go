package night

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

const seed = 20261125

// plain returns a night with one frame, nothing out of true and no air.
func plain(lat float64) Spec {
	s := Spec{
		Name: "plain", Seed: seed, Start: time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC),
		Site:   place.Site{Lat: sphere.Angle(lat) * sphere.Degree, Lon: 20 * sphere.Degree},
		Camera: Camera{W: 1280, H: 960, Pixel: 3.75, Focal: 160, Aperture: 40, Exposure: 2 * time.Second},
		Frames: []Frame{{}},
	}
	s.Camera.PSF.FWHM = 2.5
	s.Camera.Sensor.Gain, s.Camera.Sensor.Read, s.Camera.Sensor.Bias = 0.4, 2.5, 300
	return s
}

func build(t testing.TB, s Spec) *Night {
	t.Helper()
	n, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// crooked returns a night with everything out of true.
func crooked(rng *rand.Rand) Spec {
	lat := between(rng, -66, 66)
	s := plain(lat)
	s.Air = place.StandardAir(0)
	s.Setup = outOfTrue(rng, s.Site.Lat, sphere.Degree, 3*sphere.Degree)
	s.Setup.Lean = sphere.Angle(between(rng, 0, 5)) * sphere.Degree
	s.Setup.Dec = sphere.Angle(between(rng, -80, 80)) * sphere.Degree
	s.Camera.Mirrored = rng.IntN(2) == 0
	return s
}

func TestAxisStandsAsAsked(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for k := range 50 {
		s := crooked(rng)
		tr := build(t, s).Truth(0)
		name := fmt.Sprintf("seed %d, night %d: ", seed, k)
		near(t, name+"altitude error", tr.Offset.Alt, s.Setup.ErrAlt, 1e-6)
		near(t, name+"azimuth error", tr.Offset.AzKnob, s.Setup.ErrAz, 1e-6)
		az, alt := tr.Axis.AzAlt()
		paz, palt := tr.Pole.AzAlt()
		near(t, name+"axis altitude", alt, palt+s.Setup.ErrAlt, 1e-6)
		near(t, name+"axis azimuth", az, paz+s.Setup.ErrAz, 1e-6)
		// Cosine rule, as a check of Total.
		cos := alt.Sin()*palt.Sin() + alt.Cos()*palt.Cos()*(az-paz).Cos()
		near(t, name+"total", tr.Offset.Total, sphere.Angle(math.Acos(cos)), 0.01)
	}
}

func TestRATurnsAboutTheAxis(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	for k := range 50 {
		s := crooked(rng)
		s.Setup.Tracking = false
		turn := sphere.Angle(between(rng, -170, 170)) * sphere.Degree
		s.Frames = []Frame{{}, {At: time.Minute, Pose: Pose{Turn: turn}}}
		n := build(t, s)
		a, b := n.Truth(0), n.Truth(1)
		got := b.LocalFromCam.Mul(a.LocalFromCam.Inv())
		want := sphere.Turn(a.Axis.Vec(), turn)
		near(t, fmt.Sprintf("seed %d, night %d", seed, k), got.Mul(want.Inv()).Angle(), 0, 1e-6)
		near(t, "turn", b.Turn-a.Turn, turn, 1e-6)
	}
}

// The twin turns the axis vector itself: azimuth clockwise about the base's
// vertical, then altitude about the horizontal of the base across the axis.
func TestAdjustersMoveTheAxis(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 3))
	for k := range 100 {
		s := crooked(rng)
		p := Pose{Alt: sphere.Angle(between(rng, -5, 5)) * sphere.Degree, Az: sphere.Angle(between(rng, -5, 5)) * sphere.Degree}
		s.Frames = []Frame{{}, {Pose: p}}
		n := build(t, s)
		a, b := n.Truth(0), n.Truth(1)
		slean, clean := math.Sincos(float64(s.Setup.Lean))
		saz, caz := math.Sincos(float64(s.Setup.LeanAz))
		vertical := r3.Vec{X: slean * saz, Y: slean * caz, Z: clean}
		v := sphere.Turn(vertical, -p.Az).Apply(a.Axis.Vec())
		v = sphere.Turn(r3.Cross(v, vertical), p.Alt).Apply(v)
		near(t, fmt.Sprintf("seed %d, night %d: axis", seed, k), b.Axis.Sep(sphere.LocalVec(v)), 0, 1e-5)
		// The whole head goes along: the camera has turned by the same rotation.
		near(t, "camera on axis", b.Axis.Sep(sphere.LocalVec(b.LocalFromCam.Mul(a.LocalFromCam.Inv()).Apply(a.Axis.Vec()))), 0, 1e-5)
		if s.Setup.Lean = 0; k%2 == 0 {
			n = build(t, s)
			near(t, "altitude on a level base", n.Truth(1).Offset.Alt-n.Truth(0).Offset.Alt, p.Alt, 1e-5)
			near(t, "azimuth on a level base", n.Truth(1).Offset.AzKnob-n.Truth(0).Offset.AzKnob, p.Az, 1e-5)
		}
	}
}

// A base that leans east lowers the axis of a northern mount when azimuth is
// turned east: by the lean times the sine of the turn, for an axis on the horizon
// of the base, and for any axis to first order.
func TestLeanCouplesTheAdjusters(t *testing.T) {
	s := plain(50)
	s.Setup.Lean, s.Setup.LeanAz = 3*sphere.Degree, 90*sphere.Degree
	s.Frames = []Frame{{}, {Pose: Pose{Az: 2 * sphere.Degree}}}
	n := build(t, s)
	got := n.Truth(1).Offset.Alt - n.Truth(0).Offset.Alt
	near(t, "altitude lost", got, -3*sphere.Degree*sphere.Angle((2*sphere.Degree).Sin()), 10)
	if got > -5*sphere.Arcminute {
		t.Errorf("altitude changed by %.2f arcmin, want about -6.3", got.Arcminutes())
	}
}

func TestCameraLooksWhereTheCirclesSay(t *testing.T) {
	for _, lat := range []float64{50, -50} {
		for _, mirrored := range []bool{false, true} {
			s := plain(lat)
			s.Setup.Dec, s.Setup.Roll = 20*sphere.Degree, 30*sphere.Degree
			s.Camera.Mirrored = mirrored
			s.Frames = []Frame{{}, {Pose: Pose{Turn: 25 * sphere.Degree}}, {Pose: Pose{Dec: 7 * sphere.Degree, Roll: 11 * sphere.Degree}}}
			n := build(t, s)
			name := fmt.Sprintf("lat %g, mirrored %v: ", lat, mirrored)
			north := n.Truth(0).TruePole.Vec()
			if lat < 0 {
				north = r3.Scale(-1, north)
			}
			for i, want := range []struct{ ha, dec, up float64 }{{0, 20, 30}, {-25, 20, 30}, {0, 27, 41}} {
				if lat < 0 {
					want.ha = -want.ha
				}
				tr := n.Truth(i)
				c := tr.Local(639.5, 479.5).Vec()
				near(t, name+"declination", sphere.Angle(math.Asin(r3.Dot(c, north))), sphere.Angle(want.dec)*sphere.Degree, 1e-5)
				// The hour angle grows toward west: from the meridian through -east.
				meridian := r3.Cross(r3.Vec{X: 1}, north) // up and south in the north
				if meridian.Z < 0 {
					t.Fatal("wrong meridian")
				}
				near(t, name+"hour angle", sphere.Angle(math.Atan2(-c.X, r3.Dot(c, meridian))), sphere.Angle(want.ha)*sphere.Degree, 1e-5)
				east := r3.Unit(r3.Cross(north, c))
				angle := func(x, y float64) sphere.Angle {
					d := r3.Sub(tr.Local(x, y).Vec(), c)
					return sphere.Angle(math.Atan2(r3.Dot(d, east), r3.Dot(d, r3.Cross(c, east))))
				}
				near(t, name+"up", angle(639.5, 479.4), sphere.Angle(want.up)*sphere.Degree, 5)
				// With north up, an ordinary picture has east on the left.
				right := sphere.Angle(want.up-90) * sphere.Degree
				if mirrored {
					right += 180 * sphere.Degree
				}
				near(t, name+"right", angle(639.6, 479.5), right, 5)
				if i != 0 {
					continue
				}
				lst := tr.Place.SiderealTime()
				ra, _ := tr.Centre.RADec()
				near(t, name+"hour angle from sidereal time", lst-ra, 0, 1800) // precession since 2000
			}
		}
	}
}

// Without air, on a mount in true, the motor holds every star: what is left is
// that it turns at the mean rate while precession goes on, and rounding.
func TestMotorHoldsTheStars(t *testing.T) {
	for _, lat := range []float64{40, -40} {
		s := plain(lat)
		s.Setup.Dec, s.Setup.Tracking = 30*sphere.Degree*s.sign(), true
		s.Frames = []Frame{{}, {At: time.Hour}}
		n := build(t, s)
		a, b := n.Truth(0), n.Truth(1)
		if d := a.Centre.Sep(b.Centre).Arcseconds(); d > 0.1 {
			t.Errorf("lat %g: %.3f arcsec in an hour, want below 0.1", lat, d)
		}
		s.Setup.Tracking = false
		b = build(t, s).Truth(1)
		near(t, "turn of the sky in an hour", a.Centre.Sep(b.Centre), sphere.Angle(2*math.Asin(math.Cos(30*math.Pi/180)*math.Sin(15.0411*math.Pi/360))), 15)
	}
}

func TestWormIsPeriodic(t *testing.T) {
	s := plain(40)
	s.Setup.Tracking, s.Setup.Worm, s.Setup.Period = true, 10*sphere.Arcsecond, 400*time.Second
	c := newChain(&s, sphere.LocalAt(0, s.Site.Lat))
	perfect := s
	perfect.Setup.Worm = 0
	p := newChain(&perfect, sphere.LocalAt(0, s.Site.Lat))
	for at, want := range map[time.Duration]float64{0: 0, 100: -10, 200: 0, 300: 10} {
		d := at * time.Second
		near(t, fmt.Sprintf("periodic error at %v", d), c.driven(d)-p.driven(d), sphere.Angle(want)*sphere.Arcsecond, 1e-6)
	}
}

func TestCheckNamesTheValue(t *testing.T) {
	for name, spoil := range map[string]func(*Spec){
		"width":    func(s *Spec) { s.Camera.W = 3 },
		"focal":    func(s *Spec) { s.Camera.Focal = math.NaN() },
		"exposure": func(s *Spec) { s.Camera.Exposure = 0 },
		"star":     func(s *Spec) { s.Camera.PSF.FWHM = 0 },
		"lean":     func(s *Spec) { s.Setup.Lean = -1 },
		"frames":   func(s *Spec) { s.Frames = nil },
		"period":   func(s *Spec) { s.Setup.Worm = 1e-5 },
		"RA turn":  func(s *Spec) { s.Frames[0].Turn = sphere.Angle(math.Inf(1)) },
		"latitude": func(s *Spec) { s.Site.Lat = 2 },
		"pressure": func(s *Spec) { s.Air.Pressure = 5 },
		"year":     func(s *Spec) { s.Start = time.Date(1950, 1, 1, 0, 0, 0, 0, time.UTC) },
	} {
		s := plain(50)
		spoil(&s)
		if _, err := New(s); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

// A camera that sags looks lower by the sag times the sine of the zenith distance,
// and one that is shaken is turned by as much as is said, the same way each time.
func TestSagAndShake(t *testing.T) {
	s := RandomSpec(rand.New(rand.NewPCG(seed, 77)))
	still := build(t, s)
	s.Setup.Sag = 100 * sphere.Arcsecond
	sagged := build(t, s)
	s.Setup.Sag, s.Setup.Shake = 0, 10*sphere.Arcsecond
	shaken := build(t, s)
	sum, n := 0.0, 0
	for i := range still.Len() {
		a, b, c := still.Truth(i), sagged.Truth(i), shaken.Truth(i)
		_, high := sphere.LocalVec(a.LocalFromCam.Apply(unitZ)).AzAlt()
		_, low := sphere.LocalVec(b.LocalFromCam.Apply(unitZ)).AzAlt()
		near(t, "sag", high-low, 100*sphere.Arcsecond*sphere.Angle(high.Cos()), 0.1)
		v := c.LocalFromCam.Mul(a.LocalFromCam.Inv()).Vec()
		sum += r3.Norm2(v)
		n += 3
		if again := build(t, s).Truth(i); again.LocalFromCam != c.LocalFromCam {
			t.Errorf("frame %d: shaken otherwise the second time", i)
		}
	}
	if rms := sphere.Angle(math.Sqrt(sum / float64(n))); rms < 5*sphere.Arcsecond || rms > 17*sphere.Arcsecond {
		t.Errorf("seed %d: shaken by %.1f arcsec, want about 10", seed, rms.Arcseconds())
	}
}
