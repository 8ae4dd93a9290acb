package main

import (
	"math"

	"pintle/axis/place"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

// record is the journal's line for a measurement with an answer.
func (m *measurement) record() journal.Record {
	dir := func(l sphere.Local) journal.Direction { return journal.Direction(direction(l)) }
	o := m.offset
	r := journal.Record{
		Kind: journal.Measurement,
		Site: journal.Site{Name: m.siteName, Lat: m.site.Lat.Degrees(), Lon: m.site.Lon.Degrees(), Elev: m.site.Elev},
		Axis: dir(m.result.Axis), Pole: journal.Pole{Kind: m.poleName(), Direction: dir(o.Pole)},
		Offset: journal.Offset(*parts(o.Parts)), Sigma: journal.Offset(*parts(o.Err)), Tolerance: m.tolerance,
		Air: journal.Air{Pressure: m.air.Pressure, Temp: m.air.Temp}, Warnings: m.warnings(),
	}
	for i, s := range m.shots {
		if s.frame.Time.Mid.After(r.Time) {
			r.Time = s.frame.Time.Mid
		}
		if s.sol == nil {
			continue
		}
		ff := m.result.Frames[m.fitted[i]]
		ra, dec := s.sol.Centre().RADec()
		r.Frames = append(r.Frames, journal.Frame{Name: s.name(), Time: s.frame.Time.Mid.UTC(), RA: ra.Degrees(), Dec: dec.Degrees(),
			Turn: ff.Turn.Degrees(), Stars: ff.Inliers, RMS: finite(ff.RMS.Arcseconds())})
	}
	return r
}

// near is true when a record was made within some kilometres of a site.
func near(s journal.Site, t place.Site) bool {
	const few = 0.05 * sphere.Degree
	return (sphere.Angle(s.Lat)*sphere.Degree-t.Lat).Abs() < few && (sphere.Angle(s.Lon)*sphere.Degree-t.Lon).Wrap().Abs() < few
}

// finite turns what JSON cannot hold into 0.
func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}
