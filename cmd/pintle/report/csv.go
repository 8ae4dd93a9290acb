package report

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
	"time"

	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
)

// columns of the CSV export; the unit is part of each name.
var columns = []string{"time_utc", "evening", "site", "lat_deg", "lon_deg", "elev_m", "kind", "session", "frames", "stars_matched",
	"axis_az_deg", "axis_alt_deg", "pole", "pole_az_deg", "pole_alt_deg",
	"alt_arcmin", "az_knob_arcmin", "az_sky_arcmin", "total_arcmin",
	"sigma_alt_arcmin", "sigma_az_knob_arcmin", "sigma_az_sky_arcmin", "sigma_total_arcmin",
	"tolerance_arcmin", "within_tolerance", "moved_alt_arcmin", "moved_az_knob_arcmin", "pressure_hpa", "temp_c", "note"}

// WriteCSV writes records as comma-separated values (RFC 4180) with one line
// of column names. What a record does not have is left empty; sightings, which
// have no axis, are left out.
func WriteCSV(w io.Writer, records []journal.Record) error {
	c := csv.NewWriter(w)
	if err := c.Write(columns); err != nil {
		return err
	}
	for _, r := range records {
		if r.Kind == journal.Sighting {
			continue
		}
		if err := c.Write(cells(r)); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

func cells(r journal.Record) []string {
	f := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
	frames, stars := 0, 0
	for _, fr := range r.Frames {
		if !fr.Missed {
			frames++
			stars += fr.Stars
		}
	}
	moved := []string{"", ""}
	if r.Moved != nil {
		moved = []string{f(r.Moved.Alt), f(r.Moved.AzKnob)}
	}
	parts := func(o journal.Offset) []string { return []string{f(o.Alt), f(o.AzKnob), f(o.AzSky), f(o.Total)} }
	out := []string{r.Time.UTC().Format(time.RFC3339), journal.Day(r.Time, r.Site.Lon), text(r.Site.Name), f(r.Site.Lat), f(r.Site.Lon), f(r.Site.Elev),
		text(r.Kind), text(r.Session), strconv.Itoa(frames), strconv.Itoa(stars),
		f(r.Axis.Az), f(r.Axis.Alt), text(r.Pole.Kind), f(r.Pole.Az), f(r.Pole.Alt)}
	out = append(out, parts(r.Offset)...)
	out = append(out, parts(r.Sigma)...)
	out = append(out, f(r.Tolerance), strconv.FormatBool(r.Within()))
	out = append(out, moved...)
	return append(out, f(r.Air.Pressure), f(r.Air.Temp), text(r.Note))
}

// text makes a text fit for a cell. One that a spreadsheet would take for a
// formula to run gets an apostrophe before it.
func text(s string) string {
	if s != "" && strings.ContainsAny(s[:1], "=+-@\t\r") {
		s = "'" + s
	}
	return words.Foreign(s)
}
