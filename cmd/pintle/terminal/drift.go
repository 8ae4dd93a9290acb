package terminal

import (
	"fmt"
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// DriftCheck is what a check by the drift of stars found.
type DriftCheck struct {
	Watch  *axis.Watch // nil when there is no answer
	Offset axis.Offset
	Reason string
	// Other is the measurement it is compared with, nil when there is none; Alt and
	// Az are by how much the two differ, on the sky, Sigma that in standard errors.
	Other   *journal.Record
	Alt, Az sphere.Angle
	Sigma   float64
}

// Drift prints a check by the drift of stars.
func (t *Terminal) Drift(d *DriftCheck, st *session.State) {
	t.line("")
	defer t.remarks(st)
	defer t.setting(st)
	if d.Watch == nil {
		t.line("  %s  %s", t.Bold("NO ANSWER"), d.Reason)
		t.line("")
		t.frames(st)
		return
	}
	t.doubts(st)
	w, o := d.Watch, d.Offset
	t.line("   stars drift %s in declination, the field turns %s", t.Bold(words.Drift(w.Dec)), t.Bold(fmt.Sprintf("%+.0f\" ± %.0f\" an hour", w.Field.PerHour.Arcseconds(), w.Field.Err.Arcseconds())))
	t.line("   (%s over %.0f min, %s, declination %+.0f°)", words.Count(len(w.Frames), "frame"), w.Span.Minutes(), words.HourAngle(w.HA), w.Dec0.Degrees())
	t.line("")
	t.line("   altitude %s   azimuth on the sky %s", words.PlusMinus(o.Alt, o.Err.Alt), words.PlusMinus(o.AzSky, o.Err.AzSky))
	t.line("   off the %s pole by %s", st.Setting.PoleName(), t.Bold(fmt.Sprintf("%.2f' ± %s", o.Total.Arcminutes(), words.Sigma(o.Err.Total))))
	if max(o.Err.Alt, o.Err.AzSky) > 5*sphere.Arcminute {
		t.line("   note  one part is poorly known from here; watch longer, or at another hour angle")
	}
	if w.Tilt > 3*sphere.Arcsecond {
		t.line("   note  the frames scatter by %.0f\" beyond their stars' errors: wind, or something loose", w.Tilt.Arcseconds())
	}
	if rest := w.RA.PerHour.Abs(); rest > 60*sphere.Arcsecond {
		t.line("   note  stars also drift %s in RA: the drive's rate, its periodic error, or the same axis", words.DriftRA(w.RA))
	}
	t.line("")
	t.against(d)
	t.line("")
}

// against compares with the measurement of the evening.
func (t *Terminal) against(d *DriftCheck) {
	if d.Other == nil {
		t.line("   The journal has no measurement of this evening here to compare with.")
		return
	}
	t.line("   The measurement of %s said altitude %+.2f', azimuth %+.2f': the two differ by", d.Other.Time.Format("15:04 UTC"), d.Other.Offset.Alt, d.Other.Offset.AzSky)
	t.line("   %+.2f' and %+.2f', which is %s.", d.Alt.Arcminutes(), d.Az.Arcminutes(), t.Bold(words.Agreement(d.Sigma)))
	if d.Sigma > 3 {
		t.line("   Something moved since, or one of them is wrong: measure again.")
	}
}

type rateJSON struct {
	PerHour float64 `json:"arcsec_per_hour"`
	Sigma   float64 `json:"sigma"`
}

func rate(r axis.Rate) *rateJSON { return &rateJSON{r.PerHour.Arcseconds(), r.Err.Arcseconds()} }

type againstJSON struct {
	Time  string  `json:"time"`
	Alt   float64 `json:"alt_arcmin"`
	AzSky float64 `json:"az_sky_arcmin"`
	Sigma float64 `json:"sigma"`
}

type driftJSON struct {
	Axis    *DirectionJSON `json:"axis"`
	Pole    *poleJSON      `json:"pole"`
	Offset  *partsJSON     `json:"offset_arcmin"`
	Sigma   *partsJSON     `json:"sigma_arcmin"`
	Dec     *rateJSON      `json:"dec_drift"`
	RA      *rateJSON      `json:"ra_drift"`
	Field   *rateJSON      `json:"field_rotation"`
	Span    float64        `json:"span_s"`
	Against *againstJSON   `json:"against"`
	standingJSON
	Doubts   []string `json:"doubts"`
	Warnings []string `json:"warnings"`
	Reason   string   `json:"reason"`
}

// DriftJSON prints a check by the drift of stars as one object.
func (t *Terminal) DriftJSON(d *DriftCheck, st *session.State) error {
	o := driftJSON{Reason: d.Reason, standingJSON: standing(&st.Setting), Doubts: orEmpty(words.Notes(st.Doubts)), Warnings: orEmpty(words.Record(*st))}
	if w := d.Watch; w != nil {
		o.Axis, o.Pole = ref(DirectionOf(w.Axis)), &poleJSON{st.Setting.PoleName(), DirectionOf(d.Offset.Pole)}
		o.Offset, o.Sigma = parts(d.Offset.Parts), parts(d.Offset.Err)
		o.Dec, o.RA, o.Field, o.Span = rate(w.Dec), rate(w.RA), rate(w.Field), w.Span.Seconds()
		if d.Other != nil {
			o.Against = &againstJSON{d.Other.Time.Format(time.RFC3339), d.Alt.Arcminutes(), d.Az.Arcminutes(), d.Sigma}
		}
	}
	return t.JSON(o)
}
