package terminal

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"pintle/axis/drive"
	"pintle/axis/plan"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/rough"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
)

// By day in JSON: the turn from the shadow to the pole is positive clockwise. The Sun
// stands at azimuth 100, its shadow falls to 280: from there the south pole is 100 degrees
// counter-clockwise, the north pole 80 clockwise.
func TestRoughJSONTurnsToThePole(t *testing.T) {
	p := rough.Pointer{Name: "Sun", At: time.Date(2026, 11, 25, 1, 0, 0, 0, time.UTC), Az: 100 * sphere.Degree, Alt: 30 * sphere.Degree}
	for facing, want := range map[sphere.Angle]float64{180 * sphere.Degree: -100, 0: 80} {
		got := pointer(&rough.Setup{Facing: facing}, p)
		if d := got.ToPole - want; d > 1e-9 || d < -1e-9 || got.Shadow < 279.999 || got.Shadow > 280.001 || got.Az < 99.999 || got.Az > 100.001 {
			t.Errorf("facing %v: %+v, want %g", facing, got, want)
		}
	}
}

// A turn of RA is told with the way the telescope went.
func TestTurnJSONKeepsItsWay(t *testing.T) {
	h := &session.Handling{Turns: []session.Turn{{West: true, Asked: 20 * sphere.Degree}, {Asked: 20 * sphere.Degree}}}
	if got := turns(h); len(got) != 2 || got[0].Direction != "west" || got[1].Direction != "east" {
		t.Errorf("%+v", got)
	}
}

// printed is what a face prints.
func printed(show func(t *Terminal)) string {
	var out bytes.Buffer
	show(New(&out, &out, func(string) string { return "" }))
	return out.String()
}

func holds(t *testing.T, text string, parts ...string) {
	t.Helper()
	for _, p := range parts {
		if !strings.Contains(text, p) {
			t.Errorf("no %q in:\n%s", p, text)
		}
	}
}

// Axis and pole are told by azimuth and altitude, in this order, and errors and
// allowances by altitude and azimuth: none in place of another.
func TestPartsStayInTheirPlaces(t *testing.T) {
	st := session.State{Answer: &session.Answer{Axis: sphere.LocalAt(181.1883*sphere.Degree, 31.0299*sphere.Degree)}}
	st.Answer.Offset.Pole = sphere.LocalAt(180*sphere.Degree, 31.4249*sphere.Degree)
	holds(t, printed(func(t *Terminal) { t.setting(&st) }), "axis  azimuth  181.1883°  altitude  31.0299°", "pole  azimuth  180.0000°  altitude  31.4249°")
	l := &planning.Limits{Exposure: drive.Exposure{Focal: 400, Pixel: 3.76, Time: time.Minute, Trail: 1}, Target: &targets.Target{Name: "X"}, Stretch: &plan.Stretch{},
		Allowed: &drive.Allowance{Any: sphere.Arcminute, Alt: 2 * sphere.Arcminute, Az: 3 * sphere.Arcminute},
		Known:   &planning.Known{Alt: 4 * sphere.Arcminute, AzKnob: -5 * sphere.Arcminute}}
	text := printed(func(term *Terminal) {
		if err := term.LimitJSON(l); err != nil {
			t.Error(err)
		}
	})
	var got struct {
		Target struct {
			Any float64 `json:"allowed_arcmin"`
			Alt float64 `json:"allowed_alt_arcmin"`
			Az  float64 `json:"allowed_az_sky_arcmin"`
		}
	}
	if err := json.Unmarshal([]byte(text), &got); err != nil || math.Round(got.Target.Any) != 1 || math.Round(got.Target.Alt) != 2 || math.Round(got.Target.Az) != 3 {
		t.Errorf("%v: %s", err, text)
	}
	record := journal.Record{Time: time.Date(2026, 11, 25, 12, 40, 0, 0, time.UTC), Kind: journal.Measurement}
	record.Pole.Kind = "refracted"
	record.Offset.Alt, record.Offset.AzKnob, record.Offset.Total = -23.7, 71.3, 65.4
	holds(t, printed(func(t *Terminal) { t.record(record) }), "12:40:00 UTC  "+journal.Measurement+"  off the refracted pole by 65.40'", "altitude -23.70'", "azimuth adjuster +71.30'")
}
