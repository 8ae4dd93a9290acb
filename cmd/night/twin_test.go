package night

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// twinSpec and twinTruth are the files of testdata, made by a simulator that
// shares no code with this program. Its declinations and rolls are counted from
// the end of the axis, its zero of RA and its turn senses are those used here.
type twinSpec struct {
	Site struct {
		Lat, Lon, Height float64
		Pressure         float64 `json:"pressure_hpa"`
		Temp             float64 `json:"temp_c"`
	}
	T0       string
	Exp      float64 `json:"exp_s"`
	Tracking bool
	Dec      float64  `json:"dec_deg"`
	Err      twinKnob `json:"axis_error_arcmin"`
	Camera   struct {
		W, H    int
		PixUM   float64 `json:"pix_um"`
		FocalMM float64 `json:"focal_mm"`
		Roll    float64 `json:"roll_deg"`
		Cone    float64 `json:"cone_arcmin"`
		Tilt    float64 `json:"tilt_arcmin"`
		K1      float64
	}
	Frames []struct {
		T    float64  `json:"t_s"`
		RA   float64  `json:"ra_axis_deg"`
		Knob twinKnob `json:"knob_arcmin"`
	}
}

type twinKnob struct {
	Alt float64
	Az  float64 `json:"az_knob"`
}

type twinTruth struct {
	Axis   azAlt
	Pole   azAlt `json:"refracted_pole"`
	Frames []struct {
		Centre   [2]float64    `json:"centre_icrs_deg"`
		Attitude [3][3]float64 `json:"attitude_rows_enu"` // camera axes: column, row, forward
		Up       float64       `json:"up_pa_deg"`
		Mid      string
	}
}

type azAlt struct {
	Az  float64 `json:"az_deg"`
	Alt float64 `json:"alt_deg"`
}

func (a azAlt) local() sphere.Local {
	return sphere.LocalAt(sphere.Angle(a.Az)*sphere.Degree, sphere.Angle(a.Alt)*sphere.Degree)
}

func readJSON(t *testing.T, path string, v any) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err == nil {
		err = json.Unmarshal(b, v)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func instant(t *testing.T, s string) time.Time {
	t.Helper()
	at, err := time.Parse("2006-01-02T15:04:05", s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// spec translates.
func (s *twinSpec) spec(t *testing.T) Spec {
	t.Helper()
	start := instant(t, s.T0)
	deg, am := sphere.Degree, sphere.Arcminute
	out := Spec{
		Name: "twin", Start: start,
		Site: place.Site{Lat: sphere.Angle(s.Site.Lat) * deg, Lon: sphere.Angle(s.Site.Lon) * deg, Elev: s.Site.Height},
		Air:  place.Air{Pressure: s.Site.Pressure, Temp: s.Site.Temp, Humidity: 0.5},
	}
	c := s.Camera
	out.Camera = Camera{W: c.W, H: c.H, Pixel: c.PixUM, Focal: c.FocalMM, Aperture: 50, K1: c.K1, Exposure: time.Duration(s.Exp * 1e9)}
	out.Camera.PSF.FWHM = 2.5
	out.Setup = Setup{
		ErrAlt: sphere.Angle(s.Err.Alt) * am, ErrAz: sphere.Angle(s.Err.Az) * am,
		Dec: sphere.Angle(s.Dec)*deg - sphere.Angle(c.Tilt)*am, Cone: sphere.Angle(-c.Cone) * am,
		Roll: sphere.Angle(c.Roll) * deg, Tracking: s.Tracking,
	}
	if s.Site.Lat < 0 {
		out.Setup.Dec, out.Setup.Roll, out.Setup.Cone = -out.Setup.Dec, out.Setup.Roll-180*deg, -out.Setup.Cone
	}
	for _, f := range s.Frames {
		out.Frames = append(out.Frames, Frame{At: time.Duration(f.T * 1e9), Pose: Pose{
			Turn: sphere.Angle(f.RA) * deg, Alt: sphere.Angle(f.Knob.Alt) * am, Az: sphere.Angle(f.Knob.Az) * am,
		}})
	}
	return out
}

// Both simulators follow ERFA (the twin ERFA 2.0 itself), so what is left is
// rounding of the files, 1e-4 arcsec. "Up" is a difference over a pixel of some
// arcsec here and over another step there, which curvature tells apart.
func TestAgainstAnotherSimulator(t *testing.T) {
	paths, _ := filepath.Glob("testdata/*.spec.json")
	if len(paths) != 5 {
		t.Fatalf("%d nights in testdata, want 5", len(paths))
	}
	for _, p := range paths {
		var s twinSpec
		var want twinTruth
		readJSON(t, p, &s)
		readJSON(t, strings.Replace(p, ".spec.", ".truth.", 1), &want)
		n, err := New(s.spec(t))
		if err != nil {
			t.Fatal(err)
		}
		first := n.Truth(0)
		near(t, p+": axis", first.Axis.Sep(want.Axis.local()), 0, 0.001)
		near(t, p+": refracted pole", first.Pole.Sep(want.Pole.local()), 0, 0.001)
		if n.Len() != len(want.Frames) {
			t.Fatalf("%s: %d frames, want %d", p, n.Len(), len(want.Frames))
		}
		for i, w := range want.Frames {
			name := fmt.Sprintf("%s, frame %d: ", p, i+1)
			g := n.Truth(i)
			if mid := g.Mid.Format("2006-01-02T15:04:05.000"); mid != w.Mid {
				t.Errorf("%smiddle %s, want %s", name, mid, w.Mid)
			}
			centre := sphere.SkyAt(sphere.Angle(w.Centre[0])*sphere.Degree, sphere.Angle(w.Centre[1])*sphere.Degree)
			near(t, name+"centre", g.Centre.Sep(centre), 0, 0.001)
			near(t, name+"up", (g.Up - sphere.Angle(w.Up)*sphere.Degree).Wrap(), 0, 0.3)
			a := w.Attitude
			row := func(k int) r3.Vec { return r3.Vec{X: a[k][0], Y: a[k][1], Z: a[k][2]} }
			camFromLocal := sphere.RotFromRows(row(0), row(1), row(2))
			near(t, name+"attitude", camFromLocal.Mul(g.LocalFromCam).Angle(), 0, 0.001)
		}
	}
}

// near compares angles; tolerance in arcsec.
func near(t *testing.T, what string, got, want sphere.Angle, tolerance float64) {
	t.Helper()
	if d := (got - want).Wrap().Arcseconds(); !(math.Abs(d) <= tolerance) {
		t.Errorf("%s: %.6f deg, want %.6f: %.4f arcsec off, want within %g", what, got.Degrees(), want.Degrees(), d, tolerance)
	}
}
