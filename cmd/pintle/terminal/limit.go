package terminal

import (
	"fmt"
	"time"

	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
)

// besides is the indent of what is said more of a line of the table.
const besides = "                           "

// Limit shows how far the axis may be off.
func (t *Terminal) Limit(l *planning.Limits) {
	t.line("%s", words.Exposure(l))
	t.line("")
	t.line("   any target, anywhere    the axis may be off by %s", t.Bold(words.AtMost(l.Worst)))
	t.lines(besides, words.LimitNotes(l.Exposure))
	if a := l.Allowed; a != nil {
		t.line("   %-23s the axis may be off by %s", l.Target.Name+" tonight", t.Bold(words.AtMost(a.Any)))
		t.line("%sif only the altitude is off, by %s; only the azimuth, by %s on the sky", besides, words.AtMost(a.Alt), words.AtMost(a.Az))
		for _, part := range [][]string{words.Stretch(l), words.Poles(l)} {
			t.line("")
			t.lines("", part)
		}
	}
	if l.Known != nil {
		t.line("")
		t.lines("", words.Effect(l))
		t.line("   longest trail           %s px, %s", t.Bold(fmt.Sprintf("%.2f", l.Known.Trail)), words.TrailVerdict(l))
	}
	if l.Allowed == nil && l.Known == nil {
		t.line("")
		t.line(words.NameTarget)
	}
}

type effectJSON struct {
	Source    string  `json:"source"`
	Alt       float64 `json:"alt_arcmin"`
	AzKnob    float64 `json:"az_knob_arcmin"`
	Total     float64 `json:"total_arcmin"`
	HA        float64 `json:"worst_start_hour_angle_deg"`
	Drift     float64 `json:"dec_drift_arcsec"`
	Along     float64 `json:"ra_drift_arcsec"`
	Move      float64 `json:"move_arcsec"`
	Guided    float64 `json:"rotation_guided_arcsec"`
	Unguided  float64 `json:"rotation_unguided_arcsec"`
	Trail     float64 `json:"trail_px"`
	ForTarget bool    `json:"for_target"`
}

type poleChoiceJSON struct {
	Pole   string  `json:"pole"`
	Above  float64 `json:"above_true_arcsec"`
	Drift  float64 `json:"dec_drift_rms_arcsec_per_hour"`
	Serves bool    `json:"serves"`
}

type limitTargetJSON struct {
	Name   string  `json:"name"`
	Dec    float64 `json:"dec_deg"`
	From   string  `json:"from"`
	To     string  `json:"to"`
	FromHA float64 `json:"from_hour_angle_deg"`
	ToHA   float64 `json:"to_hour_angle_deg"`
	Any    float64 `json:"allowed_arcmin"`
	Alt    float64 `json:"allowed_alt_arcmin"`
	Az     float64 `json:"allowed_az_sky_arcmin"`
}

type limitJSON struct {
	Scale    float64          `json:"scale_arcsec_px"`
	Exposure float64          `json:"exposure_s"`
	Guided   bool             `json:"guided"`
	Corner   float64          `json:"corner_deg"`
	Trail    float64          `json:"trail_px"`
	Worst    float64          `json:"allowed_worst_arcmin"`
	Target   *limitTargetJSON `json:"target"`
	Poles    []poleChoiceJSON `json:"poles"`
	Effect   *effectJSON      `json:"effect"`
}

// LimitJSON prints how far the axis may be off as one object.
func (t *Terminal) LimitJSON(l *planning.Limits) error {
	e := l.Exposure
	o := limitJSON{Scale: e.Scale().Arcseconds(), Exposure: e.Time.Seconds(), Guided: e.Guided, Corner: e.Corner.Degrees(), Trail: e.Trail,
		Worst: l.Worst.Arcminutes(), Poles: []poleChoiceJSON{}}
	if a := l.Allowed; a != nil {
		s := l.Stretch
		w := s.Window
		o.Target = &limitTargetJSON{l.Target.Title(), w.Dec.Degrees(), s.From.Format(time.RFC3339), s.To.Format(time.RFC3339),
			w.From.Degrees(), w.To.Degrees(), a.Any.Arcminutes(), a.Alt.Arcminutes(), a.Az.Arcminutes()}
	}
	for _, p := range l.Poles {
		o.Poles = append(o.Poles, poleChoiceJSON{words.PoleKind(p.Kind), p.Above.Arcseconds(), p.Drift.Arcseconds(), p.Serves})
	}
	if k := l.Known; k != nil {
		f := k.Effect
		o.Effect = &effectJSON{words.KnownFrom(k), k.Alt.Arcminutes(), k.AzKnob.Arcminutes(), k.Sep.Arcminutes(), k.HA.Degrees(), f.Drift.Arcseconds(), f.Along.Arcseconds(),
			f.Move.Arcseconds(), f.Guided.Arcseconds(), f.Rotated.Arcseconds(), k.Trail, k.ForTarget}
	}
	return t.JSON(o)
}
