package main

import (
	"encoding/json"
	"math"
	"time"

	"pintle/axis"
	"pintle/index/sphere"
)

// What --json prints. Fields without a value are null.

type solvedJSON struct {
	Frame     string   `json:"frame"`
	Solved    bool     `json:"solved"`
	Reason    string   `json:"reason"`
	RA        *float64 `json:"ra_deg"`
	Dec       *float64 `json:"dec_deg"`
	UpPA      *float64 `json:"up_pa_deg"`
	Mirrored  *bool    `json:"mirrored"`
	Scale     *float64 `json:"scale_arcsec_px"`
	Detected  int      `json:"stars_detected"`
	Matched   int      `json:"stars_matched"`
	RMS       *float64 `json:"rms_arcsec"`
	LogOdds   *float64 `json:"log_odds"`
	ElapsedMS float64  `json:"elapsed_ms"`
}

func ref[T any](v T) *T { return &v }

func (a *app) print(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	_, err = a.out.Write(append(b, '\n'))
	return err
}

func (a *app) solvedJSON(s *shot) error {
	j := solvedJSON{
		Frame: s.path, Solved: s.sol != nil, Reason: s.why, Detected: len(s.field.Stars),
		ElapsedMS: math.Round(s.took.Seconds()*1e5) / 100,
	}
	if s.sol != nil {
		ra, dec := s.sol.Centre().RADec()
		j.RA, j.Dec, j.UpPA = ref(ra.Degrees()), ref(dec.Degrees()), ref(s.sol.UpAngle().Degrees())
		j.Mirrored, j.Scale = &s.sol.Lens.Mirrored, ref(s.sol.ScaleAtCentre().Arcseconds())
		j.Matched, j.RMS, j.LogOdds = len(s.sol.Matches), ref(s.sol.RMS.Arcseconds()), &s.sol.LogOdds
	}
	return a.print(j)
}

type directionJSON struct {
	Az  float64 `json:"az_deg"`
	Alt float64 `json:"alt_deg"`
}

func direction(l sphere.Local) directionJSON {
	az, alt := l.AzAlt()
	return directionJSON{az.Degrees(), alt.Degrees()}
}

type poleJSON struct {
	Kind string `json:"kind"`
	directionJSON
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
	Direction string  `json:"direction"`
	Arcmin    float64 `json:"arcmin"`
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

type axisJSON struct {
	Axis      *directionJSON `json:"axis"`
	Pole      *poleJSON      `json:"pole"`
	Offset    *partsJSON     `json:"offset_arcmin"`
	Sigma     *partsJSON     `json:"sigma_arcmin"`
	SigmaOf   *sourcesJSON   `json:"sigma_parts_arcmin"`
	Moves     []moveJSON     `json:"moves"`
	Tolerance float64        `json:"tolerance_arcmin"`
	Within    bool           `json:"within_tolerance"`
	Reason    string         `json:"reason"`
	Frames    []frameJSON    `json:"frames"`
	Warnings  []string       `json:"warnings"`
	Pointing  *pointingJSON  `json:"pointing"`
}

// sourcesJSON is what the standard errors are made of.
type sourcesJSON struct {
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
	Seen     directionJSON `json:"seen"`
	FromAxis float64       `json:"from_axis_deg"`
	MountHA  float64       `json:"mount_ha_deg"`
	MountDec float64       `json:"mount_dec_deg"`
	Up       float64       `json:"up_from_mount_north_deg"`
}

func pointing(m *measurement) *pointingJSON {
	p := m.result.Aim(m.fitFrames)
	ra, dec := p.ICRS.RADec()
	return &pointingJSON{
		Frame: m.fitFrames[p.Frame].Name, RA: ra.Degrees(), Dec: dec.Degrees(), RADate: p.RA.Degrees(), DecDate: p.Dec.Degrees(),
		Seen: direction(p.Seen), FromAxis: p.FromAxis.Degrees(), MountHA: p.MountHA.Degrees(), MountDec: p.MountDec.Degrees(), Up: p.Up.Degrees(),
	}
}

func (a *app) axisJSON(m *measurement) error {
	j := axisJSON{Moves: []moveJSON{}, Tolerance: m.tolerance, Within: m.within(), Reason: m.reason, Warnings: m.warnings()}
	if m.result != nil {
		j.Axis = ref(direction(m.result.Axis))
		j.Pole = &poleJSON{m.poleName(), direction(m.offset.Pole)}
		j.Offset, j.Sigma = parts(m.offset.Parts), parts(m.offset.Err)
		j.SigmaOf = &sourcesJSON{parts(m.offset.By.Stars), parts(m.offset.By.Mount), parts(m.offset.By.Refraction)}
		j.Pointing = pointing(m)
		for _, mv := range m.offset.Moves() {
			j.Moves = append(j.Moves, moveJSON{mv.Adjuster.String(), mv.Direction.String(), mv.Amount.Arcminutes()})
		}
	}
	for i, s := range m.shots {
		f := frameJSON{Frame: s.path, Time: s.frame.Time.Mid.UTC().Format(time.RFC3339Nano), Solved: s.sol != nil, Reason: s.why}
		if s.sol != nil {
			ra, dec := s.sol.Centre().RADec()
			f.RA, f.Dec = ref(ra.Degrees()), ref(dec.Degrees())
			f.Matched, f.RMS = len(s.sol.Matches), ref(s.sol.RMS.Arcseconds())
			if m.result != nil {
				ff := m.result.Frames[m.fitted[i]]
				f.Turn, f.Matched, f.RMS, f.Used = ref(ff.Turn.Degrees()), ff.Inliers, ref(ff.RMS.Arcseconds()), ff.Used
			}
		}
		j.Frames = append(j.Frames, f)
	}
	return a.print(j)
}
