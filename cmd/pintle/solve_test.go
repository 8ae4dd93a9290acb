package main

// solvedJSON is what "pintle solve --json" prints, as a reader of it would
// declare it.
type solvedJSON struct {
	Frame    string   `json:"frame"`
	Solved   bool     `json:"solved"`
	Reason   string   `json:"reason"`
	RA       *float64 `json:"ra_deg"`
	Dec      *float64 `json:"dec_deg"`
	UpPA     *float64 `json:"up_pa_deg"`
	Mirrored *bool    `json:"mirrored"`
	Scale    *float64 `json:"scale_arcsec_px"`
	Detected int      `json:"stars_detected"`
	Matched  int      `json:"stars_matched"`
	RMS      *float64 `json:"rms_arcsec"`
}
