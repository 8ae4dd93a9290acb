package terminal

import (
	"math"
	"time"

	"pintle/cmd/pintle/words"
	"pintle/solve"
)

// Solved is what became of one photograph.
type Solved struct {
	Path, Name string
	Solution   *solve.Solution // nil when it is not solved
	Why        string          // then
	Detected   int             // stars
	Took       time.Duration
}

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

// SolvedJSON prints where a photograph points as one object.
func (t *Terminal) SolvedJSON(s Solved) error {
	j := solvedJSON{
		Frame: s.Path, Solved: s.Solution != nil, Reason: s.Why, Detected: s.Detected,
		ElapsedMS: math.Round(s.Took.Seconds()*1e5) / 100,
	}
	if sol := s.Solution; sol != nil {
		ra, dec := sol.Centre().RADec()
		j.RA, j.Dec, j.UpPA = ref(ra.Degrees()), ref(dec.Degrees()), ref(sol.UpAngle().Degrees())
		j.Mirrored, j.Scale = &sol.Lens.Mirrored, ref(sol.ScaleAtCentre().Arcseconds())
		j.Matched, j.RMS, j.LogOdds = len(sol.Matches), ref(sol.RMS.Arcseconds()), &sol.LogOdds
	}
	return t.JSON(j)
}

// Solved says where a photograph points.
func (t *Terminal) Solved(s Solved) {
	sol := s.Solution
	if sol == nil {
		t.line("%s: not solved: %s", s.Name, s.Why)
		return
	}
	ra, dec := sol.Centre().RADec()
	mirrored := ""
	if sol.Lens.Mirrored {
		mirrored = ", mirrored"
	}
	t.line("%s: RA %.4f° Dec %+.4f°, up at %.2f° from north through east%s, %.3f\" a pixel, %d of %s, rms %.2f\"",
		s.Name, ra.Degrees(), dec.Degrees(), sol.UpAngle().Degrees(), mirrored, sol.ScaleAtCentre().Arcseconds(),
		len(sol.Matches), words.Count(s.Detected, "star"), sol.RMS.Arcseconds())
}
