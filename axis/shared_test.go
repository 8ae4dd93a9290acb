package axis

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// nightTruth is what a simulator that shares no code with this program says of
// a night it rendered (Tycho-2 stars, ERFA places), in ../../shared/nights.
type nightTruth struct {
	Axis   azAlt `json:"axis"`
	Pole   azAlt `json:"refracted_pole"`
	Offset struct {
		Alt    float64 `json:"alt"`
		AzKnob float64 `json:"az_knob"`
		Total  float64 `json:"total"`
	} `json:"offset_arcmin"`
	Frames []struct {
		Centre [2]float64    `json:"centre_icrs_deg"`
		Rows   [3][3]float64 `json:"attitude_rows_enu"`
		UpPA   float64       `json:"up_pa_deg"`
		Mid    string        `json:"mid"`
		Scale  float64       `json:"scale_arcsec_px"`
	} `json:"frames"`
	spec struct {
		Site struct {
			Lat, Lon, Height float64
			Pressure         float64 `json:"pressure_hpa"`
			Temp             float64 `json:"temp_c"`
		} `json:"site"`
		Frames []struct {
			Knob map[string]float64 `json:"knob_arcmin"`
		} `json:"frames"`
	}
}

type azAlt struct {
	Az  float64 `json:"az_deg"`
	Alt float64 `json:"alt_deg"`
}

func (a azAlt) local() sphere.Local {
	return sphere.LocalAt(sphere.Angle(a.Az)*sphere.Degree, sphere.Angle(a.Alt)*sphere.Degree)
}

func sharedNights(t *testing.T) map[string]*nightTruth {
	t.Helper()
	files, _ := filepath.Glob("../../shared/nights/*/truth.json")
	if len(files) == 0 {
		t.Skip("no ../shared/nights")
	}
	nights := map[string]*nightTruth{}
	for _, f := range files {
		n := &nightTruth{}
		read(t, f, n)
		read(t, filepath.Join(filepath.Dir(f), "spec.json"), &n.spec)
		nights[filepath.Base(filepath.Dir(f))] = n
	}
	return nights
}

func read(t *testing.T, file string, v any) {
	t.Helper()
	b, err := os.ReadFile(file)
	if err == nil {
		err = json.Unmarshal(b, v)
	}
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
}

func (n *nightTruth) place(t *testing.T, i int) *place.Place {
	t.Helper()
	when, err := time.Parse("2006-01-02T15:04:05", n.Frames[i].Mid)
	if err != nil {
		t.Fatal(err)
	}
	s := n.spec.Site
	p, err := place.At(when, place.Site{Lat: sphere.Angle(s.Lat) * sphere.Degree, Lon: sphere.Angle(s.Lon) * sphere.Degree, Elev: s.Height},
		place.Air{Pressure: s.Pressure, Temp: s.Temp, Humidity: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// camFromLocal of frame i: the rows are the camera's axes.
func (n *nightTruth) camFromLocal(i int) sphere.Rot {
	r := n.Frames[i].Rows
	return sphere.RotFromRows(vec3(r[0][:]), vec3(r[1][:]), vec3(r[2][:]))
}

// The places of the frames' centres and of the pole, to what the printed digits
// allow.
func TestPlacesOfSharedNights(t *testing.T) {
	for name, n := range sharedNights(t) {
		for i, f := range n.Frames {
			p := n.place(t, i)
			c := sphere.SkyAt(sphere.Angle(f.Centre[0])*sphere.Degree, sphere.Angle(f.Centre[1])*sphere.Degree)
			want := sphere.LocalVec(n.camFromLocal(i).Inv().Apply(r3.Vec{Z: 1}))
			if d := p.Observed(c).Sep(want).Arcseconds(); d > 0.001 {
				t.Errorf("%s frame %d: centre %.4f arcsec off, want below 0.001", name, i, d)
			}
			if d := p.RefractedPole().Sep(n.Pole.local()).Arcseconds(); d > 0.001 {
				t.Errorf("%s: refracted pole %.4f arcsec off, want below 0.001", name, d)
			}
		}
	}
}

// The axis and the offset from the true attitudes of the measuring frames.
func TestAxisOfSharedNights(t *testing.T) {
	for name, n := range sharedNights(t) {
		var a attitudes
		for i, f := range n.spec.Frames {
			if f.Knob == nil {
				a.camFromLocal = append(a.camFromLocal, n.camFromLocal(i))
			}
		}
		p := n.place(t, 0)
		m, ok := firstMount(a.camFromLocal, p.TruePole().Vec())
		if !ok {
			t.Fatalf("%s: no axis", name)
		}
		r := &Result{Axis: sphere.LocalVec(m.axis()), place: p}
		if d := r.Axis.Sep(n.Axis.local()).Arcseconds(); d > 0.001 {
			t.Errorf("%s: axis %.4f arcsec off, want below 0.001", name, d)
		}
		o := r.Offset(Refracted)
		for _, c := range []struct {
			what      string
			got, want float64
		}{{"alt", o.Alt.Arcminutes(), n.Offset.Alt}, {"az", o.AzKnob.Arcminutes(), n.Offset.AzKnob}, {"total", o.Total.Arcminutes(), n.Offset.Total}} {
			if d := (c.got - c.want) * 60; d > 0.003 || d < -0.003 {
				t.Errorf("%s: offset %s %.6f arcmin, want %.6f", name, c.what, c.got, c.want)
			}
		}
	}
}
