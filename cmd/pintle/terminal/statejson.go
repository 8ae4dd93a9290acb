package terminal

import (
	"math"
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// What --json prints of a session. Fields without a value are null.

type DirectionJSON struct {
	Az  float64 `json:"az_deg"`
	Alt float64 `json:"alt_deg"`
}

func DirectionOf(l sphere.Local) DirectionJSON {
	az, alt := l.AzAlt()
	return DirectionJSON{az.Degrees(), alt.Degrees()}
}

type poleJSON struct {
	Kind string `json:"kind"`
	DirectionJSON
}

type partsJSON struct {
	Alt    float64 `json:"alt"`
	AzKnob float64 `json:"az_knob"`
	AzSky  float64 `json:"az_sky"`
	Total  float64 `json:"total"`
}

func parts(p axis.Parts) *partsJSON {
	return &partsJSON{p.Alt.Arcminutes(), p.AzKnob.Arcminutes(), p.AzSky.Arcminutes(), p.Total.Arcminutes()}
}

type moveJSON struct {
	Adjuster  string  `json:"adjuster"`
	Direction string  `json:"direction"` // of the axis, clockwise as seen from above
	Arcmin    float64 `json:"arcmin"`
	Turns     float64 `json:"turns,omitempty"`
	Bolt      string  `json:"bolt,omitempty"` // which way it must be turned, facing its head
	Sentence  string  `json:"sentence"`
}

func moves(st *session.State) (out []moveJSON) {
	for _, m := range st.Moves {
		out = append(out, moveJSON{m.Adjuster.String(), m.Direction.String(), m.Amount.Arcminutes(), m.Bolt.Turns, m.Bolt.Sense, words.Hand(m)})
	}
	return out
}

type siteJSON struct {
	Name   string  `json:"name"`
	Lat    float64 `json:"lat_deg"`
	Lon    float64 `json:"lon_deg"`
	Elev   float64 `json:"elev_m"`
	Source string  `json:"source"`
}

type airJSON struct {
	Pressure float64 `json:"pressure_hpa"`
	Temp     float64 `json:"temp_c"`
	Source   string  `json:"source"`
}

// standingJSON is what an answer was reckoned with; it is on every object.
type standingJSON struct {
	Site            *siteJSON `json:"site"`
	Air             *airJSON  `json:"air"`
	Aim             string    `json:"aim"` // which end, and which kind of pole
	Times           string    `json:"time_source"`
	Tolerance       float64   `json:"tolerance_arcmin"`
	ToleranceSource string    `json:"tolerance_source"`
}

func standing(s *session.Setting) standingJSON {
	j := standingJSON{Aim: words.Pole(s), Times: words.Times(s), Tolerance: s.Tolerance.Arcminutes(), ToleranceSource: words.SourceOf(s.ToleranceSource)}
	if s.Settled {
		j.Site = &siteJSON{s.SiteName, s.Site.Lat.Degrees(), s.Site.Lon.Degrees(), s.Site.Elev, words.SourceOf(s.SiteSource)}
		j.Air = &airJSON{s.Air.Pressure, s.Air.Temp, words.Air(s)}
	}
	return j
}

type frameJSON struct {
	Frame   string   `json:"frame"`
	Time    string   `json:"time"`
	Solved  bool     `json:"solved"`
	Reason  string   `json:"reason"`
	RA      *float64 `json:"ra_deg"`
	Dec     *float64 `json:"dec_deg"`
	Turn    *float64 `json:"turn_deg"`
	Matched int      `json:"stars_matched"`
	RMS     *float64 `json:"rms_arcsec"`
	Used    bool     `json:"used"`
}

func frameOf(st *session.State, f *session.Frame) frameJSON {
	j := frameJSON{Frame: f.Path, Time: stamp(f.Time()), Solved: f.Solution != nil}
	if f.Miss != nil {
		j.Reason = words.Miss(f)
	}
	if sol := f.Solution; sol != nil {
		ra, dec := sol.Centre().RADec()
		j.RA, j.Dec = ref(ra.Degrees()), ref(dec.Degrees())
		j.Matched, j.RMS = len(sol.Matches), ref(sol.RMS.Arcseconds())
	}
	if fit := st.Used(f); fit != nil {
		j.Turn, j.Matched, j.RMS, j.Used = ref(fit.Turn.Degrees()), fit.Inliers, ref(fit.RMS.Arcseconds()), fit.Used
	}
	return j
}

// stamp writes a time for records; "" when it is not known.
func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

// AxisAnswer is what "axis --json" prints.
type AxisAnswer struct {
	Axis   *DirectionJSON `json:"axis"`
	Pole   *poleJSON      `json:"pole"`
	Offset *partsJSON     `json:"offset_arcmin"`
	Sigma  *partsJSON     `json:"sigma_arcmin"`
	Made   *madeJSON      `json:"sigma_parts_arcmin"`
	Moves  []moveJSON     `json:"moves"`
	standingJSON
	Within   bool          `json:"within_tolerance"`
	Doubts   []string      `json:"doubts"` // what makes the answer doubtful; among the warnings too
	Reason   string        `json:"reason"`
	Frames   []frameJSON   `json:"frames"`
	Warnings []string      `json:"warnings"`
	Pointing *pointingJSON `json:"pointing"`
}

// madeJSON is what the standard errors are made of.
type madeJSON struct {
	Stars      *partsJSON `json:"stars"`
	Mount      *partsJSON `json:"mount_and_air"`
	Refraction *partsJSON `json:"refraction"`
}

// pointingJSON is where the latest frame used points.
type pointingJSON struct {
	Frame    string        `json:"frame"`
	RA       float64       `json:"ra_deg"`
	Dec      float64       `json:"dec_deg"`
	RADate   float64       `json:"ra_of_date_deg"`
	DecDate  float64       `json:"dec_of_date_deg"`
	Seen     DirectionJSON `json:"seen"`
	FromAxis float64       `json:"from_axis_deg"`
	MountHA  float64       `json:"mount_ha_deg"`
	MountDec float64       `json:"mount_dec_deg"`
	Up       float64       `json:"up_from_mount_north_deg"`
}

func pointing(a *session.Answer) *pointingJSON {
	p := a.Result.Aim(a.Sightings)
	ra, dec := p.ICRS.RADec()
	return &pointingJSON{
		Frame: a.Sightings[p.Frame].Name, RA: ra.Degrees(), Dec: dec.Degrees(), RADate: p.RA.Degrees(), DecDate: p.Dec.Degrees(),
		Seen: DirectionOf(p.Seen), FromAxis: p.FromAxis.Degrees(), MountHA: p.MountHA.Degrees(), MountDec: p.MountDec.Degrees(), Up: p.Up.Degrees(),
	}
}

// AxisJSON prints a measurement made at once as one object.
func (t *Terminal) AxisJSON(st *session.State) error {
	j := AxisAnswer{Moves: []moveJSON{}, standingJSON: standing(&st.Setting), Within: st.Within,
		Doubts: orEmpty(words.Notes(st.Doubts)), Warnings: orEmpty(words.Record(*st))}
	if a := st.Answer; a != nil {
		j.Axis, j.Pole = ref(DirectionOf(a.Axis)), &poleJSON{st.Setting.PoleName(), DirectionOf(a.Offset.Pole)}
		j.Offset, j.Sigma, j.Moves = parts(a.Offset.Parts), parts(a.Offset.Err), moves(st)
		j.Made = &madeJSON{parts(a.Offset.By.Stars), parts(a.Offset.By.Mount), parts(a.Offset.By.Refraction)}
		j.Pointing = pointing(a)
	} else if st.Refusal != nil {
		j.Reason = words.Refusal(st.Refusal)
	}
	for _, f := range st.Frames {
		j.Frames = append(j.Frames, frameOf(st, f))
	}
	return t.JSON(j)
}

func orEmpty(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}

// LiveLine is a line of "live --json". A frame that takes no part has no offset:
// the last one known is not its own.
type LiveLine struct {
	Frame  string         `json:"frame"`
	Time   string         `json:"time"`
	Solved bool           `json:"solved"`
	Reason string         `json:"reason"`
	Passed []string       `json:"passed_over"` // frames overtaken by newer ones since the line before
	Phase  string         `json:"phase"`
	Axis   *DirectionJSON `json:"axis"`
	Offset *partsJSON     `json:"offset_arcmin"`
	Sigma  *partsJSON     `json:"sigma_arcmin"`
	Moves  []moveJSON     `json:"moves"`
	standingJSON
	Within    bool     `json:"within_tolerance"`
	Doubts    []string `json:"doubts"`
	Warnings  []string `json:"warnings"`
	Note      string   `json:"note"`
	Next      string   `json:"next"`
	ElapsedMS float64  `json:"elapsed_ms"`
	Simulated bool     `json:"simulated,omitempty"`
}

func liveLine(st *session.State) LiveLine {
	if f := st.Last; f != nil && f.Miss != nil {
		own := st.OfFrame()
		st = &own
	}
	j := LiveLine{Phase: string(st.Phase), Passed: orEmpty(st.Passed), Moves: []moveJSON{}, standingJSON: standing(&st.Setting), Simulated: st.Simulated,
		Doubts: orEmpty(words.Notes(st.Doubts)), Warnings: orEmpty(words.Record(*st)), Note: words.Together(st), Next: words.Next(st)}
	if f := st.Last; f != nil {
		j.Frame, j.Time, j.Solved, j.ElapsedMS = f.Path, stamp(f.Time()), f.In(), math.Round(f.Elapsed.Seconds()*1e4)/10
		if f.Miss != nil {
			j.Reason = words.Miss(f)
		}
	}
	if st.Refusal != nil {
		j.Reason = words.Refusal(st.Refusal)
	}
	if a := st.Answer; a != nil && !st.Old {
		j.Axis, j.Offset, j.Sigma, j.Within, j.Moves = ref(DirectionOf(a.Axis)), parts(a.Offset.Parts), parts(a.Offset.Err), st.Within, moves(st)
	}
	return j
}
